import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    LOSS_COEFFICIENTS,
    Fuel,
    HeatFlag,
    dew_point_c,
    heat_balance,
    humidity_ratio,
    regulation_loss,
)
from fleet.combustion.heat import gas_enthalpy_j_mol
from tests.combustion.cases import co_ppm_values, fuels, lean_ratios, property_settings

METHANE = FUELS["methane"]
flue_temps_c = st.floats(25.0, 300.0)
air_temps_c = st.floats(-15.0, 45.0)


@property_settings
@given(fuels, lean_ratios, flue_temps_c, st.floats(0.01, 50.0), air_temps_c)
def test_a_hotter_flue_never_saves_heat(fuel: Fuel, ratio: float, flue_c: float, hotter: float, air_c: float) -> None:
    cool, hot = (heat_balance(fuel, ratio, t, air_c) for t in (flue_c, flue_c + hotter))
    assert hot.sensible_loss_pct_net > cool.sensible_loss_pct_net
    assert hot.latent_loss_pct_gross >= cool.latent_loss_pct_gross
    assert hot.efficiency_pct_gross < cool.efficiency_pct_gross


@property_settings
@given(fuels, lean_ratios, st.floats(0.01, 1.0), st.floats(80.0, 300.0))
def test_more_air_never_saves_heat_in_a_dry_stack(fuel: Fuel, ratio: float, more: float, flue_c: float) -> None:
    leaner, richer = (heat_balance(fuel, r, flue_c, 20.0) for r in (ratio + more, ratio))
    assert leaner.efficiency_pct_net < richer.efficiency_pct_net


@property_settings
@given(fuels, lean_ratios, st.floats(25.0, 300.0), st.floats(0.0, 1.0), co_ppm_values)
def test_no_more_than_the_gross_heating_value_comes_out(
    fuel: Fuel, ratio: float, flue_c: float, share: float, co_ppm: float
) -> None:
    air_c = -15.0 + share * (min(flue_c, 45.0) + 15.0)
    assert heat_balance(fuel, ratio, flue_c, air_c, co_ppm=co_ppm).efficiency_pct_gross <= 100.0


@property_settings
@given(fuels, lean_ratios, st.floats(70_000.0, 105_000.0), st.floats(0.0, 0.02))
def test_nothing_jumps_at_the_dew_point(fuel: Fuel, ratio: float, pressure_pa: float, air_humidity: float) -> None:
    air = {"pressure_pa": pressure_pa, "humidity_ratio": air_humidity}
    dew = dew_point_c(fuel, ratio, **air)
    below, above = (heat_balance(fuel, ratio, dew + step, 20.0, **air) for step in (-1e-5, 1e-5))
    assert HeatFlag.CONDENSING in HeatFlag(int(below.flags))
    assert HeatFlag.CONDENSING not in HeatFlag(int(above.flags))
    assert 0 < below.condensate_fraction < 1e-5
    assert below.efficiency_pct_gross == pytest.approx(above.efficiency_pct_gross, abs=1e-4)


@property_settings
@given(fuels, lean_ratios, flue_temps_c, air_temps_c)
def test_net_and_gross_are_one_heat_on_two_bases(fuel: Fuel, ratio: float, flue_c: float, air_c: float) -> None:
    balance = heat_balance(fuel, ratio, flue_c, air_c)
    gross = balance.efficiency_pct_net * fuel.net_per_gross
    assert balance.efficiency_pct_gross == pytest.approx(gross, rel=1e-12)


@property_settings
@given(fuels, st.floats(1.0, 2.0), st.floats(70.0, 300.0), st.floats(5.0, 35.0), co_ppm_values)
def test_losses_and_efficiency_add_up_within_the_stated_gap(
    fuel: Fuel, ratio: float, flue_c: float, air_c: float, co_ppm: float
) -> None:
    balance = heat_balance(fuel, ratio, flue_c, air_c, co_ppm=co_ppm)
    whole = balance.efficiency_pct_net + balance.sensible_loss_pct_net + balance.unburnt_loss_pct_net
    assert whole == pytest.approx(100.0, abs=0.03)


@property_settings
@given(fuels, lean_ratios, flue_temps_c, air_temps_c)
def test_condensate_is_a_share_of_the_water(fuel: Fuel, ratio: float, flue_c: float, air_c: float) -> None:
    balance = heat_balance(fuel, ratio, flue_c, air_c)
    assert 0 <= balance.condensate_fraction < 1
    assert (balance.condensate_fraction > 0) == (flue_c < balance.dew_point_c)


def test_humid_air_adds_a_known_loss() -> None:
    """Air of 30 °C and 80 % humidity adds 0.23 points net at 160 °C (computed with Cantera 3.2)."""
    dry = heat_balance(METHANE, 1.28, 160.0, 30.0)
    humid = heat_balance(METHANE, 1.28, 160.0, 30.0, humidity_ratio=humidity_ratio(30.0, 0.8))
    assert dry.efficiency_pct_net - humid.efficiency_pct_net == pytest.approx(0.23, abs=0.03)


