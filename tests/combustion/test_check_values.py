"""Every published or independently computed check value that this room can answer, one test each.

The values "computed with Cantera" come from another program with its own thermodynamic data (NASA
polynomials).
"""

from collections.abc import Callable

import pytest

from fleet.combustion import (
    FUELS,
    LOSS_COEFFICIENTS,
    Fuel,
    air_free,
    apparent_co2_max_pct,
    co2_pct_from_ratio,
    co_co2_ratio,
    dew_point_c,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    flue_gas,
    gas_properties,
    heat_balance,
    mg_per_kwh,
    moles_from_volumes,
    regulation_loss,
    saturation_pressure_pa,
)
from tests.combustion.cases import CASE_FUELS, number_after, rows

CASES = rows("check_values")
# Decision rules and limits of a regulation are another room's.
OTHER_ROOMS = {"guard_band_factor_one_sided", "conformance_probability", "flue_loss_limit_pct"}

EN_437_GASES = {
    "G20": {"CH4": 1.0},
    "G222": {"CH4": 0.77, "H2": 0.23},
    "G23": {"CH4": 0.925, "N2": 0.075},
    "G24": {"CH4": 0.68, "C3H8": 0.12, "H2": 0.20},
    "G25": {"CH4": 0.86, "N2": 0.14},
    "G30": {"nC4": 0.5, "iC4": 0.5},
    "G31": {"C3H8": 1.0},
}
ASHRAE_EXAMPLE_GAS = Fuel.from_composition("ASHRAE example 3", {"CH4": 0.90, "C2H6": 0.05, "N2": 0.05})
HANDBOOK_FUELS = {
    "natural gas": FUELS["natural_gas"],
    "propane": FUELS["propane"],
    "butane": FUELS["butane"],
    "No.1/2 oil": FUELS["light_oil"],
}
REGULATION_FUELS = {
    "heating oil EL": "de_2010_light_oil",
    "natural gas": "de_2010_natural_gas",
    "coke-oven gas": "de_2010_coke_oven_gas",
    "LPG": "de_2010_liquefied_gas",
}
GAS_FIELDS = {
    "Hi_MJ_m3_15C": "lhv_mj_m3",
    "Hs_MJ_m3_15C": "hhv_mj_m3",
    "Wi_MJ_m3_15C": "wobbe_net_mj_m3",
    "Ws_MJ_m3_15C": "wobbe_gross_mj_m3",
    "relative_density": "relative_density",
}
# One mole of gas at 68 °F and 1 atm in cubic feet, and a million Btu in kJ: the units of 40 CFR.
SCF_PER_MOL = 24.0552 * 0.0353147
KJ_PER_MMBTU = 1_055_056.0


def _co2_max(inputs: str) -> float:
    if inputs.startswith("O2="):
        o2, co2 = number_after("O2=", inputs), number_after("CO2=", inputs)
        return float(apparent_co2_max_pct(o2, co2, o2_air_pct=20.95, co2_air_pct=0.0))
    if inputs.startswith("CH4, air 21.0"):
        # One CO2 in the nitrogen of two O2 of this simpler air.
        return 100 / (1 + CASE_FUELS["G20"].oxygen_demand * 79.0 / 21.0)
    return CASE_FUELS[inputs.removeprefix("fuel=").split(";")[0]].co2_max_pct


def _gas_property(quantity: str) -> Callable[[str], float]:
    def value(inputs: str) -> float:
        if not inputs.startswith("gas="):
            return float(getattr(gas_properties(FUELS["natural_gas"]), GAS_FIELDS[quantity]))
        name = inputs.removeprefix("gas=").split()[0]
        fuel = Fuel.from_composition(name, moles_from_volumes(EN_437_GASES[name]))
        return float(getattr(gas_properties(fuel), GAS_FIELDS[quantity]))

    return value


def _dew_point(inputs: str) -> float:
    if "lambda=" in inputs:
        return float(dew_point_c(CASE_FUELS[inputs.split(";")[0]], number_after("lambda=", inputs)))
    ratio = 1.0 if "stoich" in inputs or inputs == "same" else excess_air_ratio_from_o2(FUELS["natural_gas"], 6.3)
    return float(dew_point_c(FUELS["natural_gas"], ratio))


def _handbook_co2(inputs: str) -> float:
    fuel = HANDBOOK_FUELS[inputs.split(",")[0]]
    return float(co2_pct_from_ratio(fuel, 1 + number_after("excess air ", inputs) / 100))


