import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, Fuel, dew_point_c, humidity_ratio, saturation_pressure_pa, saturation_temperature_c
from fleet.combustion.humidity import highest_dew_point_c, water_fraction
from tests.combustion.cases import fuels, lean_ratios, property_settings


@pytest.mark.parametrize(("kelvin", "mpa"), [(300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)])
def test_saturation_pressure_of_the_standard(kelvin: float, mpa: float) -> None:
    """IAPWS-IF97 table 35, digits from memory."""
    assert saturation_pressure_pa(kelvin - 273.15) == pytest.approx(mpa * 1e6, rel=1e-8)


@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 0.372755919e3), (1, 0.453035632e3), (10, 0.584149488e3)])
def test_saturation_temperature_of_the_standard(mpa: float, kelvin: float) -> None:
    """IAPWS-IF97 table 36, digits from memory."""
    assert saturation_temperature_c(mpa * 1e6) == pytest.approx(kelvin - 273.15, abs=1e-6)


def test_cold_air_is_over_supercooled_water() -> None:
    """125.4 Pa at -20 °C and 50.9 Pa at -30 °C: Murphy and Koop 2005, from memory."""
    assert saturation_pressure_pa([-20.0, -30.0]) == pytest.approx([125.4, 50.9], rel=2e-3)


@property_settings
@given(st.floats(-29.9, 373.0))
def test_pressure_and_temperature_are_inverses(temp_c: float) -> None:
    assert saturation_temperature_c(saturation_pressure_pa(temp_c)) == pytest.approx(temp_c, abs=1e-6)


@property_settings
@given(fuels, lean_ratios, st.floats(0.001, 0.5))
def test_more_air_lowers_the_dew_point(fuel: Fuel, ratio: float, more: float) -> None:
    assert dew_point_c(fuel, ratio + more) < dew_point_c(fuel, ratio)


def test_altitude_lowers_the_dew_point() -> None:
    """54.9 °C at sea level is 50.9 °C at 834 hPa (computed with CoolProp)."""
    assert dew_point_c(FUELS["methane"], 1.25, pressure_pa=[101325.0, 83430.0]) == pytest.approx([54.9, 50.9], abs=0.1)


def test_impossible_air_answers_nan() -> None:
    assert np.isnan(humidity_ratio([20.0, 20.0, 120.0, np.nan], [1.1, -0.1, 1.0, 0.5])).all()
    assert np.isnan(saturation_pressure_pa([-31.0, 374.0])).all()
    assert np.isnan(saturation_temperature_c([0.0, -5.0, 23e6])).all()


def test_saturation_ends_where_stated() -> None:
    """Supercooled water at -30 °C to the critical point of 373.946 °C and 22.064 MPa (IAPWS), ends included."""
    ends_c, ends_pa = np.array([-30.0, 373.946]), np.array([50.9, 22.064e6])
    assert saturation_pressure_pa(ends_c) == pytest.approx(ends_pa, rel=3e-4)
    assert saturation_temperature_c(ends_pa) == pytest.approx(ends_c, abs=0.01)
    assert np.isnan(saturation_pressure_pa(np.nextafter(ends_c, [-np.inf, np.inf]))).all()
    assert np.isnan(saturation_temperature_c(np.nextafter(ends_pa, [0.0, np.inf]))).all()


def test_air_holds_from_no_water_to_all_that_it_can() -> None:
    full_pa = float(saturation_pressure_pa(20.0))
    assert water_fraction(20.0, [0.0, 1.0]) == pytest.approx([0.0, full_pa / 101_325.0])
    assert water_fraction(20.0, 0.5, 50_000.0) == pytest.approx(0.5 * full_pa / 50_000.0)
    assert np.isnan(water_fraction(20.0, [-1e-9, 1 + 1e-9])).all()
    assert np.isnan(water_fraction(20.0, 1.0, [full_pa, full_pa / 2])).all()


def test_the_humidity_ratio_is_mass_over_mass() -> None:
    """0.622 w / (1 - w), 0.622 the mass of water over that of air (ASHRAE Fundamentals, from memory: 0.621945)."""
    share = 0.5 * 3169.75 / 101_325.0
    assert humidity_ratio(25.0, 0.5) == pytest.approx(0.621945 * share / (1 - share), rel=1e-4)
    assert humidity_ratio(25.0, 0.5) > humidity_ratio(25.0, 0.5, 110_000.0)


def test_where_the_air_is_wetter_than_the_gas_its_dew_point_is_the_highest() -> None:
    """Air of 0.05 kg/kg: 0.0744 mol of water in a mole; a fuel without hydrogen makes no more."""
    oxide = Fuel.from_composition("CO", {"CO": 1.0})
    moist = 0.05 * 28.9652 / 18.01528
    expected = saturation_temperature_c(moist / (1 + moist) * 90_000.0)
    assert highest_dew_point_c((oxide,), pressure_pa=90_000.0, humidity_ratio=0.05) == pytest.approx(expected)
    assert dew_point_c(oxide, 1e6, pressure_pa=90_000.0, humidity_ratio=0.05) == pytest.approx(expected, abs=1e-3)


@property_settings
@given(fuels, st.floats(1.0, 20.0), st.floats(60_000.0, 105_000.0), st.floats(0.0, 0.05))
def test_no_excess_air_gives_a_higher_dew_point(
    fuel: Fuel, ratio: float, pressure_pa: float, air_humidity: float
) -> None:
    highest = highest_dew_point_c((fuel,), pressure_pa=pressure_pa, humidity_ratio=air_humidity)
    assert dew_point_c(fuel, ratio, pressure_pa=pressure_pa, humidity_ratio=air_humidity) <= highest + 1e-6


def test_a_gas_without_water_has_no_highest_dew_point() -> None:
    assert np.isnan(highest_dew_point_c((Fuel.from_composition("CO", {"CO": 1.0}),)))
    assert highest_dew_point_c((FUELS["methane"], FUELS["hydrogen"])) == dew_point_c(FUELS["hydrogen"], 1.0)
