"""What the combustion tests share: the worked cases of fixtures/golden, their fuels, and bounded
properties.
"""

import csv
import re
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from numpy.polynomial import polynomial

from fleet.combustion import FUELS, AnyFuel, Fuel, HeatBalance, excess_air_ratio_from_o2, heat_balance
from fleet.combustion.gases import ENTHALPY, HEATING_VALUE_TEMP_C

GOLDEN = Path(__file__).parents[2] / "fixtures" / "golden"

# The fuels of the worked cases, made here from what those cases say, so that they test how fuels are made
# too.
CASE_FUELS = {
    "G20": FUELS["methane"],
    "G25": FUELS["natural_gas_l"],
    "G31": FUELS["propane"],
    "G30": Fuel.from_composition("n-butane", {"nC4": 1.0}),
    "US_NG": Fuel.from_composition(
        "mean natural gas of the United States",
        {"CH4": 0.939, "C2H6": 0.032, "C3H8": 0.007, "nC4": 0.004, "CO2": 0.009, "N2": 0.009},
    ),
    "OIL2": Fuel.from_ultimate_analysis("CH1.8", {"C": 12.011 / 13.8253, "H": 1.8 * 1.00794 / 13.8253}, 45.5),
    "CH4_H2_20": FUELS["natural_gas_20_h2"],
}

property_settings = settings(max_examples=25, deadline=None, derandomize=True)
fuels = st.sampled_from(sorted(FUELS)).map(FUELS.__getitem__)
lean_ratios = st.floats(1.0, 3.0)
co_ppm_values = st.floats(0.0, 5000.0)


def rows(name: str) -> list[dict[str, str]]:
    """The rows of one file of worked cases."""
    with (GOLDEN / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(cases: list[dict[str, str]], name: str) -> list[float]:
    return [float(case[name]) for case in cases]


def number_after(key: str, text: str) -> float:
    """The number that follows a key such as "O2=" in a description."""
    found = re.search(re.escape(key) + r"\s*(-?\d+(?:\.\d+)?)", text)
    assert found, f"{key!r} not in {text!r}"
    return float(found[1])


def by_fuel(cases: list[dict[str, str]]) -> list[tuple[Fuel, list[dict[str, str]]]]:
    """The cases of each fuel together, so that each group is one array call."""
    names = dict.fromkeys(case["fuel"] for case in cases)
    return [(CASE_FUELS[name], [case for case in cases if case["fuel"] == name]) for name in names]


def balance_from_o2(fuel: AnyFuel, o2_pct: Any, flue_c: Any, air_c: Any, **air: Any) -> HeatBalance:
    return heat_balance(fuel, excess_air_ratio_from_o2(fuel, o2_pct), flue_c, air_c, **air)


def enthalpy_j_mol(species: str, temp_c: Any) -> Any:
    """Enthalpy above 25 °C [J/mol] by numpy's own evaluation of the fitted polynomial."""
    return polynomial.polyval(np.asarray(temp_c) - HEATING_VALUE_TEMP_C, [0.0, *ENTHALPY[species]])
