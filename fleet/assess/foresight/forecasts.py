"""Forecasts: each appliance's readings as a drifting series, judged against what the whole population taught.

One path for one appliance and for all: a series table per quantity and rate, one panel, one filter, one forecast.
"""

import math
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from fleet import drift
from fleet.assess.foresight.ceilings import CO, TEMP_RISE
from fleet.assess.foresight.checks import Warned, checks_of, warnings_of
from fleet.assess.foresight.entries import DAYS_A_YEAR, Entry
from fleet.assess.foresight.learning import corrections_of, hyper_of
from fleet.assess.foresight.panels import limits_of, panel_of
from fleet.assess.foresight.series import CEILED, Series
from fleet.models import Contractor, Forecast, ForecastCheck, Snapshot

CAP_YEARS = 3.0
COURSE_MONTHS = 18
FEW_VISITS = 3
UNITS = {CO: "ppm", TEMP_RISE: "K"}


class Made(NamedTuple):
    """What one pass over the series of one quantity at one rate gives; nothing of it is stored yet."""

    forecasts: list[Forecast]
    checks: list[ForecastCheck]
    warnings: list[Warned]


def forecasts_of(series: Sequence[Series], snapshot: Snapshot, contractor: Contractor, now: datetime) -> Made:
    """Of series of one quantity at one rate, by this snapshot and the contractor's accepted risk."""
    hyper, panel = hyper_of(snapshot), panel_of(series, corrections_of(snapshot))
    state, limits = drift.filter(panel, hyper), limits_of(series)
    accepted = accepted_risk(series[0].quantity, contractor)
    return Made(
        _View(series, snapshot, hyper, state, limits, accepted, now).forecasts(),
        list(checks_of(series, panel, hyper, limits, snapshot)),
        list(warnings_of(series, state, snapshot)),
    )


def accepted_risk(quantity: str, contractor: Contractor) -> float:
    """The contractor's choice for this quantity; of CO never above that for everything else."""
    if quantity == CO:
        return min(contractor.accepted_risk_co, contractor.accepted_risk)
    return contractor.accepted_risk_rise if quantity == TEMP_RISE else contractor.accepted_risk


@dataclass(frozen=True)
class Outlook:
    """What a forecast says, in figures.

    pace, model_pace : drift a year as `pace_figure` has it; model_pace None where no fit has seen this model.
    is_due : the accepted risk is used up already.    is_lower : the lower limit is the nearer one.
    """

    pace: float
    model_pace: float | None
    is_due: bool
    is_lower: bool


@dataclass(frozen=True)
class Told(Outlook):
    """What its sentence is made of, also beside a flag or a reason that outlives the forecast. horizon_on : ISO."""

    quantity: str
    rate: str
    visits: int
    unit: str
    lower: float | None
    upper: float
    limit: Mapping[str, Any] | None
    accepted_risk: float
    horizon_on: str | None


def pace_figure(quantity: str, pace: float) -> float:
    """Drift a year as one says it: points of gas, per cent of CO, K."""
    return 100.0 * math.expm1(pace) if quantity == CO else pace


_FAN = {"low90": 0.05, "low50": 0.25, "median": 0.5, "high50": 0.75, "high90": 0.95}
_STEPS = np.arange(COURSE_MONTHS + 1) / 12.0
_GRID = np.array((0.0, *drift.HORIZON_GRID_YEARS))


@dataclass(frozen=True)
class _View:
    """Series of one quantity at one rate, what is known of each, and what of it is to be said."""

    series: Sequence[Series]
    snapshot: Snapshot
    hyper: drift.Hyper
    state: drift.State
    limits: drift.Limits
    alpha: float
    now: datetime

    def forecasts(self) -> list[Forecast]:
        years, reached_by = drift.horizon(self.state, self.hyper, self.limits, self.alpha, CAP_YEARS)
        chance = drift.crossing_probability(self.state, self.hyper, self.limits, _GRID[:, None])
        then = drift.reading_distribution(self.state, self.hyper, np.nan_to_num(years, nan=0.0))
        is_lower = then.below(self.limits.floor) > 1.0 - then.below(self.limits.ceiling)
        course = self._course()
        made: list[Forecast] = []
        for n, each in enumerate(self.series):
            if math.isnan(float(self.state.x[n])):
                continue
            until = None if reached_by[n] in ("longest", "cap") else timedelta(days=math.floor(years[n] * DAYS_A_YEAR))
            outlook = self._outlook(each, n, is_due=str(reached_by[n]) == "now", is_lower=bool(is_lower[n]))
            made.append(
                Forecast(
                    **self._common(each),
                    **self._figures(each, n),
                    horizon_on=None if until is None else each.entries[-1].day + until,
                    outlook=asdict(outlook),
                    crossing=_crossing(chance[:, n]),
                    course=_course_of(each, {name: values[:, n] for name, values in course.items()}),
                )
            )
        return made

    def _outlook(self, series: Series, n: int, *, is_due: bool, is_lower: bool) -> Outlook:
        group = self.hyper.groups.get(series.group)
        return Outlook(
            pace=pace_figure(series.quantity, float(self.state.mu[n])),
            model_pace=pace_figure(series.quantity, group.m) if group else None,
            is_due=is_due,
            is_lower=is_lower,
        )

    def _common(self, series: Series) -> dict[str, Any]:
        return {
            "appliance": series.appliance,
            "quantity": series.quantity,
            "rate": series.rate,
            "snapshot": self.snapshot,
            "sheet_version": series.version,
            "last_visit_on": series.entries[-1].day,
            "visits_used": len(series.entries),
            "basis": _basis(self.snapshot, series),
            "accepted_risk": self.alpha,
            "series": [_shown(entry, series.quantity) for entry in series.entries],
            "limit": series.corridor.limit,
            "made_at": self.now,
        }

    def _figures(self, series: Series, n: int) -> dict[str, Any]:
        """Level, pace and corridor in the quantity's unit; what is aimed at only where a target says it."""
        level, pace, sd = (float(each[n]) for each in (self.state.x, self.state.mu, np.sqrt(self.state.Pmm)))
        corridor, quantity = series.corridor, series.quantity
        if quantity == CO:
            pace, sd = math.exp(level) * math.expm1(pace), math.exp(level + pace) * sd
        ceiled = quantity in CEILED
        upper = float(in_unit(quantity, corridor.upper))
        return {
            "unit": UNITS.get(quantity, "%"),
            "level": float(in_unit(quantity, level)),
            "pace_per_year": pace,
            "pace_sd_per_year": sd,
            "lower": corridor.lower,
            "upper": round(upper, 3) if ceiled else upper,
            "target": None if ceiled else corridor.target,
        }

    def _course(self) -> dict[str, Any]:
        reading = drift.reading_distribution(self.state, self.hyper, _STEPS[:, None])
        values = reading.quantile(np.array([*_FAN.values()])[:, None, None])
        return dict(zip(_FAN, in_unit(self.series[0].quantity, values), strict=True))


