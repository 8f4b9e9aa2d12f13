"""Made-up fleets that obey the model's own law, with the truth beside the records: for tests and shows.

Because they are drawn from the family that the model assumes, they flatter it: what is measured on them says
that the arithmetic is right, not how well a real fleet is forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from .series import BoolArray, FloatArray, IntArray, Panel


@dataclass(frozen=True)
class FleetLaw:
    """How a simulated fleet behaves. The defaults (CO2, vol %) are our own assumptions, not findings.

    n_units, n_groups       : units, spread evenly over groups (appliance models).
    min_visits, max_visits  : visits a unit, drawn evenly between them.
    interval_years, jitter  : spacing of visits, each drawn evenly within +-jitter of it (a share).
    target, start_sd        : setting aimed at; spread of the first level about it.
    drift_mean, drift_sd, group_drift_sd : [unit/year] of units about their group, of groups about the mean.
    diffusion_sd            : wandering of the level [unit per square root of a year].
    reading_sd              : error of one reading.
    setting_sd              : spread of the true level about the target after an adjustment.
    adjust_beyond, adjust_chance : an as-found reading further off the target is adjusted with this chance.
    missing_chance          : as-found readings that were not taken (never at the first visit).
    """

    n_units: int = 240
    n_groups: int = 8
    min_visits: int = 3
    max_visits: int = 7
    interval_years: float = 1.0
    jitter: float = 0.25
    target: float = 9.0
    start_sd: float = 0.15
    drift_mean: float = -0.05
    drift_sd: float = 0.12
    group_drift_sd: float = 0.10
    diffusion_sd: float = 0.10
    reading_sd: float = 0.12
    setting_sd: float = 0.08
    adjust_beyond: float = 0.25
    adjust_chance: float = 0.9
    missing_chance: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.min_visits <= self.max_visits:
            raise ValueError("min_visits must be at least 1 and at most max_visits")
        if self.n_units < 1 or self.n_groups < 1:
            raise ValueError("n_units and n_groups must be at least 1")
        if not (self.interval_years > 0 and 0 <= self.jitter < 1 and self.reading_sd > 0):
            raise ValueError("interval_years and reading_sd must be above 0, jitter within [0, 1)")

    @property
    def rho(self) -> float:
        """Share by which an as-left reading is to be believed: the regression of setting on reading."""
        return self.setting_sd**2 / (self.setting_sd**2 + self.reading_sd**2)

    @property
    def w2(self) -> float:
        """Variance of the true level after an adjustment, given the as-left reading."""
        return self.rho * self.reading_sd**2


@dataclass(frozen=True, eq=False)
class SimulatedFleet:
    """Records, one entry a visit (M,), sorted by unit and time, and the truth behind them.

    unit                    : (M,) number of the unit of each record.
    level_found, level_left : (M,) true level before and after the visit.
    group_of, drift         : (n_units,) the group and the true drift [unit/year] of each unit.
    """

    law: FleetLaw
    unit: IntArray
    t_years: FloatArray
    as_found: FloatArray
    as_left: FloatArray
    adjusted: BoolArray
    level_found: FloatArray
    level_left: FloatArray
    group_of: IntArray
    drift: FloatArray

    @property
    def records(self) -> dict[str, Any]:
        """The arguments of Panel.from_records. Unit and group ids are strings that sort by number."""
        return {
            "unit_ids": [f"unit-{u:06d}" for u in self.unit],
            "group_ids": [f"group-{g:03d}" for g in self.group_of[self.unit]],
            "t_years": self.t_years,
            "as_found": self.as_found,
            "as_left": self.as_left,
            "adjusted": self.adjusted,
            "target": self.law.target,
        }

    def panel(self) -> Panel:
        return Panel.from_records(**self.records)


def simulate(law: FleetLaw, seed: int) -> SimulatedFleet:
    """A fleet under `law`; the same law and seed give the same fleet."""
    rng = np.random.default_rng(seed)
    group_of = np.arange(law.n_units) % law.n_groups
    group_drift = law.drift_mean + law.group_drift_sd * rng.standard_normal(law.n_groups)
    drift = group_drift[group_of] + law.drift_sd * rng.standard_normal(law.n_units)
    n_visits = rng.integers(law.min_visits, law.max_visits, law.n_units, endpoint=True)
    times = _visit_times(law, rng)
    lived = _live(law, drift, np.diff(times, axis=0, prepend=times[:1]), rng)
    made = np.arange(law.max_visits) < n_visits[:, None]
    unit, visit = np.nonzero(made)
    found, left, adjusted, level_found, level_left = (
        np.stack([getattr(visit_of_all, name) for visit_of_all in lived])[visit, unit] for name in _Visits._fields
    )
    return SimulatedFleet(
        law, unit, times[visit, unit], found, left, adjusted, level_found, level_left, group_of, drift
    )


def _visit_times(law: FleetLaw, rng: np.random.Generator) -> FloatArray:
    """(max_visits, n_units) [years]."""
    gaps = law.interval_years * (1.0 + law.jitter * rng.uniform(-1.0, 1.0, (law.max_visits, law.n_units)))
    return np.asarray(np.cumsum(gaps, axis=0))


class _Visits(NamedTuple):
    """One visit to every unit, (n_units,) each."""

    found: FloatArray
    left: FloatArray
    adjusted: BoolArray
    level_found: FloatArray
    level_left: FloatArray


def _live(law: FleetLaw, drift: FloatArray, gaps: FloatArray, rng: np.random.Generator) -> list[_Visits]:
    """All visits in order; gaps (max_visits, n_units), 0 before the first."""
    level = law.target + law.start_sd * rng.standard_normal(law.n_units)
    lived: list[_Visits] = []
    for gap in gaps:
        wandered = law.diffusion_sd * np.sqrt(gap) * rng.standard_normal(law.n_units)
        missing = (rng.random(law.n_units) < law.missing_chance) & bool(lived)
        lived.append(_visit(law, level + drift * gap + wandered, missing, rng))
        level = lived[-1].level_left
    return lived


def _visit(law: FleetLaw, level: FloatArray, missing: BoolArray, rng: np.random.Generator) -> _Visits:
    n = law.n_units
    found = np.where(missing, np.nan, level + law.reading_sd * rng.standard_normal(n))
    adjusted = (np.abs(found - law.target) > law.adjust_beyond) & (rng.random(n) < law.adjust_chance)
    setting = law.target + law.setting_sd * rng.standard_normal(n)
    left = np.where(adjusted, setting + law.reading_sd * rng.standard_normal(n), np.nan)
    return _Visits(found, left, adjusted, level, np.where(adjusted, setting, level))
