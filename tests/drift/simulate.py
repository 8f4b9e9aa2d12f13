"""Made-up fleets, with the truth beside the records: for tests and benchmarks.

By default they obey the model's own law, so they flatter it: what is measured on them says that the arithmetic is
right, not how well a real fleet is forecast. The options that are 0 by default step outside the law: faulty units,
bad readings, sudden steps, seasons left in the readings, analysers and days with errors of their own.

`simulate` gives a fleet's records at once; a `World` is lived step by step, by whatever policy decides on visits.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fleet.drift import Limits
from fleet.drift.series import BoolArray, FloatArray, IntArray, Panel

DAYS_A_YEAR = 365.25
_NO_SPAN = 1e-30


@dataclass(frozen=True)
class FleetLaw:
    """How a simulated fleet behaves. The defaults (CO2, vol %) are our own assumptions, not findings.

    n_units, n_groups       : units, and the groups (appliance models) they belong to.
    group_exponent          : sizes of groups as rank^-exponent (1 = Zipf's law); 0 = even.
    min_visits, max_visits  : visits a unit, drawn evenly between them.
    interval_years, jitter  : spacing of visits, each drawn evenly within +-jitter of it (a share).
    units_per_site          : units that are visited on the same day.
    target, tolerance, start_sd : setting aimed at; how far from it is still within; spread of the first level.
    drift_mean, drift_sd, group_drift_sd : [unit/year] of units about their group, of groups about the mean.
    group_log_sd            : groups differ in the variance of their units' drifts, and in that of their wandering: the
                              spread of its logarithm.
    faulty_share, faulty_factor : units whose drift is off by faulty_factor drift_sd times Student's t with 3 degrees.
    diffusion_sd            : wandering of the level [unit per square root of a year].
    steps_per_year, step_sd : sudden changes of the level.
    reading_sd              : error of one reading.
    outlier_share, outlier_low, outlier_high : as-found readings that are off by as much, up or down.
    season_amplitude        : of a yearly wave that is in the readings, not in the level [unit].
    analyser_biases         : errors of the analysers, drawn evenly among; () = one without.
    site_day_sd             : error that all readings of a site on a day share.
    setting_sd              : spread of the true level about the target after an adjustment.
    adjust_beyond, adjust_chance : an as-found reading further off the target is adjusted with this chance.
    missing_chance          : as-found readings that were not taken (never at the first visit).
    """

    n_units: int = 240
    n_groups: int = 8
    group_exponent: float = 0.0
    min_visits: int = 3
    max_visits: int = 7
    interval_years: float = 1.0
    jitter: float = 0.25
    units_per_site: int = 1
    target: float = 9.0
    tolerance: float = 0.5
    start_sd: float = 0.15
    drift_mean: float = -0.05
    drift_sd: float = 0.12
    group_drift_sd: float = 0.10
    group_log_sd: float = 0.0
    faulty_share: float = 0.0
    faulty_factor: float = 4.0
    diffusion_sd: float = 0.10
    steps_per_year: float = 0.0
    step_sd: float = 0.6
    reading_sd: float = 0.12
    outlier_share: float = 0.0
    outlier_low: float = 0.8
    outlier_high: float = 2.0
    season_amplitude: float = 0.0
    analyser_biases: tuple[float, ...] = ()
    site_day_sd: float = 0.0
    setting_sd: float = 0.08
    adjust_beyond: float = 0.25
    adjust_chance: float = 0.9
    missing_chance: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.min_visits <= self.max_visits:
            raise ValueError("min_visits must be at least 1 and at most max_visits")
        if self.n_units < 1 or self.n_groups < 1 or self.units_per_site < 1:
            raise ValueError("n_units, n_groups and units_per_site must be at least 1")
        if not (self.interval_years > 0 and 0 <= self.jitter < 1 and self.reading_sd > 0 and self.tolerance > 0):
            raise ValueError("interval_years, reading_sd and tolerance must be above 0, jitter within [0, 1)")
        for name in ("faulty_share", "outlier_share", "adjust_chance", "missing_chance"):
            if not 0 <= getattr(self, name) <= 1:
                raise ValueError(f"{name} must lie between 0 and 1, got {getattr(self, name)}")

    @property
    def rho(self) -> float:
        """Share by which an as-left reading is to be believed: the regression of setting on reading."""
        return self.setting_sd**2 / (self.setting_sd**2 + self.reading_sd**2)

    @property
    def w2(self) -> float:
        """Variance of the true level after an adjustment, given the as-left reading."""
        return self.rho * self.reading_sd**2

    @property
    def limits(self) -> Limits:
        """The target and its tolerance."""
        return Limits(self.target - self.tolerance, self.target + self.tolerance, self.target)


class Stretch(NamedTuple):
    """What a stretch of time did, (n_units,) each: whether the level was ever outside the tolerance, and how long."""

    left: BoolArray
    outside_years: FloatArray


class Visits(NamedTuple):
    """One visit to some units, (n_units,) each; NaN and False for the rest."""

    found: FloatArray
    left: FloatArray
    adjusted: BoolArray
    outlier: BoolArray
    analyser: IntArray
    common_error: FloatArray


class World:
    """A fleet that lives on: `wait`, then `visit` whom you choose. The same law, seed and calls give the same life.

    t_years, level : (n_units,) time and true level of each unit now; change them by waiting and visiting only.
    group_of, drift, diffusion_sd, faulty, site_of : (n_units,) what each unit is.
    group_drift, group_drift_sd, group_diffusion_sd : (n_groups,) the mean and the spread of the units' drifts in each
    group, and how its units wander.
    """

    def __init__(self, law: FleetLaw, seed: int) -> None:
        self.law = law
        self._rng = rng = np.random.default_rng(seed)
        n = law.n_units
        self.group_of = _groups(law)
        self.site_of = np.arange(n) // law.units_per_site
        self.faulty = rng.random(n) < law.faulty_share
        self.group_drift = law.drift_mean + law.group_drift_sd * rng.standard_normal(law.n_groups)
        own = np.where(self.faulty, law.faulty_factor * rng.standard_t(3, n), rng.standard_normal(n))
        # Draws of their own, so that a law without this spread lives as it always did.
        spread = np.exp(0.5 * law.group_log_sd * np.random.default_rng([seed, 2]).standard_normal((2, law.n_groups)))
        self.group_drift_sd, self.group_diffusion_sd = law.drift_sd * spread[0], law.diffusion_sd * spread[1]
        self.drift: FloatArray = self.group_drift[self.group_of] + self.group_drift_sd[self.group_of] * own
        self.diffusion_sd: FloatArray = self.group_diffusion_sd[self.group_of]
        self.level = law.target + law.start_sd * rng.standard_normal(n)
        self.t_years = np.zeros(n)

    def wait(self, years: float | FloatArray, steps: int = 1) -> Stretch:
        """Let time pass, a number of years for all or (n_units,) of them, in so many steps.

        Whether a level left the tolerance is drawn right however few the steps are (Brownian bridge); how long it
        was outside is as fine as they are. A step is short enough if it seldom reaches both limits.
        """
        law, rng = self.law, self._rng
        dt = np.broadcast_to(np.asarray(years, float), law.n_units) / steps
        outside = np.zeros(law.n_units)
        left = self._out(self.level)
        for _ in range(steps):
            before = self.level
            after = before + self.drift * dt + self.diffusion_sd * np.sqrt(dt) * rng.standard_normal(law.n_units)
            left |= rng.random(law.n_units) < self._touched(before, after, dt)
            jumps = rng.poisson(law.steps_per_year * dt) if law.steps_per_year else np.zeros(law.n_units)
            after = after + law.step_sd * np.sqrt(jumps) * rng.standard_normal(law.n_units)
            left |= self._out(after)
            outside += 0.5 * dt * (self._out(before).astype(float) + self._out(after))
            self.level = after
        self.t_years = self.t_years + dt * steps
        return Stretch(left, outside)

    def visit(self, chosen: BoolArray | None = None, first: bool = False) -> Visits:
        """Read and, where called for, adjust the chosen units, by default all. At a `first` visit all are read."""
        law, rng, n = self.law, self._rng, self.law.n_units
        there = np.ones(n, bool) if chosen is None else np.asarray(chosen, bool)
        analyser = rng.integers(0, max(len(law.analyser_biases), 1), n)
        common = np.array(law.analyser_biases or (0.0,))[analyser]
        common = common + law.season_amplitude * np.cos(2.0 * np.pi * self.t_years)
        common = common + (law.site_day_sd * rng.standard_normal(self.site_of[-1] + 1))[self.site_of]
        outlier = rng.random(n) < law.outlier_share
        off = rng.choice((-1.0, 1.0), n) * rng.uniform(law.outlier_low, law.outlier_high, n)
        read = self.level + common + law.reading_sd * rng.standard_normal(n) + np.where(outlier, off, 0.0)
        missing = (rng.random(n) < law.missing_chance) & (not first)
        found = np.where(missing | ~there, np.nan, read)
        adjusted = (np.abs(found - law.target) > law.adjust_beyond) & (rng.random(n) < law.adjust_chance)
        setting = law.target + law.setting_sd * rng.standard_normal(n)
        left = np.where(adjusted, setting + common + law.reading_sd * rng.standard_normal(n), np.nan)
        self.level = np.where(adjusted, setting, self.level)
        return Visits(found, left, adjusted, outlier & np.isfinite(found), analyser, common)

    def _out(self, level: FloatArray) -> BoolArray:
        return np.abs(level - self.law.target) > self.law.tolerance

    def _touched(self, before: FloatArray, after: FloatArray, dt: FloatArray) -> FloatArray:
        """Chance to have touched a limit on the way: exp(-2 a b / (sigma^2 dt)) of each, a and b the rooms left."""
        law = self.law
        span = np.maximum(self.diffusion_sd**2 * dt, _NO_SPAN)
        stays = np.ones(law.n_units)
        for side in (-1.0, 1.0):
            near, far = (np.maximum(law.tolerance - side * (level - law.target), 0.0) for level in (before, after))
            stays *= -np.expm1(-2.0 * near * far / span)
        return np.where(dt > 0, 1.0 - stays, 0.0)


def _groups(law: FleetLaw) -> IntArray:
    """Units spread over groups of sizes as the law says."""
    share = np.arange(1, law.n_groups + 1) ** -law.group_exponent
    edges = np.cumsum(share / share.sum())
    even = (np.arange(law.n_units) * 0.6180339887498949) % 1.0  # the golden ratio: as even as can be, no order
    return np.searchsorted(edges, even, side="right").clip(max=law.n_groups - 1)


@dataclass(frozen=True, eq=False)
class SimulatedFleet:
    """Records, one entry a visit (M,), sorted by unit and time, and the truth behind them.

    unit                    : (M,) number of the unit of each record.
    level_found, level_left : (M,) true level before and after the visit.
    outlier, analyser       : (M,) a bad reading; the number of the analyser.
    common_error            : (M,) what season, analyser and day add to both readings of the visit.
    world                   : the fleet as it is after each unit's last visit, with each unit's true drift and group.
    """

    law: FleetLaw
    unit: IntArray
    t_years: FloatArray
    as_found: FloatArray
    as_left: FloatArray
    adjusted: BoolArray
    level_found: FloatArray
    level_left: FloatArray
    outlier: BoolArray
    analyser: IntArray
    common_error: FloatArray
    world: World

    @property
    def group_of(self) -> IntArray:
        return self.world.group_of

    @property
    def drift(self) -> FloatArray:
        return self.world.drift

    @property
    def records(self) -> dict[str, Any]:
        """The arguments of Panel.from_records. Unit and group ids are strings that sort by number."""
        return {
            "unit_ids": [f"unit-{u:07d}" for u in self.unit],
            "group_ids": [f"group-{g:03d}" for g in self.group_of[self.unit]],
            "t_years": self.t_years,
            "as_found": self.as_found,
            "as_left": self.as_left,
            "adjusted": self.adjusted,
            "target": self.law.target,
        }

    @property
    def analyser_of(self) -> list[str]:
        """(M,) labels."""
        return [f"analyser-{a:03d}" for a in self.analyser]

    @property
    def site_day_of(self) -> list[str]:
        """(M,) labels: units of one site are visited on the same days."""
        days = np.floor(self.t_years * DAYS_A_YEAR).astype(int)
        return [f"site-{s:06d} day-{d}" for s, d in zip(self.world.site_of[self.unit], days, strict=True)]

    def panel(self) -> Panel:
        return Panel.from_records(**self.records)

    def leaves_within(self, years: float = 1.0, steps: int = 100) -> BoolArray:
        """(n_units,) the truth to hold a forecast against: after its last visit, left alone, is each unit's level ever
        outside the target's tolerance (`law.limits`) within so many years? In the order of the panel's columns.
        """
        return copy.deepcopy(self.world).wait(years, steps).left


def simulate(law: FleetLaw, seed: int) -> SimulatedFleet:
    """A fleet under `law`; the same law and seed give the same fleet."""
    world = World(law, seed)
    rng = np.random.default_rng([seed, 1])
    n_visits = rng.integers(law.min_visits, law.max_visits, law.n_units, endpoint=True)
    made: list[tuple[NDArray[Any], ...]] = []
    for k in range(law.max_visits):
        there = k < n_visits
        gaps = law.interval_years * (1.0 + law.jitter * rng.uniform(-1.0, 1.0, world.site_of[-1] + 1))
        world.wait(np.where(there, gaps[world.site_of], 0.0))
        found = world.level
        visits = world.visit(there, first=k == 0)
        grids = (world.t_years, visits.found, visits.left, visits.adjusted, found, world.level)
        made.append((*grids, visits.outlier, visits.analyser, visits.common_error))
    unit, visit = np.nonzero(np.arange(law.max_visits) < n_visits[:, None])
    t, found, left, adjusted, level_found, level_left, outlier, analyser, common = (
        np.stack(grid)[visit, unit] for grid in zip(*made, strict=True)
    )
    truth = (level_found, level_left, outlier, analyser, common, world)
    return SimulatedFleet(law, unit, t, found, left, adjusted, *truth)
