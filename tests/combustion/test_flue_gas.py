import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    Fuel,
    apparent_co2_max_pct,
    co2_pct_from_o2,
    co2_pct_from_ratio,
    dilution_factor,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    flue_gas,
    o2_pct_from_co2,
    o2_pct_from_ratio,
)
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT, water_pct_wet
from fleet.combustion.gases import AIR, AIR_MASS_G_MOL, SPECIES, WATER_MASS_G_MOL
from tests.combustion.cases import fuels, lean_ratios, property_settings

o2_readings = st.floats(0.0, 18.0)
# Of hydrogen only the CO2 of the air is left, which tells nothing of excess air.
carbon_fuels = fuels.filter(lambda fuel: fuel.carbon > 0)
amounts = st.lists(st.floats(0.0, 1.0), min_size=len(SPECIES), max_size=len(SPECIES))


def mixed(parts: list[float]) -> Fuel:
    """Any gas of our species; the methane sees to it that there is something to burn."""
    amount = dict(zip(SPECIES, parts, strict=True)) | {"CH4": 1.0}
    return Fuel.from_composition("any", {key: n / sum(amount.values()) for key, n in amount.items()})


any_fuels = st.one_of(fuels, amounts.map(mixed))


@property_settings
@given(any_fuels, o2_readings)
def test_o2_comes_back_from_its_excess_air(fuel: Fuel, o2_pct: float) -> None:
    ratio = excess_air_ratio_from_o2(fuel, o2_pct)
    assert o2_pct_from_ratio(fuel, ratio) == pytest.approx(o2_pct, rel=1e-12, abs=1e-12)


@property_settings
@given(carbon_fuels, o2_readings)
def test_o2_and_co2_give_the_same_excess_air(fuel: Fuel, o2_pct: float) -> None:
    ratio = excess_air_ratio_from_o2(fuel, o2_pct)
    co2 = co2_pct_from_o2(fuel, o2_pct)
    assert co2_pct_from_ratio(fuel, excess_air_ratio_from_co2(fuel, co2)) == pytest.approx(co2, rel=1e-12)
    assert excess_air_ratio_from_co2(fuel, co2) == pytest.approx(ratio, rel=1e-12)
    assert o2_pct_from_co2(fuel, co2) == pytest.approx(o2_pct, rel=1e-12, abs=1e-12)


@property_settings
@given(any_fuels, lean_ratios, st.floats(0.0, 0.03))
def test_every_atom_that_enters_leaves(fuel: Fuel, ratio: float, humidity_ratio: float) -> None:
    gas = flue_gas(fuel, ratio, humidity_ratio=humidity_ratio)
    air = ratio * fuel.air_demand
    steam = air * humidity_ratio * AIR_MASS_G_MOL / WATER_MASS_G_MOL
    entering = {
        "C": fuel.carbon + air * AIR["CO2"],
        "H": fuel.hydrogen + 2 * steam,
        "O": fuel.oxygen + 2 * air * (AIR["O2"] + AIR["CO2"]) + steam,
        "N": fuel.nitrogen + 2 * air * AIR["N2"],
        "S": fuel.sulfur,
        "Ar": air * AIR["Ar"],
    }
    water = gas.water + gas.air_water
    leaving = {
        "C": gas.co2,
        "H": 2 * water,
        "O": 2 * (gas.co2 + gas.so2 + gas.oxygen) + water,
        "N": 2 * gas.nitrogen,
        "S": gas.so2,
        "Ar": gas.argon,
    }
    assert leaving == pytest.approx(entering, rel=1e-12)


