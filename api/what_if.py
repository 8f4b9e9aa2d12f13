"""What if it were done on this day: what a check would do to the due dates of an appliance or of a building."""

import uuid
from datetime import date
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door
from api.fields import Said
from api.filters import day_of, parameter
from fleet import clock
from fleet.presentation.due_dates import doubt_words, what_if_words
from fleet.queries.required_checks import what_if_appliance, what_if_building


class SupposedOut(serializers.Serializer[Any]):
    """One required check; what rests on a date that can't be told is null."""

    required_check = serializers.UUIDField(source="required_check.id")
    appliance = serializers.UUIDField(source="required_check.appliance_id")
    name = serializers.CharField(source="required_check.name")
    due = serializers.DateField(source="answer.before.due", allow_null=True, help_text="The date that stands.")
    cannot_tell = Said(doubt_words, of="answer.before.cannot_tell", help_text="Why it can't be told, if so.")
    earliest_keep = serializers.DateField(source="answer.before.earliest_keep", allow_null=True)
    in_time = serializers.BooleanField(source="answer.in_time", allow_null=True)
    serves = serializers.BooleanField(
        source="answer.serves", allow_null=True, help_text="Whether it moves the date at all."
    )
    keeps_rhythm = serializers.BooleanField(source="answer.keeps_rhythm", allow_null=True)
    days_lost = serializers.IntegerField(
        source="answer.days_lost",
        allow_null=True,
        help_text="By how many days the next date comes sooner than after a check on the last day; below zero later.",
    )
    next_due = serializers.DateField(source="answer.after.due", allow_null=True)
    next_cannot_tell = Said(doubt_words, of="answer.after.cannot_tell")
    words = Said(what_if_words, of="answer")


class SuppositionOut(serializers.Serializer[Any]):
    """A check on `day` that counts for every required check. Nothing is stored; `today` and `day` are the building's"""

    building = serializers.UUIDField(source="building.id")
    today = serializers.DateField()
    day = serializers.DateField()
    required_checks = SupposedOut(many=True, help_text="Soonest first.")


DAY = parameter("day", "The day of the check; today where none is given.", "date")


def day_asked(request: Request) -> date | None:
    return day_of(request, "day") if "day" in request.query_params else None


class ApplianceWhatIf(Door):
    """What a check of this appliance on a day would do to each of its required checks."""

    subject, shape_out, filters = "what_if", SuppositionOut, (DAY,)

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(what_if_appliance(self.viewer, id, day_asked(request), clock.now()))


class BuildingWhatIf(Door):
    """What a check of everything in this building on a day would do to each required check."""

    subject, shape_out, filters = "what_if", SuppositionOut, (DAY,)

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(what_if_building(self.viewer, id, day_asked(request), clock.now()))