def in_unit(quantity: str, value: ArrayLike) -> Any:
    """From the scale that a quantity drifts on to its unit: CO is log1p of ppm and never below nothing."""
    return np.maximum(np.expm1(value), 0.0) if quantity == CO else np.asarray(value)


def _basis(snapshot: Snapshot, series: Series) -> str:
    if snapshot.from_assumptions:
        return "assumptions"
    return "the fleet" if len(series.entries) < FEW_VISITS else "its own record"


def _crossing(chance: Any) -> list[dict[str, float]]:
    return [{"years": float(years), "chance": round(float(each), 6)} for years, each in zip(_GRID, chance, strict=True)]


def _course_of(series: Series, quantiles: Mapping[str, Any]) -> list[dict[str, Any]]:
    last = series.entries[-1].day
    return [
        {"date": f"{last + timedelta(days=round(float(step) * DAYS_A_YEAR)):%Y-%m-%d}"}
        | {name: round(float(values[n]), 4) for name, values in quantiles.items()}
        for n, step in enumerate(_STEPS)
    ]


def _shown(entry: Entry, quantity: str) -> dict[str, Any]:
    """As the chart draws it, in the quantity's unit: corrected, and as read."""
    decimals = 1 if quantity in CEILED else 3

    def rounded(value: float | None) -> float | None:
        return None if value is None or math.isnan(value) else round(value, decimals)

    found, left = (float(in_unit(quantity, value)) for value in (entry.found, entry.left))
    read = {
        "found": found,
        "left": left if entry.adjusted else None,
        "found_raw": entry.found_raw,
        "left_raw": entry.left_raw,
    }
    told = {name: rounded(value) for name, value in read.items()}
    return {"date": f"{entry.day:%Y-%m-%d}", "visit": entry.visit_id, **told}


# ---- what follows from them ----


def told_figures(forecast: Forecast) -> Told:
    same = ("quantity", "rate", "unit", "lower", "upper", "limit", "accepted_risk")
    horizon_on = f"{forecast.horizon_on:%Y-%m-%d}" if forecast.horizon_on else None
    read = {name: getattr(forecast, name) for name in same}
    return Told(**forecast.outlook, **read, visits=forecast.visits_used, horizon_on=horizon_on)


def under_chance(forecast: Forecast, accepted: float) -> Forecast:
    """The same forecast as it stands under another accepted risk: its day, and whether that is used up already."""
    moved = copy(forecast)
    moved.accepted_risk, moved.horizon_on = accepted, horizon_by(forecast, accepted)
    moved.outlook = forecast.outlook | {"is_due": float(forecast.crossing[0]["chance"]) >= accepted}
    return moved


def chance_on(forecast: Forecast, day: date) -> float:
    """Chance that the true value has left its limits by `day`, read off the stored grid by straight lines."""
    years = max((day - forecast.last_visit_on).days / DAYS_A_YEAR, 0.0)
    grid = [each["years"] for each in forecast.crossing]
    return float(np.interp(years, grid, [each["chance"] for each in forecast.crossing]))


def horizon_by(forecast: Forecast, accepted: float) -> date | None:
    """The day on which another accepted risk would be used up, off the stored grid as `drift.horizon` reads it."""
    grid = [float(each["years"]) for each in forecast.crossing]
    chance = np.maximum.accumulate([float(each["chance"]) for each in forecast.crossing])
    reached = np.flatnonzero(chance >= accepted)
    if not reached.size:
        return None
    n, years = int(reached[0]), 0.0
    if n > 0:
        share = float((accepted - chance[n - 1]) / (chance[n] - chance[n - 1]))
        years = max(grid[n - 1] + share * (grid[n] - grid[n - 1]), grid[1])
    return None if years >= CAP_YEARS else forecast.last_visit_on + timedelta(days=math.floor(years * DAYS_A_YEAR))