def test_co_costs_little_heat() -> None:
    """400 ppm air-free on methane is 0.12 % of the net heating value (computed with Cantera 3.2)."""
    balance = heat_balance(METHANE, 1.0, 160.0, 20.0, co_ppm=400.0)
    clean = heat_balance(METHANE, 1.0, 160.0, 20.0)
    assert balance.unburnt_loss_pct_net == pytest.approx(0.12, abs=0.005)
    lost = clean.efficiency_pct_net - balance.efficiency_pct_net
    assert lost == pytest.approx(balance.unburnt_loss_pct_net, abs=1e-9)


def test_enthalpy_at_100_c_agrees_with_another_set_of_coefficients() -> None:
    """GRI-Mech 3.0 low-temperature coefficients of CO2, from memory: 2905.2 J/mol from 25 to 100 °C."""
    a = (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13)
    expected = 8.314462618 * sum(c * (373.15**n - 298.15**n) / n for n, c in enumerate(a, start=1))
    assert gas_enthalpy_j_mol("CO2", 100.0) == pytest.approx(expected, abs=0.5)


def test_flags_say_what_is_odd() -> None:
    flags = heat_balance(METHANE, [0.95, 1.2, 1.2, 1.2, np.nan], [150, 10, 350, 150, 150], 20.0).flags
    assert [HeatFlag(int(flag)) for flag in flags] == [
        HeatFlag.RICH,
        HeatFlag.CONDENSING | HeatFlag.FLUE_BELOW_AIR,
        HeatFlag.OUTSIDE_ENTHALPY_RANGE,
        HeatFlag(0),
        HeatFlag(0),
    ]


def test_a_rich_flame_has_no_balance() -> None:
    balance = heat_balance(METHANE, 0.95, 150.0, 20.0)
    figures = dataclasses.asdict(balance)
    del figures["flags"]
    assert np.isnan(list(figures.values())).all()


def test_the_dew_point_needs_no_flue_temperature() -> None:
    balance = heat_balance(METHANE, 1.25, np.nan, 20.0)
    assert balance.dew_point_c == pytest.approx(54.87, abs=0.05)
    assert np.isnan([balance.efficiency_pct_net, balance.sensible_loss_pct_net, balance.condensate_fraction]).all()


def test_impossible_pressure_has_no_balance() -> None:
    assert np.isnan(heat_balance(METHANE, 1.25, 30.0, 20.0, pressure_pa=0.0).efficiency_pct_gross)


def test_a_fuel_without_hydrogen_condenses_nothing() -> None:
    balance = heat_balance(Fuel.from_composition("CO", {"CO": 1.0}), 1.2, 30.0, 20.0)
    assert balance.condensate_fraction == 0
    assert balance.latent_loss_pct_gross == 0
    assert np.isnan(balance.dew_point_c)
    assert balance.efficiency_pct_gross > 99


def test_figures_have_the_shape_of_the_inputs() -> None:
    balance = heat_balance(METHANE, np.full((3, 1), 1.2), np.linspace(40, 200, 4), 20.0)
    for field in dataclasses.fields(balance):
        assert np.shape(getattr(balance, field.name)) == (3, 4), field.name


def test_a_common_condensing_boiler() -> None:
    """Common practice, no source: about 97 to 98 % gross with flue gas at 30 °C, 87 to 88 % with 60 °C."""
    cool, warm = (heat_balance(FUELS["natural_gas"], 1.28, t, 20.0).efficiency_pct_gross for t in (30.0, 60.0))
    assert 96.5 < cool < 98.5
    assert 87.0 < warm < 89.0


def test_regulation_coefficients_name_their_law() -> None:
    for coefficients in LOSS_COEFFICIENTS.values():
        assert coefficients.basis == "net"
        assert coefficients.jurisdiction in ("DE", "BE-VLG")
        assert coefficients.edition
        assert coefficients.source
        assert coefficients.evidence


def test_regulation_loss_of_the_flemish_text() -> None:
    """100 - loss = efficiency with 0.65 / 0.009 for natural gas: (160 - 20) (0.65 / 16 + 0.009) =
    6.9475 by hand.
    """
    loss = regulation_loss(LOSS_COEFFICIENTS["be_vlg_natural_gas"], 5.0, 160.0, 20.0)
    assert loss == pytest.approx(6.9475, abs=1e-12)


def test_regulation_loss_ends_at_air() -> None:
    oil = LOSS_COEFFICIENTS["de_2010_light_oil"]
    assert np.isnan(regulation_loss(oil, [21.0, 22.0, np.nan, 5.0], [160, 160, 160, np.nan], 20.0)).all()
