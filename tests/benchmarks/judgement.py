"""One visit through the whole judgement: figures, their uncertainty, doubts, verdicts and what they suggest.

Two rates as found and as left, on a card of the check sheet with three limit sets; no database, which is measured
elsewhere. Best of many. The peer, in the same run: the same visit's figures with their uncertainty asked for reading by
reading.
"""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from fleet.combustion import FUELS, doubts_of_rows, figures_with_uncertainty, standard_uncertainties
from fleet.limits import Card, VisitView, diagnose, evaluate
from tests.benchmarks.form import checked, table
from tests.limits.cast import ANALYSER, LIMIT_SETS, make_card, reading

ROUNDS = 60
GOAL_MS = 2.0
PATTERNS = json.loads((Path(__file__).parents[2] / "fixtures/reference/diagnostics.json").read_text())["patterns"]
FUEL = FUELS["natural_gas"]
READ = {
    "o2_pct": [4.9, 5.3, 4.7, 5.2],
    "co_ppm": [42.0, 30.0, 38.0, 31.0],
    "flue_temp_c": [61.0, 48.0, 60.0, 48.5],
    "air_temp_c": [18.0, 18.0, 18.2, 18.3],
}
PLACES = (("high", "as_found"), ("low", "as_found"), ("high", "as_left"), ("low", "as_left"))


def figures() -> list[dict[str, Any]]:
    card = _card()
    whole_ms, alone_ms = best_ms(lambda: judged(card)), best_ms(lambda: [_of_one(n) for n in range(len(PLACES))])
    together_ms = best_ms(lambda: _figures(READ))
    return [
        checked(
            {
                "name": "combustion.visit_judged",
                "value": whole_ms,
                "unit": "ms",
                "goal": f"at most {GOAL_MS} ms",
                "met": whole_ms <= GOAL_MS,
            }
        ),
        checked(
            {
                "name": "combustion.visit_figures_with_uncertainty",
                "value": together_ms,
                "unit": "ms",
                "ratio_to": "reading by reading",
                "ratio": alone_ms / together_ms,
            }
        ),
    ]


def _card() -> Card:
    """The check sheet with the three largest limit sets that ship."""
    largest = sorted(LIMIT_SETS, key=lambda each: len(LIMIT_SETS[each].get("limits", ())))[-3:]
    return make_card(*largest)


def judged(card: Card) -> int:
    """The chain as the service runs it; how many verdicts and suggestions came of it."""
    found = _figures(READ)
    doubted = doubts_of_rows(FUEL, READ["o2_pct"], found.figures["co2_pct"], READ["co_ppm"], co2_basis="calculated")
    rows = [{name: float(values[n]) for name, values in found.figures.items()} for n in range(len(PLACES))]
    cases = [_case(n, row, doubted[n]) for n, row in enumerate(rows)]
    verdicts = evaluate(card, cases)
    last = dict(zip(("high", "low"), rows[2:], strict=True))
    view = VisitView(found=dict(zip(("high", "low"), rows[:2], strict=True)), left=last, last=last, fuel="natural_gas")
    return len(verdicts.verdicts) + len(diagnose(view, PATTERNS))


def _figures(read: dict[str, Any]) -> Any:
    columns = {name: np.asarray(values, float) for name, values in read.items()}
    stated = standard_uncertainties(ANALYSER["accuracy"], columns)
    said = [{} for _ in range(columns["o2_pct"].size)]
    return figures_with_uncertainty(FUEL, columns, stated, said, co2_basis="calculated")


def _of_one(n: int) -> Any:
    return _figures({name: values[n : n + 1] for name, values in READ.items()})


def _case(n: int, row: dict[str, float], doubted: tuple[Any, ...]) -> dict[str, Any]:
    rate, phase = PLACES[n]
    invalid = any(each.makes_invalid for each in doubted)
    names = ("o2_pct", "co2_pct", "efficiency_pct_net", "efficiency_pct_gross")
    read = {name: row[name] for name in names} | {name: READ[name][n] for name in READ}
    return reading(key=str(n + 1), rate=rate, phase=phase, taken_order=n + 1, invalid=invalid, **read)


def best_ms(run: Callable[[], Any]) -> float:
    best = float("inf")
    for _round in range(ROUNDS):
        begun = time.perf_counter()
        run()
        best = min(best, time.perf_counter() - begun)
    return 1000 * best


if __name__ == "__main__":
    print(table(figures()))
