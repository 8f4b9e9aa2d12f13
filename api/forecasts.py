"""Forecasts: where a quantity of an appliance is heading, and by when it may be outside."""

import math
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, OneDoor
from api.fields import Said
from api.filters import by_day, by_text, of_appliance
from api.shapes import RowOut
from fleet.models import Forecast
from fleet.presentation.forecasts import ceiling_words, forecast_sentence
from fleet.queries.forecasts import forecast_accuracy_for, visible_forecasts

SETS_DATE = "Of all the appliance's quantities this one's accepted risk is the first to be used up."


class ForecastOut(RowOut):
    """Of a gas in % dry, of CO air-free in ppm, of the flue's rise above the intake air in K; `unit` says which.

    `level`, `pace_per_year`, the limits, `course` and `series` are in it. `lower` and `target` are null where a
    ceiling alone applies, and `limit_words` then names that limit. `basis` says what it rests on: "assumptions" until
    the records support a fit.
    """

    row = Forecast
    columns = (
        "id appliance quantity rate basis unit level pace_per_year pace_sd_per_year lower upper target "
        "accepted_risk horizon_on last_visit_on visits_used snapshot sheet_version made_at"
    )

    sentence = Said(forecast_sentence)
    limit_words = Said(ceiling_words, of="limit")
    sets_date = serializers.BooleanField(help_text=SETS_DATE)
    crossing = serializers.ListField(child=serializers.JSONField())
    snapshot_digest = serializers.CharField(source="snapshot.digest")


class WholeForecastOut(ForecastOut):
    course = serializers.ListField(child=serializers.JSONField())
    series = serializers.ListField(child=serializers.JSONField())


class Forecasts(ListDoor):
    """Forecasts of the appliances that you may see, without their course."""

    subject, query, shape_out = "forecasts", visible_forecasts, ForecastOut
    filters = (
        *of_appliance(),
        by_text("quantity", "quantity"),
        by_text("rate", "rate"),
        by_text("basis", "basis"),
        by_day("horizon_before", "horizon_on__lte", "Accepted risk reached by this day or before."),
    )

    def rows(self) -> QuerySet[Forecast]:
        return super().rows().defer("course", "series")


class OneForecast(OneDoor):
    """One forecast with its course and the readings it rests on."""

    subject, query, shape_out = "forecasts", visible_forecasts, WholeForecastOut


class FigureField(serializers.FloatField):
    """NaN, which says that there is nothing to tell a figure from, is null."""

    def to_representation(self, value: float) -> float | None:
        return None if math.isnan(value) else float(value)


class ReliabilityOut(serializers.Serializer[Any]):
    """Arrays, one entry a bin between two `edges`. `off`: the mean forecast is not what was found."""

    edges = serializers.ListField(child=serializers.FloatField())
    count = serializers.ListField(child=serializers.IntegerField())
    outside = serializers.ListField(child=serializers.IntegerField())
    forecast = serializers.ListField(child=FigureField(allow_null=True))
    share = serializers.ListField(child=FigureField(allow_null=True))
    share_low = serializers.ListField(child=serializers.FloatField())
    share_high = serializers.ListField(child=serializers.FloatField())
    off = serializers.ListField(child=serializers.BooleanField())


class SurprisesOut(serializers.Serializer[Any]):
    n = serializers.IntegerField()
    mean = FigureField(allow_null=True)
    sd = FigureField(allow_null=True)
    mean_off = serializers.BooleanField()
    spread_off = serializers.BooleanField()


class ComparedOut(serializers.Serializer[Any]):
    """`lost`: the alarm. `by_analyser`: surprises in standard deviations; a mean of 0 and an sd of 1 are expected."""

    readings = serializers.IntegerField()
    outside = serializers.IntegerField()
    found_share = serializers.FloatField()
    forecast_share = serializers.FloatField()
    lost = serializers.BooleanField(source="calibration.lost")
    reliability = ReliabilityOut(source="calibration.reliability")
    surprises = SurprisesOut(source="calibration.surprises")
    by_analyser = serializers.SerializerMethodField()

    def get_by_analyser(self, held: Any) -> list[dict[str, Any]]:
        told = held.calibration.by_label.items()
        return [{"analyser": name, **SurprisesOut(each).data} for name, each in told]


class QuantityAccuracyOut(serializers.Serializer[Any]):
    quantity = serializers.CharField()
    accepted_risk = serializers.FloatField(allow_null=True)
    ahead = ComparedOut(allow_null=True, help_text="Readings that came in after the forecast's figures were learnt.")
    learnt = ComparedOut(
        allow_null=True, help_text="Readings that took part in learning them: it flatters the forecast."
    )


class AnalyserOffOut(serializers.Serializer[Any]):
    """`off`: how much it reads high [% vol, K; of log(1 + ppm) for CO] over `readings` since `since`."""

    name = serializers.CharField()
    quantity = serializers.CharField()
    rate = serializers.CharField()
    off = serializers.FloatField()
    readings = serializers.IntegerField()
    since = serializers.DateField()
    score = serializers.FloatField()


class ForecastAccuracyOut(serializers.Serializer[Any]):
    quantities = QuantityAccuracyOut(many=True)
    analysers = AnalyserOffOut(many=True)
    from_assumptions = serializers.IntegerField(help_text="Kinds of series without a fit: held against nothing.")


class ForecastAccuracyNow(Door):
    """Forecast accuracy, over the clients that you may see."""

    subject = "forecast_accuracy"
    shape_out = ForecastAccuracyOut

    def get(self, request: Request) -> Response:
        return self.shown(forecast_accuracy_for(self.viewer))
