"""Forecasts: where a quantity of an appliance is heading, and by when it may be outside."""

import uuid
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.filters import by_day, by_text, of_appliance
from fleet.models import Forecast
from fleet.queries.forecasts import visible_forecasts


class ForecastOut(serializers.Serializer[Any]):
    """Percent by volume, dry. `basis` says what it rests on: "assumptions" until the records support a fit."""

    id = serializers.UUIDField()
    appliance = serializers.UUIDField(source="appliance_id")
    quantity = serializers.CharField()
    rate = serializers.CharField()
    basis = serializers.CharField()
    sentence = serializers.CharField()
    level_pct = serializers.FloatField()
    drift_pct_per_year = serializers.FloatField()
    drift_sd_pct_per_year = serializers.FloatField()
    lower_pct = serializers.FloatField(allow_null=True)
    upper_pct = serializers.FloatField(allow_null=True)
    target_pct = serializers.FloatField()
    accepted_chance = serializers.FloatField()
    horizon_on = serializers.DateField(allow_null=True)
    last_visit_on = serializers.DateField()
    visits_used = serializers.IntegerField()
    crossing = serializers.ListField(child=serializers.JSONField())
    snapshot = serializers.UUIDField(source="snapshot_id")
    snapshot_digest = serializers.CharField(source="snapshot.digest")
    sheet_version = serializers.UUIDField(source="sheet_version_id")
    made_at = serializers.DateTimeField()


class WholeForecastOut(ForecastOut):
    course = serializers.ListField(child=serializers.JSONField())
    series = serializers.ListField(child=serializers.JSONField())


class Forecasts(ListDoor):
    """Forecasts of the appliances that you may see, without their course."""

    shape_out = ForecastOut
    filters = (
        *of_appliance(),
        by_text("quantity", "quantity"),
        by_text("rate", "rate"),
        by_text("basis", "basis"),
        by_day("horizon_before", "horizon_on__lte", "Accepted chance reached by this day or before."),
    )

    def rows(self) -> QuerySet[Forecast]:
        return visible_forecasts(self.viewer).defer("course", "series")


class OneForecast(Door):
    """One forecast with its course and the readings it rests on."""

    shape_out = WholeForecastOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(visible_forecasts(self.viewer), id))
