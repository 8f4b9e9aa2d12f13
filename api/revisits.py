"""Revisits: by when each appliance should be seen again, and why."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from api.doors import ListDoor
from api.filters import by_day, by_text, of_appliance
from fleet.models import Revisit
from fleet.queries.revisits import visible_revisits


class RevisitOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    appliance = serializers.UUIDField(source="appliance_id")
    earliest = serializers.DateField()
    latest = serializers.DateField()
    binding = serializers.CharField(help_text="Which reason set the last day.")
    sentence = serializers.CharField()
    reasons = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))
    made_at = serializers.DateTimeField()
    version = serializers.IntegerField()


class Revisits(ListDoor):
    """One proposal an appliance."""

    shape_out = RevisitOut
    filters = (
        *of_appliance(),
        by_text("binding", "binding"),
        by_day("latest_before", "latest__lte", "To be seen by this day or before."),
    )

    def rows(self) -> QuerySet[Revisit]:
        return visible_revisits(self.viewer)
