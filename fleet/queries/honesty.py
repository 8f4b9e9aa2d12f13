"""Were the forecasts honest: what was expected of each visit's readings, against what was found."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np

from fleet import drift
from fleet.models import Forecast, ForecastCheck, Snapshot, User
from fleet.queries.access import visible_clients
from fleet.queries.register import visible_analysers

QUANTITIES = ("co2", "o2", "co", "temp_rise")
DAYS_A_QUARTER = 365.25 / 4


@dataclass(frozen=True)
class Held:
    """Forecasts of one quantity held against what was found.

    calibration : of all readings; its labels are the analysers' names.    forecast_share, found_share : of readings
    outside, as forecast and as found.
    """

    calibration: drift.Calibration
    readings: int
    outside: int
    forecast_share: float

    @property
    def found_share(self) -> float:
        return self.outside / self.readings


@dataclass(frozen=True)
class QuantityHonesty:
    """One quantity, all rates together.

    ahead : readings that came in after their forecast's figures were learnt.    learnt : readings that took part in
    learning them, which flatters the forecast.    accepted_chance : as the newest forecasts have it.
    """

    quantity: str
    ahead: Held | None
    learnt: Held | None
    accepted_chance: float | None


@dataclass(frozen=True)
class AnalyserOff:
    """An analyser whose last readings are too far on one side of what was expected.

    off : how much it reads high in its newest quarter, on the scale that the quantity drifts on (CO: of log1p).
    readings : in that quarter, which began on `since`.
    """

    name: str
    quantity: str
    rate: str
    off: float
    readings: int
    since: date
    score: float


@dataclass(frozen=True)
class Honesty:
    """from_assumptions : series that forecast without a fit; nothing of theirs is held against anything."""

    quantities: tuple[QuantityHonesty, ...]
    analysers: tuple[AnalyserOff, ...]
    from_assumptions: int


class _Row(NamedTuple):
    quantity: str
    ahead: bool
    chance: float
    outside: bool
    surprise: float | None
    analyser: str | None


def honesty_for(viewer: User) -> Honesty:
    """Over the readings of the clients that the viewer may see; the analysers over everybody's."""
    mine = ForecastCheck.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    columns = ("quantity", "ahead", "chance", "outside", "surprise", "analyser__name")
    rows = [_Row(*row) for row in mine.values_list(*columns)]
    present = {row.quantity for row in rows}
    standing = Snapshot.objects.filter(in_force=True)
    return Honesty(
        tuple(_quantity(each, rows, viewer) for each in QUANTITIES if each in present),
        analysers_off(viewer),
        standing.filter(forecasts__isnull=False, from_assumptions=True).distinct().count(),
    )


def _quantity(quantity: str, rows: Sequence[_Row], viewer: User) -> QuantityHonesty:
    mine = [row for row in rows if row.quantity == quantity]
    return QuantityHonesty(
        quantity,
        _held([row for row in mine if row.ahead]),
        _held([row for row in mine if not row.ahead]),
        _accepted(quantity, viewer),
    )


def _held(rows: Sequence[_Row]) -> Held | None:
    if not rows:
        return None
    surprises: dict[str | None, list[float]] = {}
    for row in rows:
        surprises.setdefault(row.analyser, []).append(math.nan if row.surprise is None else row.surprise)
    chance, outside = [row.chance for row in rows], [row.outside for row in rows]
    calibration = drift.Calibration(
        drift.reliability(chance, outside),
        _surprises(each for mine in surprises.values() for each in mine),
        {name: _surprises(surprises[name]) for name in sorted(surprises, key=str)},
    )
    return Held(calibration, len(rows), sum(outside), float(np.mean(chance)))


def _surprises(z: Iterable[float]) -> drift.Surprises:
    return drift.Surprises.of(np.array(list(z), float))


def _accepted(quantity: str, viewer: User) -> float | None:
    mine = Forecast.objects.filter(quantity=quantity, appliance__building__client__in=visible_clients(viewer))
    chance = mine.order_by("-made_at").values_list("accepted_chance", flat=True).first()
    return None if chance is None else float(chance)


def analysers_off(viewer: User) -> tuple[AnalyserOff, ...]:
    """By the snapshots in force; their appliances are blamed for nothing."""
    names = {str(each.id): each.name for each in visible_analysers(viewer)}
    return tuple(
        _off(names[analyser], analyser, snapshot, check["score"])
        for snapshot in Snapshot.objects.filter(in_force=True, from_assumptions=False)
        for analyser, check in snapshot.biases.get("checks", {}).items()
        if check["alarm"] and analyser in names
    )


def _off(name: str, analyser: str, snapshot: Snapshot, score: float) -> AnalyserOff:
    """Its own error and what it was off by in its newest quarter, together."""
    told = snapshot.biases
    quarters = [int(label.rpartition("/")[2]) for label in told["quarter"] if label.startswith(f"{analyser}/")]
    newest = max(quarters, default=0)
    bias, _sd, readings = told["quarter"].get(f"{analyser}/{newest}", (0.0, 0.0, 0))
    own = told["analyser"].get(analyser, (0.0,))[0]
    since = date.fromordinal(max(math.ceil(newest * DAYS_A_QUARTER), 1))
    return AnalyserOff(name, snapshot.quantity, snapshot.rate, own + bias, int(readings), since, score)
