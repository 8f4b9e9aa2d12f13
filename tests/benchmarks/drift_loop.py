"""Ten years of a fleet under one rule for when to come again: how often each appliance is visited, and for how many
days of the year it is outside its limits.

Five hundred appliances in 40 models that obey the engine's own law, with one to ten yearly visits behind them. Then
they are lived on, fortnight by fortnight: whoever is due is read and, where called for, adjusted, alike under every
rule. The engine learns the fleet from the visits so far, and anew each year; its accepted risk alpha is of being
outside at any moment before the next visit. Mean of BENCH_SEEDS worlds, by default 2, the same for each rule.

"New" fleets have a single visit behind them, so that the engine begins with assumptions and has only its own visits to
learn from: figures without goals.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fleet.drift import Hyper, Panel, Prior, assumed, filter, fit, horizon
from tests.benchmarks.form import checked, table
from tests.drift.simulate import DAYS_A_YEAR, FleetLaw, SimulatedFleet, Visits, simulate

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SEEDS = int(os.environ.get("BENCH_SEEDS", "2"))
LAW = FleetLaw(n_units=500, n_groups=40, group_exponent=1.0, min_visits=1, max_visits=10)
NEW = replace(LAW, min_visits=1, max_visits=1)
PRIOR = Prior.of("co2")
ALPHAS = (0.02, 0.05, 0.08, 0.10, 0.30)
HONEST = (0.05, 0.10)
"""Alphas whose share of intervals with a crossing is to be what they say."""

YEARS, STEPS_A_YEAR = 10, 26
FIXED_YEARS = 1.0
SOONEST_YEARS, LONGEST_YEARS = 0.25, 3.0


def figures() -> list[dict[str, Any]]:
    """Each figure with what it is measured against, its goal and whether it is met."""
    lives = [_lives(seed) for seed in range(SEEDS)]
    mean = {name: Life(*(float(part) for part in np.mean([each[name] for each in lives], axis=0))) for name in lives[0]}
    engine = {alpha: mean[_named(alpha)] for alpha in ALPHAS}
    return [
        *(each for name, life in mean.items() for each in _as_measured(name, life)),
        *_against_annual(mean["12_months"], list(engine.values())),
        *(_honest(alpha, engine[alpha].crossed) for alpha in HONEST),
    ]


def _lives(seed: int) -> dict[str, "Life"]:
    """The same world under each rule."""
    learned = fit(simulate(LAW, seed).panel(), PRIOR)
    return {
        "12_months": live(LAW, seed, fixed),
        **{_named(alpha): live(LAW, seed, within(alpha), learned) for alpha in ALPHAS},
        f"new_{_named(HONEST[0])}": live(NEW, seed, within(HONEST[0]), assumed("co2")),
    }


def _named(alpha: float) -> str:
    return f"alpha_{100 * alpha:02.0f}"


def figure(name: str, value: float, unit: str, goal: str | None = None, met: bool | None = None) -> dict[str, Any]:
    return {"name": f"drift.loop_{name}", "value": float(value), "unit": unit, "goal": goal, "met": met}


class Life(NamedTuple):
    """Per appliance and year: visits, days outside the limits. Of all intervals that ended: share with a crossing."""

    visits: float
    days_out: float
    crossed: float


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
        years, _reached_by = horizon(filter(panel, hyper), hyper, LAW.limits, alpha, LONGEST_YEARS)
        return np.maximum(years, SOONEST_YEARS)

    return interval


@dataclass
class Records:
    """A fleet's visits as they come: arrays of units, times, readings and flags."""

    fleet: SimulatedFleet

    def __post_init__(self) -> None:
        was = self.fleet
        self._parts: list[tuple[NDArray[Any], ...]] = [(was.unit, was.t_years, was.as_found, was.as_left, was.adjusted)]

    def add(self, there: Bools, visits: Visits) -> None:
        unit = np.flatnonzero(there)
        readings = (visits.found, visits.left, visits.adjusted)
        self._parts.append((unit, self.fleet.world.t_years[unit], *(each[unit] for each in readings)))

    def panel(self, there: Bools) -> Panel:
        """Of these units; the columns are in the order of their numbers."""
        unit, *readings = (np.concatenate(each) for each in zip(*self._parts, strict=True))
        asked = there[unit]
        groups = [f"group-{n:03d}" for n in self.fleet.group_of[unit[asked]]]
        told = (each[asked] for each in readings)
        return Panel.from_records(unit[asked].tolist(), groups, *told, target=self.fleet.law.target)


def live(law: FleetLaw, seed: int, rule: Rule, hyper: Hyper | None = None) -> Life:
    """Ten years under a rule, everyone just visited; `hyper`, where given, is learned anew at the end of each."""
    fleet = simulate(law, seed)
    world, records, everyone = fleet.world, Records(fleet), np.ones(law.n_units, bool)
    last = world.t_years
    due = last + rule(records.panel(everyone), hyper)
    crossed = np.zeros(law.n_units, bool)
    visits = crossings = 0
    years_out = 0.0
    for step in range(1, YEARS * STEPS_A_YEAR + 1):
        stretch = world.wait(1.0 / STEPS_A_YEAR, steps=2)
        crossed |= stretch.left
        years_out += stretch.outside_years.sum()
        there = due < world.t_years + 0.5 / STEPS_A_YEAR
        if there.any():
            records.add(there, world.visit(there))
            visits, crossings = visits + int(there.sum()), crossings + int(crossed[there].sum())
            crossed, last = crossed & ~there, np.where(there, world.t_years, last)
            due[there] = last[there] + rule(records.panel(there), hyper)
        if hyper is not None and step % STEPS_A_YEAR == 0:
            panel = records.panel(everyone)
            hyper = fit(panel, PRIOR, warm=hyper)
            due = last + rule(panel, hyper)
    lived = law.n_units * YEARS
    return Life(visits / lived, DAYS_A_YEAR * years_out / lived, crossings / visits)


if __name__ == "__main__":
    print(table([checked(each) for each in figures()]))
