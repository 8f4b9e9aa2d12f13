"""Defects: what is wrong besides the readings, by when it must be mended."""

from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from api.doors import ListDoor
from api.filters import by_day, by_id, of_appliance, yes_no
from fleet.models import Defect
from fleet.queries.defects import visible_defects
from fleet.queries.visits import visible_visits

STILL_OPEN = Q(done=False, closed_by__isnull=True)


class DefectOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    visit = serializers.UUIDField(source="visit_id")
    appliance = serializers.UUIDField(source="appliance_id")
    what = serializers.CharField()
    where = serializers.CharField()
    severity = serializers.CharField()
    action = serializers.CharField()
    done = serializers.BooleanField()
    mend_by = serializers.DateField(allow_null=True)
    told = serializers.CharField()
    closed_by = serializers.UUIDField(source="closed_by_id", allow_null=True)
    open = serializers.BooleanField(source="is_open")


class Defects(ListDoor):
    """Defects found at visits. A later visit closes them by naming them."""

    shape_out = DefectOut
    filters = (
        *of_appliance(),
        by_id("visit", "visit", visible_visits),
        yes_no("open", STILL_OPEN, "Neither done nor closed by a later visit."),
        by_day("mend_by", "mend_by__lte", "To be mended by this day or before."),
    )

    def rows(self) -> QuerySet[Defect]:
        return visible_defects(self.viewer)
