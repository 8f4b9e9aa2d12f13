"""How fast the drift room learns a fleet anew and foretells it, and how right its numbers are.

Times are processor seconds of one core (OMP_NUM_THREADS=1), so that other work on the machine counts less; what they
are compared with is timed in the same run, on a sample, and scaled. Against statsmodels where it is installed.
"""

import json
import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.stats import theilslopes

from fleet.drift import (
    Group,
    Panel,
    Prior,
    State,
    biases,
    crossing_probability,
    filter,
    fit,
    horizon,
    reading_distribution,
    update,
)
from tests.benchmarks.form import checked, table
from tests.drift.paths import bridge_monte_carlo
from tests.drift.simulate import FleetLaw, simulate
from tests.drift.states import make_hyper, make_state

LAW = FleetLaw(n_units=100_000, n_groups=200, group_exponent=1.0, min_visits=10, max_visits=10)
LIMITS = LAW.limits
PRIOR = Prior.of("co2")
MOST_MEMORY_MB = 1500.0


def figures() -> list[dict[str, Any]]:
    """Each figure with what it is measured against, its goal and whether it is met."""
    return [
        *refit(),
        *growth_and_memory(),
        one_visit(),
        *crossing_error(),
        crossing_paths(),
        clean_penalty(),
        *recovery(),
    ]


def figure(name: str, value: float, unit: str, goal: str | None = None, met: bool | None = None) -> dict[str, Any]:
    return {"name": f"drift.{name}", "value": float(value), "unit": unit, "goal": goal, "met": met}


