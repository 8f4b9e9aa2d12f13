"""How accurate the forecasts were: what was expected of readings, against what was found; which analysers are off."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np

from fleet import drift
from fleet.models import Snapshot

DAYS_A_QUARTER = 365.25 / 4


@dataclass(frozen=True)
class Compared:
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


class Check(NamedTuple):
    """What of a `ForecastCheck` says how accurate forecasts were.    analyser : its name."""

    quantity: str
    ahead: bool
    chance: float
    outside: bool
    surprise: float | None
    analyser: str | None


def held_against(checks: Sequence[Check]) -> Compared | None:
    """None where there is nothing to hold."""
    if not checks:
        return None
    surprises: dict[str | None, list[float]] = {}
    for row in checks:
        surprises.setdefault(row.analyser, []).append(math.nan if row.surprise is None else row.surprise)
    chance, outside = [row.chance for row in checks], [row.outside for row in checks]
    calibration = drift.Calibration(
        drift.reliability(chance, outside),
        _surprises(each for mine in surprises.values() for each in mine),
        {name: _surprises(surprises[name]) for name in sorted(surprises, key=str)},
    )
    return Compared(calibration, len(checks), sum(outside), float(np.mean(chance)))


def _surprises(z: Iterable[float]) -> drift.Surprises:
    return drift.Surprises.of(np.array(list(z), float))


# ---- analysers ----


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


def analysers_that_are_off(names: Mapping[str, str]) -> Iterator[AnalyserOff]:
    """Of these, name by id, by the snapshots in force; their appliances are blamed for nothing."""
    for snapshot in Snapshot.objects.filter(in_force=True, from_assumptions=False):
        for analyser, check in snapshot.biases.get("checks", {}).items():
            if check["alarm"] and analyser in names:
                yield _off(names[analyser], analyser, snapshot, check["score"])


def _off(name: str, analyser: str, snapshot: Snapshot, score: float) -> AnalyserOff:
    """Its own error and what it was off by in its newest quarter, together."""
    told = snapshot.biases
    quarters = [int(label.rpartition("/")[2]) for label in told["quarter"] if label.startswith(f"{analyser}/")]
    newest = max(quarters, default=0)
    bias, _sd, readings = told["quarter"].get(f"{analyser}/{newest}", (0.0, 0.0, 0))
    own = told["analyser"].get(analyser, (0.0,))[0]
    since = date.fromordinal(max(math.ceil(newest * DAYS_A_QUARTER), 1))
    return AnalyserOff(name, snapshot.quantity, snapshot.rate, own + bias, int(readings), since, score)
