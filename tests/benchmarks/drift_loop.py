"""Ten years of a fleet under one rule for when to come again: how often each appliance is visited, and for how many
days of the year it is outside its limits.

A thousand appliances that obey the engine's own law, lived week by week: whoever is due is read and, where called for,
adjusted, alike under every rule. The engine's rule begins with what another fleet under the same law taught, without
that fleet's groups, and learns its own fleet anew each year; its accepted chance alpha is of being outside at any
moment before the next visit. Mean of BENCH_SEEDS worlds, by default 2, the same for each rule; the first visit to all,
at the beginning, is not counted.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fleet.drift import FleetLaw, Hyper, Panel, Prior, World, filter, fit, horizon, simulate
from fleet.drift.simulate import DAYS_A_YEAR, Visits
from tests.benchmarks.form import checked, table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SEEDS = int(os.environ.get("BENCH_SEEDS", "2"))
LAW = FleetLaw(n_units=1000, n_groups=40, group_exponent=1.0, min_visits=1, max_visits=10)
ARCHIVE = replace(LAW, n_units=3000)
ARCHIVE_SEED = 1000
PRIOR = Prior.of("co2")
ALPHAS = (0.05, 0.08, 0.10, 0.30)
HONEST = (0.05, 0.10)
"""Alphas whose share of intervals with a crossing is to be what they say."""

YEARS, WEEKS_A_YEAR = 10, 52
FIXED_YEARS = 1.0
SOONEST_YEARS, LONGEST_YEARS = 0.25, 2.0


def figures() -> list[dict[str, Any]]:
    """Each figure with what it is measured against, its goal and whether it is met."""
    archive = replace(fit(simulate(ARCHIVE, ARCHIVE_SEED).panel(), PRIOR), groups={})
    annual = mean_life([live(LAW, seed, fixed) for seed in range(SEEDS)])
    engine = {alpha: mean_life([live(LAW, seed, within(alpha), archive) for seed in range(SEEDS)]) for alpha in ALPHAS}
    told = {"12_months": annual} | {f"alpha_{100 * alpha:02.0f}": life for alpha, life in engine.items()}
    return [
        *(each for name, life in told.items() for each in _as_measured(name, life)),
        *_against_annual(annual, list(engine.values())),
        *(_honest(alpha, engine[alpha].crossed) for alpha in HONEST),
    ]


def figure(name: str, value: float, unit: str, goal: str | None = None, met: bool | None = None) -> dict[str, Any]:
    return {"name": f"drift.loop_{name}", "value": float(value), "unit": unit, "goal": goal, "met": met}


class Life(NamedTuple):
    """Per appliance and year: visits, days outside the limits. Of all intervals that ended: share with a crossing."""

    visits: float
    days_out: float
    crossed: float


def mean_life(lives: Sequence[Life]) -> Life:
    return Life(*(float(part) for part in np.mean(lives, axis=0)))


def _as_measured(name: str, life: Life) -> list[dict[str, Any]]:
    return [
        figure(f"{name}_visits", life.visits, "visits/appliance/year"),
        figure(f"{name}_days_out", life.days_out, "days/appliance/year"),
        figure(f"{name}_crossed", life.crossed, "of intervals"),
    ]


def _against_annual(annual: Life, engine: Sequence[Life]) -> list[dict[str, Any]]:
    days = between("visits", annual.visits, "days_out", engine) / annual.days_out
    visits = between("days_out", annual.days_out, "visits", engine) / annual.visits
    peer = "every 12 months"
    return [
        figure("days_out_at_equal_visits", days, "of annual", "at most .40", days <= 0.40)
        | {"ratio_to": peer, "ratio": 1.0 / days},
        figure("visits_at_equal_days_out", visits, "of annual", "at most .75", visits <= 0.75)
        | {"ratio_to": peer, "ratio": 1.0 / visits},
    ]


def between(known: str, at: float, asked: str, lives: Sequence[Life]) -> float:
    """What is asked where the known figure is `at`, by straight lines between the lives on both sides of it."""
    points = sorted((getattr(life, known), getattr(life, asked)) for life in lives)
    there, value = zip(*points, strict=True)
    if not there[0] <= at <= there[-1]:
        raise ValueError(f"{known}: {at:.3g} must lie within {there[0]:.3g} to {there[-1]:.3g}, as lived")
    return float(np.interp(at, there, value))


def _honest(alpha: float, crossed: float) -> dict[str, Any]:
    off = crossed / alpha - 1.0
    return figure(f"crossed_to_alpha_{100 * alpha:02.0f}", 100 * off, "% off", "within 25", abs(off) <= 0.25)


Rule = Callable[[Panel, Hyper | None], Floats]
"""Years from each unit's last visit to its next."""