@property_settings
@given(any_fuels, lean_ratios, st.floats(0.0, 0.03))
def test_dry_shares_make_a_whole(fuel: Fuel, ratio: float, humidity_ratio: float) -> None:
    gas = flue_gas(fuel, ratio, humidity_ratio=humidity_ratio)
    so2_pct = 100 * gas.so2 / gas.dry
    inert_pct = 100 * (gas.nitrogen + gas.argon) / gas.dry
    assert gas.o2_pct + gas.co2_pct + inert_pct + so2_pct == pytest.approx(100.0, abs=1e-10)
    assert gas.o2_pct == pytest.approx(o2_pct_from_ratio(fuel, ratio), abs=1e-10)
    assert gas.co2_pct == pytest.approx(co2_pct_from_ratio(fuel, ratio), abs=1e-10)
    wet = water_pct_wet(fuel, ratio, humidity_ratio=humidity_ratio)
    assert gas.water_pct_wet == pytest.approx(wet, rel=1e-12)


@property_settings
@given(fuels, o2_readings, st.floats(0.0, 0.5))
def test_air_in_the_sample_leaves_the_apparent_maximum_as_it_was(fuel: Fuel, o2_pct: float, air_share: float) -> None:
    co2 = co2_pct_from_o2(fuel, o2_pct)
    diluted_o2 = (1 - air_share) * o2_pct + air_share * O2_AIR_PCT
    diluted_co2 = (1 - air_share) * co2 + air_share * CO2_AIR_PCT
    assert apparent_co2_max_pct(o2_pct, co2) == pytest.approx(fuel.co2_max_pct, rel=1e-10)
    assert apparent_co2_max_pct(diluted_o2, diluted_co2) == pytest.approx(fuel.co2_max_pct, rel=1e-10)


@property_settings
@given(fuels, o2_readings, st.floats(0.001, 2.0))
def test_more_o2_means_more_air(fuel: Fuel, o2_pct: float, more: float) -> None:
    leaner = min(o2_pct + more, 20.9)
    assert excess_air_ratio_from_o2(fuel, leaner) > excess_air_ratio_from_o2(fuel, o2_pct)


def test_the_handbook_shortcut_is_not_the_excess_air() -> None:
    """Methane at 6 % O2: 1.403 diluted, 1.359 excess (fixtures/golden/excess_air_formulas.csv)."""
    assert dilution_factor(6.0) == pytest.approx(1.403, abs=5e-4)
    assert excess_air_ratio_from_o2(FUELS["methane"], 6.0) == pytest.approx(1.359, abs=5e-4)


def test_values_outside_the_lean_line_answer_nan() -> None:
    gas = FUELS["natural_gas"]
    assert np.isnan(excess_air_ratio_from_o2(gas, [-0.1, 20.946, 21.0, np.nan])).all()
    assert np.isnan(excess_air_ratio_from_co2(gas, [gas.co2_max_pct + 0.01, 0.04, 0.0, -1.0, np.nan])).all()
    assert np.isnan(dilution_factor([20.9, 25.0])).all()
    assert np.isnan(apparent_co2_max_pct([20.946, 21.5], 9.0)).all()
    assert np.isnan(flue_gas(gas, 0.99).dry)


def test_the_ends_of_the_line_hold() -> None:
    for fuel in FUELS.values():
        assert excess_air_ratio_from_o2(fuel, 0.0) == 1.0
        assert excess_air_ratio_from_co2(fuel, fuel.co2_max_pct) == pytest.approx(1.0, abs=1e-12)
        assert o2_pct_from_co2(fuel, fuel.co2_max_pct) == pytest.approx(0.0, abs=1e-12)
        assert np.isnan(o2_pct_from_co2(fuel, [fuel.co2_max_pct * 1.001, CO2_AIR_PCT])).all()
        assert co2_pct_from_o2(fuel, 0.0) == pytest.approx(fuel.co2_max_pct, rel=1e-12)


def test_a_common_reading_of_a_condensing_boiler() -> None:
    """Common practice, no source: about 9 % CO2 on natural gas is about 5 % O2 and 28 % excess air."""
    gas = FUELS["natural_gas"]
    assert o2_pct_from_co2(gas, 9.0) == pytest.approx(5.1, abs=0.15)
    assert excess_air_ratio_from_co2(gas, 9.0) == pytest.approx(1.29, abs=0.02)


