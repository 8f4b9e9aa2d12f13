"""Forecasts as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import CeilingForecast, Forecast, User
from fleet.queries.access import visible_clients


def visible_forecasts(viewer: User) -> QuerySet[Forecast]:
    mine = Forecast.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "snapshot")


def visible_ceiling_forecasts(viewer: User) -> QuerySet[CeilingForecast]:
    mine = CeilingForecast.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "snapshot")
