"""Forecasts that a viewer may see, and which of an appliance's own binds."""

from django.db.models import BooleanField, ExpressionWrapper, F, OuterRef, Q, QuerySet, Subquery

from fleet.models import Forecast, User
from fleet.queries.access import visible_clients


def visible_forecasts(viewer: User) -> QuerySet[Forecast]:
    """Each with `binds`: of all the appliance's quantities its accepted chance is the first to be used up.

    From assumptions nothing binds: those move no revisit.
    """
    fitted = Forecast.objects.filter(appliance=OuterRef("appliance"), horizon_on__isnull=False)
    first = fitted.exclude(basis="assumptions").order_by("horizon_on").values("horizon_on")[:1]
    is_first = Q(horizon_on=F("first_horizon_on")) & ~Q(basis="assumptions")
    mine = Forecast.objects.filter(appliance__building__client__in=visible_clients(viewer))
    told = mine.annotate(first_horizon_on=Subquery(first)).annotate(
        binds=ExpressionWrapper(is_first, output_field=BooleanField())
    )
    return told.select_related("appliance__building", "snapshot")
