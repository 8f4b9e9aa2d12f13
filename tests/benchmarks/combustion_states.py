"""Heat balances a second: excess air from O2, all losses, condensate and both efficiencies, on one core.

A million states of O2 1 to 12 %, flue gas 30 to 230 °C and intake air -5 to 35 °C, every input an array; one in
seven condenses. Best of five. The peers, in the same run: the same figures asked for state by state, and memory
copied in as many bytes as the states read and write.
"""

import math
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from fleet.combustion import FUELS, AnyFuel, FuelRows, doubts, excess_air_ratio_from_o2, heat_balance
from fleet.combustion.heat import FIGURES
from tests.benchmarks.form import checked, table

STATES, SAMPLE, ROUNDS = 1_000_000, 1_000, 5
GOAL, GOAL_FUEL_PER_ROW = 1.5e7, 5e6
BALANCE_US, DOUBT_US = 150.0, 60.0


def figures() -> list[dict[str, Any]]:
    rng = np.random.default_rng(1)
    o2, flue_c, air_c = rng.uniform(1, 12, STATES), rng.uniform(30, 230, STATES), rng.uniform(-5, 35, STATES)
    gas, rows = FUELS["natural_gas"], FuelRows.of(list(FUELS.values()), rng.integers(0, len(FUELS), STATES))

    def many(fuel: AnyFuel) -> float:
        return STATES / best_s(lambda: heat_balance(fuel, excess_air_ratio_from_o2(fuel, o2), flue_c, air_c))

    def one_by_one(fuel_of: Callable[[int], AnyFuel]) -> float:
        def each() -> None:
            for row in range(SAMPLE):
                fuel = fuel_of(row)
                heat_balance(fuel, excess_air_ratio_from_o2(fuel, o2[row]), flue_c[row], air_c[row])

        return SAMPLE / best_s(each)

    of_one, of_rows = many(gas), many(rows)
    bound = memory_bound()
    return [
        states("combustion.states", of_one, one_by_one(lambda row: gas), GOAL),
        states(
            "combustion.states_fuel_per_row",
            of_rows,
            one_by_one(lambda row: rows.fuels[rows.index[row]]),
            GOAL_FUEL_PER_ROW,
        ),
        {
            "name": "combustion.states_share_of_memory_bound",
            "value": 100 * of_one / bound,
            "unit": "%",
            "ratio_to": "memory copy",
            "ratio": of_one / bound,
        },
        of_a_visit("combustion.balance_of_four_readings", BALANCE_US, four_readings),
        of_a_visit("combustion.doubts_of_a_sound_reading", DOUBT_US, sound_reading),
    ]


def states(name: str, a_second: float, peer: float, goal: float) -> dict[str, Any]:
    return {
        "name": name,
        "value": a_second,
        "unit": "states/s",
        "ratio_to": "state by state",
        "ratio": a_second / peer,
        "goal": goal,
        "met": a_second >= goal,
    }


def memory_bound() -> float:
    """States a second if nothing were done but read and write their arrays: half of the bytes copied to as many."""
    columns = 3 + 1 + len(FIGURES)
    source = np.ones(STATES * columns // 2)
    target = np.empty_like(source)
    return STATES / best_s(lambda: np.copyto(target, source))


def of_a_visit(name: str, goal_us: float, call: Callable[[], object]) -> dict[str, Any]:
    def some() -> None:
        for _ in range(100):
            call()

    spent_us = best_s(some, rounds=20) * 1e4
    return {"name": name, "value": spent_us, "unit": "µs", "goal": f"<= {goal_us:.0f} µs", "met": spent_us <= goal_us}


def four_readings() -> object:
    return heat_balance(FUELS["natural_gas"], FOUR_RATIOS, FOUR_TEMPS_C, 20.0)


def sound_reading() -> object:
    return doubts(FUELS["natural_gas"], 5.0, 9.0, 20.0, co2_basis="measured", flue_temp_c=80.0)


FOUR_RATIOS, FOUR_TEMPS_C = np.array([1.15, 1.2, 1.25, 1.3]), np.array([40.0, 60.0, 80.0, 120.0])


def best_s(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    best = math.inf
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


if __name__ == "__main__":
    print(table([checked(figure) for figure in figures()]))
