"""Forecasts as a viewer may see them, and which of an appliance's quantities binds."""

from datetime import date
from typing import TypeVar

from django.db.models import BooleanField, ExpressionWrapper, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, Least

from fleet.models import CeilingForecast, Forecast, User
from fleet.queries.access import visible_clients

AnyForecast = TypeVar("AnyForecast", Forecast, CeilingForecast)
NEVER = date.max


def visible_forecasts(viewer: User) -> QuerySet[Forecast]:
    """Each with `binds`: of all the appliance's quantities its accepted chance is the first to be used up."""
    return _with_binds(Forecast.objects.filter(appliance__building__client__in=visible_clients(viewer)))


def visible_ceiling_forecasts(viewer: User) -> QuerySet[CeilingForecast]:
    """The same for forecasts towards a ceiling."""
    return _with_binds(CeilingForecast.objects.filter(appliance__building__client__in=visible_clients(viewer)))


def _with_binds(forecasts: QuerySet[AnyForecast]) -> QuerySet[AnyForecast]:
    """From assumptions nothing binds: those move no revisit."""
    first = Least(*(Coalesce(_first_horizon(model), Value(NEVER)) for model in (Forecast, CeilingForecast)))
    is_first = Q(horizon_on=F("first_horizon_on")) & ~Q(basis="assumptions")
    told = forecasts.annotate(first_horizon_on=first).annotate(
        binds=ExpressionWrapper(is_first, output_field=BooleanField())
    )
    return told.select_related("appliance__building", "snapshot")


def _first_horizon(model: type[Forecast] | type[CeilingForecast]) -> Subquery:
    fitted = model.objects.filter(appliance=OuterRef("appliance"), horizon_on__isnull=False).exclude(
        basis="assumptions"
    )
    return Subquery(fitted.order_by("horizon_on").values("horizon_on")[:1])
