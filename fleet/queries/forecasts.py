"""Forecasts that a viewer may see, which of an appliance's own sets the date, and how accurate they were."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import BooleanField, ExpressionWrapper, F, OuterRef, Q, QuerySet, Subquery

from fleet.assess.foresight.forecast_accuracy import AnalyserOff, Check, Compared, analysers_that_are_off, held_against
from fleet.models import Forecast, ForecastCheck, Snapshot, User
from fleet.queries.access import visible_clients
from fleet.queries.register import visible_analysers

QUANTITIES = ("co2", "o2", "co", "temp_rise")


def visible_forecasts(viewer: User) -> QuerySet[Forecast]:
    """Each with `sets_date`: of all the appliance's quantities its accepted risk is the first to be used up.

    Those from assumptions set none: they move no revisit.
    """
    fitted = Forecast.objects.filter(appliance=OuterRef("appliance"), horizon_on__isnull=False)
    first = fitted.exclude(basis="assumptions").order_by("horizon_on").values("horizon_on")[:1]
    is_first = Q(horizon_on=F("first_horizon_on")) & ~Q(basis="assumptions")
    mine = Forecast.objects.filter(appliance__building__client__in=visible_clients(viewer))
    told = mine.annotate(first_horizon_on=Subquery(first)).annotate(
        sets_date=ExpressionWrapper(is_first, output_field=BooleanField())
    )
    return told.select_related("appliance__building", "snapshot")


# ---- held against what was found ----


@dataclass(frozen=True)
class QuantityAccuracy:
    """One quantity, all rates together.

    ahead : readings that came in after their forecast's figures were learnt.    learnt : readings that took part in
    learning them, which flatters the forecast.    accepted_risk : as the newest forecasts have it.
    """

    quantity: str
    ahead: Compared | None
    learnt: Compared | None
    accepted_risk: float | None


@dataclass(frozen=True)
class ForecastAccuracy:
    """from_assumptions : series that forecast without a fit; nothing of theirs is held against anything."""

    quantities: tuple[QuantityAccuracy, ...]
    analysers: tuple[AnalyserOff, ...]
    from_assumptions: int


def forecast_accuracy_for(viewer: User) -> ForecastAccuracy:
    """Over the readings of the clients that the viewer may see; the analysers over everybody's."""
    mine = ForecastCheck.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    columns = ("quantity", "ahead", "chance", "outside", "surprise", "analyser__name")
    checks = [Check(*row) for row in mine.values_list(*columns)]
    present = {each.quantity for each in checks}
    standing = Snapshot.objects.filter(in_force=True)
    return ForecastAccuracy(
        tuple(_quantity(each, checks, viewer) for each in QUANTITIES if each in present),
        analysers_off(viewer),
        standing.filter(forecasts__isnull=False, from_assumptions=True).distinct().count(),
    )


def _quantity(quantity: str, checks: Sequence[Check], viewer: User) -> QuantityAccuracy:
    mine = [each for each in checks if each.quantity == quantity]
    return QuantityAccuracy(
        quantity,
        held_against([each for each in mine if each.ahead]),
        held_against([each for each in mine if not each.ahead]),
        _accepted(quantity, viewer),
    )


def _accepted(quantity: str, viewer: User) -> float | None:
    mine = Forecast.objects.filter(quantity=quantity, appliance__building__client__in=visible_clients(viewer))
    chance = mine.order_by("-made_at").values_list("accepted_risk", flat=True).first()
    return None if chance is None else float(chance)


def analysers_off(viewer: User) -> tuple[AnalyserOff, ...]:
    """By the snapshots in force, of the analysers that the viewer may see."""
    return tuple(analysers_that_are_off({str(each.id): each.name for each in visible_analysers(viewer)}))