def test_a_rounding_error_beyond_the_end_of_the_line_is_forgiven() -> None:
    """A part in 10^12 of the ratio or of the CO2 maximum, as a round trip may leave; twice that isn't."""
    gas = FUELS["natural_gas"]
    assert np.isfinite([o2_pct_from_ratio(gas, 1 - 1e-12), co2_pct_from_ratio(gas, 1 - 1e-12)]).all()
    assert np.isnan([o2_pct_from_ratio(gas, 1 - 2e-12), co2_pct_from_ratio(gas, 1 - 2e-12)]).all()
    per_o2 = (gas.co2_max_pct - CO2_AIR_PCT) / O2_AIR_PCT
    o2 = o2_pct_from_co2(gas, gas.co2_max_pct + per_o2 * np.array([1.5e-11, 3e-11]))
    assert o2[0] == 0.0
    assert np.isnan(o2[1])


def test_the_open_ends_of_the_line() -> None:
    gas, tiny = FUELS["natural_gas"], 1e-9
    assert np.isfinite(excess_air_ratio_from_o2(gas, [0.0, O2_AIR_PCT - tiny])).all()
    assert np.isnan(excess_air_ratio_from_o2(gas, [-tiny, O2_AIR_PCT])).all()
    assert np.isfinite(co2_pct_from_o2(gas, [0.0, O2_AIR_PCT - tiny])).all()
    assert np.isnan(co2_pct_from_o2(gas, [-tiny, O2_AIR_PCT])).all()
    assert np.isfinite(excess_air_ratio_from_co2(gas, CO2_AIR_PCT + tiny))
    assert np.isfinite(o2_pct_from_co2(gas, CO2_AIR_PCT + tiny))
    assert np.isnan([excess_air_ratio_from_co2(gas, CO2_AIR_PCT), o2_pct_from_co2(gas, CO2_AIR_PCT)]).all()
    assert np.isfinite(dilution_factor(20.9 - tiny))
    assert np.isnan(dilution_factor(20.9))
    assert np.isfinite(apparent_co2_max_pct(O2_AIR_PCT - tiny, 1.0))
    assert np.isnan(apparent_co2_max_pct(O2_AIR_PCT, 1.0))
    assert np.isnan(apparent_co2_max_pct(20.95, 1.0, o2_air_pct=20.95))
    assert apparent_co2_max_pct(-0.1, 11.0) < 11.0


def test_humid_air_brings_its_water() -> None:
    """0.622 kg/kg is one mole of water to one of dry air, by the masses of both."""
    gas = flue_gas(FUELS["methane"], 1.5, humidity_ratio=WATER_MASS_G_MOL / AIR_MASS_G_MOL)
    assert gas.air_water == pytest.approx(1.5 * FUELS["methane"].air_demand)
    assert gas.wet == pytest.approx(gas.dry + 2.0 + gas.air_water)
    assert flue_gas(FUELS["methane"], 1.5).air_water == 0.0
    assert water_pct_wet(FUELS["methane"], 1.5) == pytest.approx(200 / (gas.dry + 2.0))


def test_sulfur_dioxide_is_part_of_the_dry_gas() -> None:
    """The gas by its parts is the dry products and the excess air, sulfur and nitrogen of the fuel among them."""
    sour = Fuel.from_ultimate_analysis("sour", {"C": 0.84, "H": 0.12, "S": 0.03, "N": 0.01}, 43.0)
    gas = flue_gas(sour, 1.3)
    assert gas.dry == pytest.approx(sour.dry_products + 0.3 * sour.air_demand, rel=1e-12)
    assert gas.so2 == pytest.approx(0.03 / 32.065 * 12.011 / 0.84)
    assert gas.o2_pct == pytest.approx(100 * 0.3 * sour.oxygen_demand / gas.dry)
    inert_pct = 100 * (gas.nitrogen + gas.argon) / gas.dry
    assert gas.co2_pct + gas.o2_pct + inert_pct == pytest.approx(100 * (1 - gas.so2 / gas.dry))
