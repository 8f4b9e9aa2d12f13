"""Defects: what is wrong besides the readings, by when it must be repaired, and what closed it."""

from typing import Annotated, Any

from rest_framework import serializers

from api.doors import ActDoor, ListDoor, OneDoor
from api.fields import CodedRows, Said
from api.filters import by_day, by_id, by_word, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import Shape, Text
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


class ResolveIn(Shape):
    why: Annotated[str, Text(500)]


class Defects(ListDoor):
    """Defects found at visits. A later visit closes them by naming them, or a person with a reason."""

    subject, query, shape_out = "defects", visible_defects, DefectOut
    filters = (
        *of_appliance(),
        by_id("visit", "visit", visible_visits),
        by_word("severity", "severity", Defect.Severity.values),
        yes_no("open", STILL_OPEN, "Neither done, nor closed by a later visit, nor resolved by a person."),
        by_day("repair_by", "repair_by__lte", "To be repaired by this day or before, as recorded."),
        by_day("due_before", "due__lte", "To be repaired by this day or before."),
    )


class OneDefect(OneDoor):
    """One defect."""

    subject, query, shape_out = "defects", visible_defects, DefectOut


class ResolveDefect(ActDoor):
    """Close it by hand, with the reason."""

    subject, query, shape_in, shape_out, versioned = "defects", visible_defects, ResolveIn, DefectOut, True

    def act(self, thing: Defect, version: int, said: dict[str, Any]) -> None:
        resolve_defect(defect=thing, version=version, why=said["why"], actor=self.viewer, now=clock.now())
