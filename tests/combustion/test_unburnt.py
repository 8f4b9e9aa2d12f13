"""Figures of flue gas with unburnt CO, held against a balance of atoms solved for itself."""

from typing import Any

import numpy as np
import pytest

from fleet.combustion import FUELS, Fuel, derived_figures, saturation_pressure_pa
from fleet.combustion.gases import (
    AIR,
    CO_HEAT_KJ_MOL,
    STANDARD_PRESSURE_PA,
    VAPORISATION_KJ_MOL,
    WATER_HEAT_CAPACITY_J_MOL_K,
)
from tests.combustion.cases import enthalpy_j_mol

BURNT = ("natural_gas", "propane", "light_oil", "natural_gas_20_h2", "hydrogen")
O2_PCT = (2.0, 3.0, 5.0, 8.0, 11.0, 15.0)
CO_PPM = (0.0, 50.0, 100.0, 500.0, 1000.0, 2000.0, 5000.0)
FLUE_C = (30.0, 45.0, 55.0, 80.0, 160.0, 250.0)
AIR_C = 20.0
# What is not said here moves the ratio and the efficiency by at most so much.
RATIO_WITHIN, POINTS_WITHIN = 0.002, 0.02


def balanced(fuel: Fuel, o2_pct: float, co_ppm: float) -> dict[str, float]:
    """Air, and moles of CO2, CO, O2, inert gas and water per mole of fuel: carbon, hydrogen, oxygen and inert gas are
    kept, and two of the dry gases have the shares that were read.
    """
    o2, co = o2_pct / 100, co_ppm / 1e6
    names = ("air", "CO2", "CO", "O2", "N2", "Ar", "H2O")
    rows: list[tuple[dict[str, float], float]] = [
        ({"CO2": 1, "CO": 1, "air": -AIR["CO2"]}, fuel.carbon + fuel.sulfur),
        ({"H2O": 2}, 2 * fuel.water_products),
        (
            {"CO2": 2, "CO": 1, "O2": 2, "H2O": 1, "air": -2 * (AIR["O2"] + AIR["CO2"])},
            2 * (fuel.carbon + fuel.sulfur) + fuel.water_products - 2 * fuel.oxygen_demand,
        ),
        ({"N2": 1, "air": -AIR["N2"]}, fuel.nitrogen / 2),
        ({"Ar": 1, "air": -AIR["Ar"]}, 0.0),
        ({gas: o2 - (gas == "O2") for gas in names[1:6]}, 0.0),
        ({gas: co - (gas == "CO") for gas in names[1:6]}, 0.0),
    ]
    matrix = [[row.get(name, 0.0) for name in names] for row, _ in rows]
    return dict(zip(names, np.linalg.solve(matrix, [right for _, right in rows]), strict=True))


def first_law_pct_net(fuel: Fuel, moles: dict[str, float], flue_c: float) -> float:
    """What of the net heating value doesn't leave, fuel and air coming in at AIR_C; CO carries its heat away, with N2's
    enthalpy above 25 °C (they differ by less than 0.3 % there, from memory).
    """
    dry = sum(moles[gas] for gas in ("CO2", "CO", "O2", "N2", "Ar"))
    saturation = float(saturation_pressure_pa(flue_c))
    carried = dry * saturation / (STANDARD_PRESSURE_PA - saturation) if saturation < STANDARD_PRESSURE_PA else np.inf
    liquid = max(0.0, moles["H2O"] - carried)
    leaving = sum(moles[gas] * enthalpy_j_mol(gas, flue_c) for gas in ("CO2", "O2", "N2", "Ar", "H2O"))
    leaving += moles["CO"] * (enthalpy_j_mol("N2", flue_c) + 1000 * CO_HEAT_KJ_MOL)
    vapour_over_liquid = enthalpy_j_mol("H2O", flue_c) - WATER_HEAT_CAPACITY_J_MOL_K * (flue_c - 25.0)
    leaving -= liquid * (1000 * VAPORISATION_KJ_MOL + vapour_over_liquid)
    entering = moles["air"] * sum(share * enthalpy_j_mol(gas, AIR_C) for gas, share in AIR.items())
    entering += fuel.heat_capacity_j_mol_k * (AIR_C - 25.0)
    return float(100 + (entering - leaving) / fuel.lhv_kj_mol / 10)


def deviations(fuel: Fuel, missing: str) -> tuple[float, float]:
    """How far ratio and efficiency are from the balance at most, where O2 or CO2 was not read."""
    ratio = points = 0.0
    for o2_pct in O2_PCT:
        for co_ppm in CO_PPM if fuel.carbon else (0.0,):
            moles = balanced(fuel, o2_pct, co_ppm)
            dry = sum(moles[gas] for gas in ("CO2", "CO", "O2", "N2", "Ar"))
            read: dict[str, Any] = {"o2_pct": o2_pct, "co2_pct": 100 * moles["CO2"] / dry, "co_ppm": co_ppm}
            read |= {missing: np.nan, "flue_temp_c": np.array(FLUE_C), "air_temp_c": AIR_C}
            figures = derived_figures(fuel, read)
            assert figures["o2_pct"] == pytest.approx(np.full(len(FLUE_C), o2_pct), abs=1e-9)
            assert figures["co2_pct"] == pytest.approx(np.full(len(FLUE_C), 100 * moles["CO2"] / dry), abs=1e-9)
            ratio = max(ratio, float(np.max(np.abs(figures["excess_air_ratio"] - moles["air"] / fuel.air_demand))))
            efficiency = [first_law_pct_net(fuel, moles, flue_c) for flue_c in FLUE_C]
            points = max(points, float(np.max(np.abs(figures["efficiency_pct_net"] - efficiency))))
    return ratio, points


@pytest.mark.parametrize("missing", ["co2_pct", "o2_pct"])
@pytest.mark.parametrize("name", BURNT)
def test_ratio_and_efficiency_are_those_of_an_atom_balance(name: str, missing: str) -> None:
    ratio, points = deviations(FUELS[name], missing)
    assert ratio < RATIO_WITHIN
    assert points < POINTS_WITHIN


def test_a_co_that_nobody_read_takes_no_figure_away() -> None:
    read = {"o2_pct": 5.0, "flue_temp_c": 80.0, "air_temp_c": 20.0}
    without, none = (derived_figures(FUELS["natural_gas"], read | {"co_ppm": co}) for co in (np.nan, 0.0))
    for name in ("excess_air_ratio", "co2_pct", "efficiency_pct_net", "dew_point_c", "latent_loss_pct_gross"):
        assert without[name] == none[name]


def test_a_flame_that_lacks_air_keeps_its_co_over_co2_and_its_air_free_co() -> None:
    """CO that would need more O2 than there is: no ratio and no efficiency, but what limits are held against."""
    for read in ({"o2_pct": 0.1}, {"co2_pct": FUELS["natural_gas"].co2_max_pct - 0.05}):
        figures = derived_figures(FUELS["natural_gas"], read | {"co_ppm": 5000.0})
        assert np.isnan(figures["excess_air_ratio"])
        assert figures["co_ppm_air_free"] >= 5000.0
        assert figures["co_co2_ratio"] > 0.04