def _regulation(inputs: str) -> float:
    key = next(REGULATION_FUELS[words] for words in REGULATION_FUELS if inputs.startswith(words))
    figures = (number_after(name, inputs) for name in ("O2=", "tA=", "tL="))
    return float(regulation_loss(LOSS_COEFFICIENTS[key], *figures))


def _stack(field: str) -> Callable[[str], float]:
    def value(inputs: str) -> float:
        fuel = CASE_FUELS[inputs.split(";")[0]]
        ratio = excess_air_ratio_from_o2(fuel, number_after("O2=", inputs))
        balance = heat_balance(fuel, ratio, number_after("t=", inputs), number_after("air=", inputs))
        return float(getattr(balance, field))

    return value


def _saturated(field: str) -> Callable[[str], float]:
    def value(inputs: str) -> float:
        fuel = CASE_FUELS[inputs.split(";")[0]]
        balance = heat_balance(fuel, number_after("lambda=", inputs), number_after("saturated at", inputs), 20.0)
        return float(getattr(balance, field))

    return value


def _air_free(inputs: str) -> float:
    return float(air_free(100.0, number_after("O2=", inputs)))


def _f_factor(dry_moles: Callable[[Fuel], float]) -> Callable[[str], float]:
    def value(inputs: str) -> float:
        fuel = {"natural gas": CASE_FUELS["US_NG"], "propane": CASE_FUELS["G31"], "butane": CASE_FUELS["G30"]}[inputs]
        return dry_moles(fuel) * SCF_PER_MOL * KJ_PER_MMBTU / fuel.hhv_kj_mol

    return value


def _co_mass(inputs: str) -> float:
    return float(mg_per_kwh(CASE_FUELS["OIL2" if inputs.startswith("oil") else "G20"], 1.0, "CO", "net"))


ANSWERS: dict[str, Callable[[str], float]] = {
    "co2_max_dry_pct": _co2_max,
    **{quantity: _gas_property(quantity) for quantity in GAS_FIELDS},
    # The source's own example fuel has U = 11.74 and P/A = 0.9; methane is its nearest real gas.
    "excess_air_pct": lambda inputs: 100 * (float(excess_air_ratio_from_co2(CASE_FUELS["G20"], 10.0)) - 1),
    "air_m3_m3": lambda inputs: ASHRAE_EXAMPLE_GAS.air_demand,
    "dry_flue_m3_m3": lambda inputs: float(flue_gas(ASHRAE_EXAMPLE_GAS, 1.157).dry),
    "dewpoint_C": _dew_point,
    "co2_dry_pct": _handbook_co2,
    "flue_loss_siegert_pct": _regulation,
    "sensible_loss_net_pct": _stack("sensible_loss_pct_net"),
    "loss_gross_exact_pct": lambda inputs: 100 - _stack("efficiency_pct_gross")(inputs),
    "condensed_fraction_pct": lambda inputs: 100 * _saturated("condensate_fraction")(inputs),
    "eff_gross_pct": _saturated("efficiency_pct_gross"),
    "co_air_free_ppm": _air_free,
    "co_co2_ratio": lambda inputs: float(co_co2_ratio(number_after("CO=", inputs), number_after("CO2=", inputs))),
    "co_mg_per_kWh_net": _co_mass,
    "nox_mg_per_kWh_net": lambda inputs: float(mg_per_kwh(CASE_FUELS["G20"], 1.0, "NO2", "net")),
    "Fd_dscf_per_MMBtu": _f_factor(lambda fuel: fuel.dry_products),
    "Fc_scf_per_MMBtu": _f_factor(lambda fuel: fuel.co2_max_pct / 100 * fuel.dry_products),
    "saturation_pressure_Pa": lambda inputs: float(saturation_pressure_pa(number_after("T=", inputs) - 273.15)),
}


def _tolerance(case: dict[str, str]) -> float:
    """The stated tolerance, but never finer than the last digit printed (6.633 stands for 6.6325)."""
    text, expected = case["tolerance"], case["expected"]
    if text.endswith("%"):
        return float(text.removesuffix("%")) / 100 * float(expected)
    half_digit = 0.5 * 10.0 ** -len(expected.partition(".")[2])
    return max(float(text), half_digit * (1 + 1e-9)) if "." in expected else float(text)


@pytest.mark.parametrize(
    "case",
    [case for case in CASES if case["quantity"] not in OTHER_ROOMS],
    ids=lambda case: f"{case['quantity']}: {case['inputs']} [{case['source']}]",
)
def test_agrees_with_a_published_or_independently_computed_value(case: dict[str, str]) -> None:
    answer = ANSWERS[case["quantity"]](case["inputs"])
    assert answer == pytest.approx(float(case["expected"]), abs=_tolerance(case))