def seconds(work: Callable[[], Any]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def forecast(panel: Panel, *, plain: bool = False) -> None:
    """Everything of a night but the bias loop: learn, filter, chance within twelve months."""
    hyper = fit(panel, PRIOR, robust=not plain, mixture=not plain)
    crossing_probability(filter(panel, hyper), hyper, LIMITS, 1.0)


def refit() -> list[dict[str, Any]]:
    fleet = simulate(LAW, 1)
    records = fleet.records
    stacked = seconds(lambda: Panel.from_records(**records))
    panel = Panel.from_records(**records)
    robust = seconds(lambda: forecast(panel))
    plain = seconds(lambda: forecast(panel, plain=True))
    slopes = _loop(panel, 2000, lambda t, y: theilslopes(y, t))
    made = [
        figure("stack_1e5", stacked, "s"),
        _against("refit_1e5", robust, "theilslopes loop", slopes, 5.0),
        _against("refit_1e5_plain", plain, "theilslopes loop", slopes, 20.0),
    ]
    try:
        from statsmodels.tsa.statespace.structural import UnobservedComponents
    except ImportError:
        return made
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # ten readings seldom let both variances converge
        levels = _loop(panel, 60, lambda t, y: UnobservedComponents(y, "llevel").fit(disp=0))
    return [
        *made,
        _against("refit_1e5_local_level", robust, "statsmodels local-level fits", levels, 50.0),
        _against("refit_1e5_plain_local_level", plain, "statsmodels local-level fits", levels, 300.0),
    ]


def _against(name: str, value: float, other: str, others: float, goal: float) -> dict[str, Any]:
    ratio = others / value
    told = figure(name, value, "s", f"{goal:g} times faster", ratio >= goal)
    return told | {"ratio_to": other, "ratio": ratio}


def _loop(panel: Panel, sample: int, work: Callable[[Any, Any], Any]) -> float:
    """Seconds for all units, from the first of them."""

    def each() -> None:
        for unit in range(sample):
            work(panel.t_years[:, unit], panel.as_found[:, unit])

    return seconds(each) * panel.n_units / sample


def growth_and_memory() -> list[dict[str, Any]]:
    """From 1e4 to 1e6 appliances, each in a process of its own; the million is the same ten thousand, repeated."""
    small, large = (_alone(copies) for copies in (1, 100))
    growth, alone = (large[part] / small[part] / 100 for part in ("seconds", "without_learning"))
    memory = large["megabytes"]
    return [
        figure("growth_1e4_1e6_without_learning", alone, "times linear", "at most 1.7", alone <= 1.7),
        figure("growth_1e4_1e6", growth, "times linear", "at most 1.7", growth <= 1.7),
        figure("memory_1e6", memory, "MB", f"at most {MOST_MEMORY_MB:g}", memory <= MOST_MEMORY_MB),
    ]


def _alone(copies: int) -> dict[str, float]:
    code = f"from tests.benchmarks.drift_refit import repeated; repeated({copies})"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    told: dict[str, float] = json.loads(ran.stdout)
    return told


def repeated(copies: int) -> None:
    few = simulate(replace(LAW, n_units=10_000), 2).panel()
    grids = ("t_years", "dt_years", "as_found", "as_left", "noise_scale", "adjusted", "replaced")
    ids = tuple(range(few.n_units * copies))
    target = np.tile(few.target, copies)
    panel = Panel(ids, few.group_ids * copies, target, *(np.tile(getattr(few, name), copies) for name in grids))
    spent = seconds(lambda: forecast(panel))
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    hyper = make_hyper(pi=0.03, e_o=0.02, lam=0.02, om2=0.01)
    alone = seconds(lambda: crossing_probability(filter(panel, hyper), hyper, LIMITS, 1.0))
    print(json.dumps({"seconds": spent, "without_learning": alone, "megabytes": megabytes}))


def one_visit() -> dict[str, Any]:
    """One appliance's visit: its state moved on, its chances on the grid, its revisit, its fan of readings."""
    groups = {f"group-{n:03d}": Group(-0.05, 0.0144, 0.01, 0.001) for n in range(200)}
    hyper = make_hyper(pi=0.03, e_o=0.02, lam=0.02, om2=0.01, groups=groups)
    state = filter(simulate(FleetLaw(n_units=1, min_visits=6, max_visits=6), 3).panel(), hyper)

    def visit() -> State:
        after = update(state, hyper, 1.0, 8.9, 9.05, True)
        horizon(after, hyper, LIMITS, 0.08, 3.0)
        crossing_probability(after, hyper, LIMITS, 1.0)
        reading_distribution(after, hyper, 1.0).quantile([[0.05], [0.5], [0.95]])
        return after

    visit()
    spent = 1000.0 * min(seconds(lambda: [visit() for _ in range(10)]) / 10 for _ in range(5))
    return figure("one_visit", spent, "ms", "at most 5", spent <= 5)


def hard_cases(n: int, seed: int, q: float) -> State:
    """Corridor of width 1: level known to .05-.14, drift to .04-.24 a year, anywhere within, tied either way."""
    rng = np.random.default_rng(seed)
    uniform = rng.uniform
    return make_state(
        uniform(8.5, 9.5, n),
        rng.normal(0, 0.3, n),
        uniform(0.05, 0.14, n),
        uniform(0.04, 0.24, n),
        uniform(-0.7, 0.7, n),
    )


def crossing_error() -> list[dict[str, Any]]:
    """Against 200 nodes: 20 000 cases, q h / width^2 from .001 to .45."""
    worst = {16: 0.0, 24: 0.0}
    for seed, wander in enumerate(np.geomspace(0.001, 0.45, 40)):
        state, hyper = hard_cases(500, seed, wander), make_hyper(q=wander)
        fine = crossing_probability(state, hyper, LIMITS, 1.0, nodes=200)
        for nodes in worst:
            error = np.abs(crossing_probability(state, hyper, LIMITS, 1.0, nodes=nodes) - fine).max()
            worst[nodes] = max(worst[nodes], float(error))
    return [
        figure("crossing_error_16_nodes", worst[16], "chance"),
        figure("crossing_error_24_nodes", worst[24], "chance", "at most .001", worst[24] <= 1e-3),
    ]


CASES = [
    (9.0, 0.0, 0.087, 0.1, 0.0, 0.02, 1.0),
    (9.0, 0.0, 0.087, 0.1, 0.0, 0.09, 1.0),
    (9.3, 0.1, 0.10, 0.2, 0.4, 0.01, 1.5),
    (8.9, -0.2, 0.12, 0.1, -0.3, 0.09, 2.0),
    (9.45, -0.3, 0.06, 0.15, 0.2, 0.005, 1.0),
    (9.2, 0.3, 0.08, 0.05, 0.0, 0.01, 1.0),
    (9.4, 0.0, 0.14, 0.24, -0.7, 0.045, 1.0),
]


def crossing_paths() -> dict[str, Any]:
    """Seven cases of 400 000 simulated paths each: distance in their standard errors."""
    worst = 0.0
    for number, (x, mu, level_sd, drift_sd, correlation, q, years) in enumerate(CASES):
        state, hyper = make_state(x, mu, level_sd, drift_sd, correlation), make_hyper(q=q)
        share, error = bridge_monte_carlo(state, hyper, LIMITS, years, paths=400_000, steps=60, seed=number)
        told = crossing_probability(state, hyper, LIMITS, years, nodes=24)[0]
        worst = max(worst, abs(told - share) / error)
    return figure("crossing_4e5_paths", worst, "standard errors", "at most 3.5", worst <= 3.5)


def brier(law: FleetLaw, seed: int, *, plain: bool = False) -> float:
    fleet = simulate(law, seed)
    panel = fleet.panel()
    hyper = fit(panel, PRIOR, robust=not plain, mixture=not plain)
    chance = crossing_probability(filter(panel, hyper), hyper, law.limits, 1.0)
    return float(((chance - fleet.leaves_within(1.0)) ** 2).mean())


def clean_penalty() -> dict[str, Any]:
    """What expecting outliers, steps and fast units costs where there are none: Brier score, 3 x 2000 units."""
    law = FleetLaw(n_units=2000, n_groups=20, group_exponent=1.0, min_visits=1, max_visits=10)
    both = [(brier(law, seed), brier(law, seed, plain=True)) for seed in range(3)]
    robust, plain = np.mean(both, axis=0)
    penalty = robust / plain - 1.0
    return figure("clean_penalty", 100 * penalty, "% of Brier", "at most 1", bool(penalty <= 0.01))


def recovery() -> list[dict[str, Any]]:
    """Analysers that are off by .05, .1 and .2: 3000 units, 10 visits, 12 analysers, half of the units in pairs."""
    off = (0.05, 0.1, 0.2, -0.05, -0.1, -0.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    law = FleetLaw(3000, 20, 1.0, 10, 10, units_per_site=2, site_day_sd=0.05, analyser_biases=off)
    fleet = simulate(law, 5)
    panel = fleet.panel()
    hyper = fit(panel, PRIOR)
    begun = time.process_time()
    found = biases(panel, hyper, fleet.analyser_of, fleet.site_day_of)
    spent = time.process_time() - begun
    told = np.array([found.analyser.of(f"analyser-{n:03d}") for n in range(len(off))])
    error = np.abs((told - told.mean()) - (np.array(off) - np.mean(off)))
    return [
        figure("bias_recovery", error.max(), "vol %", "at most .03", bool(error.max() <= 0.03)),
        figure("bias_loop", spent, "s"),
    ]


if __name__ == "__main__":
    print(table([checked(each) for each in figures()]))
