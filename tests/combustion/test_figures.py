"""Every derived figure from one function: the right one, on the right basis, and none where nothing was read."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, LOSS_COEFFICIENTS, Fuel, air_free, co2_pct_from_o2, heat_balance, mg_per_kwh
from fleet.combustion import figures as module
from fleet.combustion.figures import derived_figures
from fleet.combustion.fuel_rows import FuelRows
from tests.combustion.cases import by_fuel, column, fuels, property_settings, rows

METHANE = FUELS["methane"]
GERMAN_GAS = LOSS_COEFFICIENTS["de_2010_natural_gas"]
READ: dict[str, Any] = {
    "o2_pct": 5.0,
    "co2_pct": 9.0,
    "co_ppm": 100.0,
    "nox_ppm": 30.0,
    "flue_temp_c": 160.0,
    "air_temp_c": 20.0,
    "input_kw_gross": 20.0,
}
readings = st.fixed_dictionaries(
    {
        "o2_pct": st.one_of(st.just(np.nan), st.floats(0.0, 20.0)),
        "co2_pct": st.one_of(st.just(np.nan), st.floats(1.0, 14.0)),
        "co_ppm": st.one_of(st.just(np.nan), st.floats(0.0, 5000.0)),
        "nox_ppm": st.one_of(st.just(np.nan), st.floats(0.0, 500.0)),
        "flue_temp_c": st.one_of(st.just(np.nan), st.floats(20.0, 300.0)),
        "air_temp_c": st.one_of(st.just(np.nan), st.floats(-15.0, 45.0)),
    }
)


def test_losses_agree_with_an_independent_library() -> None:
    """The grid of stack losses (computed with Cantera 3.2 from NASA polynomials, to its last digit)."""
    for fuel, cases in by_fuel(rows("stack_loss")):
        read = {
            "o2_pct": column(cases, "O2_dry_pct"),
            "flue_temp_c": column(cases, "t_flue_C"),
            "air_temp_c": column(cases, "t_air_C"),
        }
        figures = derived_figures(fuel, read)
        assert figures["sensible_loss_pct_net"] == pytest.approx(column(cases, "sensible_loss_net_pct"), abs=0.01)
        assert figures["efficiency_pct_net"] == pytest.approx(column(cases, "eff_net_saturated_pct"), abs=0.03)
        assert figures["efficiency_pct_gross"] == pytest.approx(column(cases, "eff_gross_saturated_pct"), abs=0.03)
        assert 100 * figures["condensate_fraction"] == pytest.approx(column(cases, "condensed_fraction_pct"), abs=0.1)
        assert figures["co2_pct"] == pytest.approx(column(cases, "CO2_dry_pct"), abs=0.001)
        assert figures["excess_air_ratio"] == pytest.approx(column(cases, "lambda"), abs=2e-5)


def test_a_manufacturer_who_sets_co2_gets_its_o2_and_excess_air() -> None:
    """Corresponding O2 and excess air ratio of common settings (own computation, rounded to their last digit)."""
    for fuel, cases in by_fuel(rows("setpoints")):
        figures = derived_figures(fuel, {"co2_pct": column(cases, "CO2_dry_pct")})
        assert figures["o2_pct"] == pytest.approx(column(cases, "O2_dry_pct"), abs=0.002)
        assert figures["excess_air_ratio"] == pytest.approx(column(cases, "lambda"), abs=2e-4)


def test_the_regulations_loss_needs_its_coefficients() -> None:
    """7.035 % by 0.66 and 0.009 at 160 °C, 20 °C and 5 % O2 (1. BImSchV 2010, annex 2 no. 3.4.1)."""
    assert derived_figures(METHANE, READ, loss=GERMAN_GAS)["flue_loss_pct"] == pytest.approx(7.035, abs=1e-9)
    assert np.isnan(derived_figures(METHANE, READ)["flue_loss_pct"])


def test_mass_per_heat_is_that_of_undiluted_gas() -> None:
    """1 ppm air-free on methane is 1.074 mg/kWh of CO and 1.764 of NO2, net (computed with Cantera 3.2)."""
    figures = derived_figures(METHANE, READ)
    assert figures["co_mg_per_kwh_net"] == pytest.approx(1.074 * 131.447, rel=1e-3)
    assert figures["nox_mg_per_kwh_net"] == pytest.approx(1.764 * 39.434, rel=1e-3)
    assert figures["co_mg_per_kwh_gross"] == pytest.approx(float(mg_per_kwh(METHANE, air_free(100, 5), "CO", "gross")))
    assert figures["nox_mg_per_kwh_gross"] == pytest.approx(float(mg_per_kwh(METHANE, air_free(30, 5), "NO2", "gross")))


def test_what_was_read_stands_and_is_not_replaced_by_the_other() -> None:
    figures = derived_figures(METHANE, READ)
    assert figures["o2_pct"] == 5.0
    assert figures["co2_pct"] == 9.0
    assert figures["excess_air_ratio"] == derived_figures(METHANE, READ | {"co2_pct": 7.0})["excess_air_ratio"]
    assert figures["co_co2_ratio"] == pytest.approx(100 / 90_000)


def test_input_is_told_on_both_bases() -> None:
    """Net over gross of methane is 0.9012 (ISO 6976 heating values, from memory)."""
    figures = derived_figures(METHANE, READ)
    assert figures["input_kw_gross"] == 20.0
    assert figures["input_kw_net"] == pytest.approx(20.0 * 0.9012, abs=0.001)


def test_co_that_was_not_read_costs_no_efficiency_but_is_no_zero_loss() -> None:
    without = derived_figures(METHANE, READ | {"co_ppm": np.nan})
    none = derived_figures(METHANE, READ | {"co_ppm": 0.0})
    assert without["efficiency_pct_net"] == none["efficiency_pct_net"]
    assert np.isnan(without["unburnt_loss_pct_net"])
    assert none["unburnt_loss_pct_net"] == 0


def test_no_alone_makes_no_nox() -> None:
    assert np.isnan(derived_figures(METHANE, {"o2_pct": 5.0, "no_ppm": 28.0})["nox_ppm_air_free"])


def test_a_sample_that_is_mostly_air_has_no_air_free_figures() -> None:
    figures = derived_figures(METHANE, READ | {"o2_pct": 18.5, "co2_pct": np.nan})
    names = ("co_ppm_air_free", "nox_ppm_air_free", "co_mg_per_kwh_net", "nox_mg_per_kwh_gross")
    assert np.isnan([figures[name] for name in names]).all()
    assert figures["dilution_factor"] == pytest.approx(20.9 / 2.4)


def test_pressure_and_humidity_reach_the_dew_point_and_the_balance() -> None:
    """54.9 °C at sea level is 50.9 at 834 hPa; air of 20 °C and 50 % adds about 1.2 K (own computation)."""
    read: dict[str, Any] = {"co2_pct": co2_pct_from_o2(METHANE, 4.5), "flue_temp_c": 45.0, "air_temp_c": 20.0}
    sea, high = (derived_figures(METHANE, read, pressure_pa=p) for p in (101_325.0, 83_400.0))
    assert sea["dew_point_c"] - high["dew_point_c"] == pytest.approx(4.0, abs=0.2)
    humid = derived_figures(METHANE, read, humidity_ratio=0.0073)
    assert humid["dew_point_c"] - sea["dew_point_c"] == pytest.approx(1.2, abs=0.2)
    assert high["condensate_fraction"] < sea["condensate_fraction"] < humid["condensate_fraction"]


def test_figures_of_nothing_are_nothing() -> None:
    figures = derived_figures(METHANE, {})
    assert np.isnan(list(figures.values())).all()


@property_settings
@given(fuels, st.lists(readings, min_size=1, max_size=4))
def test_many_readings_give_what_each_gives_alone(fuel: Fuel, several: list[dict[str, float]]) -> None:
    read = {name: [each[name] for each in several] for name in several[0]}
    together = derived_figures(fuel, read, loss=GERMAN_GAS)
    for n, each in enumerate(several):
        alone = derived_figures(fuel, each, loss=GERMAN_GAS)
        for name, values in together.items():
            assert values.shape == (len(several),)
            assert values[n] == pytest.approx(float(alone[name]), rel=1e-9, abs=1e-9, nan_ok=True), name


@property_settings
@given(fuels, readings)
def test_completing_changes_no_figure(fuel: Fuel, read: dict[str, float]) -> None:
    """The completed O2 given as if it had been read leads to the same figures."""
    figures = derived_figures(fuel, read)
    if np.isnan(read["o2_pct"]) and not np.isnan(figures["o2_pct"]):
        again = derived_figures(fuel, read | {"o2_pct": max(0.0, float(figures["o2_pct"]))})
        for name, value in again.items():
            assert value == pytest.approx(float(figures[name]), rel=1e-6, abs=1e-6, nan_ok=True), name


@property_settings
@given(fuels, readings)
def test_the_balance_is_that_of_the_completed_reading(fuel: Fuel, read: dict[str, float]) -> None:
    figures = derived_figures(fuel, read)
    co_ppm = 0.0 if np.isnan(read["co_ppm"]) else read["co_ppm"]
    ratio = figures["excess_air_ratio"]
    balance = heat_balance(fuel, ratio, read["flue_temp_c"], read["air_temp_c"], co_ppm=co_ppm)
    for name in ("sensible_loss_pct_net", "latent_loss_pct_gross", "efficiency_pct_gross", "dew_point_c"):
        assert figures[name] == pytest.approx(float(getattr(balance, name)), rel=1e-9, nan_ok=True)


def test_each_row_may_burn_a_fuel_of_its_own() -> None:
    rows_of = FuelRows.of([METHANE, FUELS["propane"], FUELS["light_oil"]], np.array([0, 1, 2, 1]))
    read: dict[str, Any] = READ | {
        "o2_pct": np.array([5.0, np.nan, 3.0, 6.0]),
        "co2_pct": np.array([np.nan, 10.0, np.nan, 9.9]),
    }
    together = derived_figures(rows_of, read)
    for n, fuel in enumerate([METHANE, FUELS["propane"], FUELS["light_oil"], FUELS["propane"]]):
        alone = derived_figures(fuel, read | {"o2_pct": read["o2_pct"][n], "co2_pct": read["co2_pct"][n]})
        for name, values in together.items():
            assert values[n] == pytest.approx(float(alone[name]), rel=1e-9, nan_ok=True), name


def test_a_name_that_is_not_read_is_refused() -> None:
    with pytest.raises(ValueError, match=r"read: o2 is not known; known are o2_pct"):
        derived_figures(METHANE, {"o2": 5.0})


def test_every_figure_has_its_line_in_the_table() -> None:
    lines = [line.split("|")[1] for line in str(module.__doc__).splitlines() if line.startswith("| ")]
    named = {name.strip() for line in lines[1:] for name in line.split(",")}
    assert named == set(derived_figures(METHANE, READ))


def test_of_hydrogen_there_is_no_co_over_co2() -> None:
    """Its CO2 is the air's; a blend with carbon in it keeps the ratio, and every CO its air-free figure."""
    read = {"o2_pct": 5.0, "co_ppm": 40.0}
    for name, there in (("hydrogen", False), ("natural_gas_30_h2", True), ("natural_gas", True)):
        figures = derived_figures(FUELS[name], read)
        assert bool(np.isfinite(figures["co_co2_ratio"])) is there
        assert np.isfinite(figures["co_ppm_air_free"])