def fixed(panel: Panel, _hyper: Hyper | None) -> Floats:
    return np.full(panel.n_units, FIXED_YEARS)


def within(alpha: float) -> Rule:
    """The engine's: when the chance of having been outside reaches alpha."""

    def interval(panel: Panel, hyper: Hyper | None) -> Floats:
        assert hyper is not None
        years, _binding = horizon(filter(panel, hyper), hyper, LAW.limits, alpha, LONGEST_YEARS)
        return np.maximum(years, SOONEST_YEARS)

    return interval


@dataclass
class Records:
    """A fleet's visits as they come: one array of units, times, readings and flags a week."""

    world: World
    weeks: list[tuple[NDArray[Any], ...]] = field(default_factory=list)

    def add(self, there: Bools, visits: Visits) -> None:
        unit = np.flatnonzero(there)
        readings = (visits.found, visits.left, visits.adjusted)
        self.weeks.append((unit, self.world.t_years[unit], *(each[unit] for each in readings)))

    def panel(self, there: Bools) -> Panel:
        """Of these units; the columns are in the order of their numbers."""
        unit, t_years, found, left, adjusted = (np.concatenate(each) for each in zip(*self.weeks, strict=True))
        asked = there[unit]
        groups = [f"group-{n:03d}" for n in self.world.group_of[unit[asked]]]
        readings = (each[asked] for each in (t_years, found, left, adjusted))
        return Panel.from_records(unit[asked].tolist(), groups, *readings, target=self.world.law.target)


def live(law: FleetLaw, seed: int, rule: Rule, hyper: Hyper | None = None) -> Life:
    """Ten years under a rule; with `hyper`, what the fleet taught is learned anew at the end of each year."""
    world = World(law, seed)
    records, everyone = Records(world), np.ones(law.n_units, bool)
    records.add(everyone, world.visit(first=True))
    due = rule(records.panel(everyone), hyper)
    last, crossed = np.zeros(law.n_units), np.zeros(law.n_units, bool)
    visits = crossings = 0
    years_out = 0.0
    for week in range(1, YEARS * WEEKS_A_YEAR + 1):
        stretch = world.wait(1.0 / WEEKS_A_YEAR)
        crossed |= stretch.left
        years_out += stretch.outside_years.sum()
        there = due < world.t_years + 0.5 / WEEKS_A_YEAR
        if there.any():
            records.add(there, world.visit(there))
            visits, crossings = visits + int(there.sum()), crossings + int(crossed[there].sum())
            crossed[there], last[there] = False, world.t_years[there]
            due[there] = last[there] + rule(records.panel(there), hyper)
        if hyper is not None and week % WEEKS_A_YEAR == 0 and week < YEARS * WEEKS_A_YEAR:
            panel = records.panel(everyone)
            hyper = fit(panel, PRIOR, warm=hyper)
            due = last + rule(panel, hyper)
    lived = law.n_units * YEARS
    return Life(visits / lived, DAYS_A_YEAR * years_out / lived, crossings / visits)


if __name__ == "__main__":
    print(table([checked(each) for each in figures()]))
