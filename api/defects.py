"""Defects: what is wrong besides the readings, by when it must be repaired, and what closed it."""

import uuid

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.fields import CodedRows, Said
from api.filters import by_day, by_id, by_word, of_appliance, yes_no
from api.shapes import RowOut
from api.versions import version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import Defect
from fleet.models.follow_ups import STILL_OPEN
from fleet.presentation.due_dates import date_words
from fleet.queries.follow_ups import visible_defects
from fleet.queries.visits import visible_visits
from fleet.services.follow_ups import resolve_defect


class DefectOut(RowOut):
    row = Defect
    columns = (
        "id visit appliance what where severity action done told closed_by resolved_at resolved_by resolved_why version"
    )
    repair_by = serializers.DateField(allow_null=True, help_text="As the visit recorded it.")
    due = serializers.DateField(allow_null=True, help_text="The last day that counts.")
    due_words = Said(date_words, of="steps", help_text="How the last day comes about.")
    steps = CodedRows(help_text="The same, each step as its code and its figures.")
    overdue = serializers.SerializerMethodField()
    open = serializers.BooleanField(source="is_open")

    def get_overdue(self, defect: Defect) -> bool:
        return defect.is_overdue(clock.today(defect.appliance.building.time_zone))


class ResolveIn(StrictSerializer):
    why = Text(500)


class Defects(ListDoor):
    """Defects found at visits. A later visit closes them by naming them, or a person with a reason."""

    subject, shape_out = "defects", DefectOut
    filters = (
        *of_appliance(),
        by_id("visit", "visit", visible_visits),
        by_word("severity", "severity", Defect.Severity.values),
        yes_no("open", STILL_OPEN, "Neither done, nor closed by a later visit, nor resolved by a person."),
        by_day("repair_by", "repair_by__lte", "To be repaired by this day or before, as recorded."),
        by_day("due_before", "due__lte", "To be repaired by this day or before."),
    )

    def rows(self) -> QuerySet[Defect]:
        return visible_defects(self.viewer)


class OneDefect(Door):
    """One defect."""

    subject, shape_out = "defects", DefectOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(visible_defects(self.viewer), id))


class ResolveDefect(Door):
    """Close it by hand, with the reason."""

    subject, shape_in, shape_out, versioned = "defects", ResolveIn, DefectOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        defect = found(visible_defects(self.viewer), id)
        version, why = version_named(request), self.taken()["why"]
        resolve_defect(defect=defect, version=version, why=why, actor=self.viewer, now=clock.now())
        return self.shown(found(visible_defects(self.viewer), id))
