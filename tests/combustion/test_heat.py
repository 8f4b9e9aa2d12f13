import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from fleet.combustion import (
    FUELS,
    LOSS_COEFFICIENTS,
    Fuel,
    HeatFlag,
    dew_point_c,
    flue_gas,
    heat_balance,
    humidity_ratio,
    regulation_loss,
)
from fleet.combustion.gases import AIR
from fleet.combustion.heat import BLOCK, FEW, FIGURES
from tests.combustion.cases import balance_from_o2, co_ppm_values, enthalpy_j_mol, fuels, lean_ratios, property_settings

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
@given(fuels, st.floats(0.0, 17.0), st.floats(0.01, 1.0), air_temps_c, st.floats(0.1, 200.0))
def test_more_air_never_saves_heat_where_the_flue_is_hotter(
    fuel: Fuel, o2_pct: float, more: float, air_c: float, rise_k: float
) -> None:
    """Condensing or not; in between, more air also keeps water from condensing."""
    leaner, richer = (balance_from_o2(fuel, o2, air_c + rise_k, air_c) for o2 in (o2_pct + more, o2_pct))
    assert leaner.sensible_loss_pct_net > richer.sensible_loss_pct_net
    assert leaner.condensate_fraction <= richer.condensate_fraction
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
@given(fuels, st.floats(1.0, 2.0), st.floats(80.0, 300.0), st.floats(5.0, 35.0), co_ppm_values)
def test_losses_and_efficiency_add_up_within_the_stated_gap(
    fuel: Fuel, ratio: float, flue_c: float, air_c: float, co_ppm: float
) -> None:
    balance = heat_balance(fuel, ratio, flue_c, air_c, co_ppm=co_ppm)
    whole = balance.efficiency_pct_net + balance.sensible_loss_pct_net + balance.unburnt_loss_pct_net
    assert whole == pytest.approx(100.0, abs=0.03 if fuel.carbon else 0.09)


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


@property_settings
@given(fuels, lean_ratios, st.floats(80.0, 300.0), air_temps_c, st.floats(0.0, 0.03))
def test_the_sensible_loss_is_what_each_gas_carries_away(
    fuel: Fuel, ratio: float, flue_c: float, air_c: float, humidity: float
) -> None:
    """Gas by gas from the composition, which the balance itself never makes."""
    gas = flue_gas(fuel, ratio, humidity_ratio=humidity)
    moles = {
        "CO2": gas.co2 + gas.so2,
        "H2O": gas.water + gas.air_water,
        "N2": gas.nitrogen,
        "O2": gas.oxygen,
        "Ar": gas.argon,
    }
    lost_j = sum(n * (enthalpy_j_mol(key, flue_c) - enthalpy_j_mol(key, air_c)) for key, n in moles.items())
    balance = heat_balance(fuel, ratio, flue_c, air_c, humidity_ratio=humidity)
    assert balance.sensible_loss_pct_net == pytest.approx(lost_j / 10 / fuel.lhv_kj_mol, rel=1e-9, abs=1e-9)


@property_settings
@given(fuels, lean_ratios, st.floats(80.0, 300.0), air_temps_c)
def test_the_efficiency_is_the_first_law(fuel: Fuel, ratio: float, flue_c: float, air_c: float) -> None:
    """Heat out = heating value + what fuel and air bring - what the dry flue gas takes, all counted from 25 °C."""
    gas = flue_gas(fuel, ratio)
    leaving = {"CO2": gas.co2 + gas.so2, "H2O": gas.water, "N2": gas.nitrogen, "O2": gas.oxygen, "Ar": gas.argon}
    brought_j = fuel.heat_capacity_j_mol_k * (air_c - 25.0) + sum(
        ratio * fuel.air_demand * share * enthalpy_j_mol(key, air_c) for key, share in AIR.items()
    )
    taken_j = sum(n * enthalpy_j_mol(key, flue_c) for key, n in leaving.items())
    useful = fuel.lhv_kj_mol + (brought_j - taken_j) / 1000
    balance = heat_balance(fuel, ratio, flue_c, air_c)
    assert balance.efficiency_pct_net == pytest.approx(100 * useful / fuel.lhv_kj_mol, rel=1e-12)


def test_a_balance_ends_where_o2_says_nothing() -> None:
    states = balance_from_o2(METHANE, [-0.1, 20.946, 25.0, np.nan], 150.0, 20.0)
    assert np.isnan([states.efficiency_pct_gross, states.unburnt_loss_pct_net]).all()
    assert states.flags.tolist() == [0, 0, 0, 0]


def many_rows() -> dict[str, np.ndarray]:
    """More rows than two blocks, with every kind of oddity among them."""
    rng, size = np.random.default_rng(8), 2 * BLOCK + 7
    rows = {
        "ratio": rng.uniform(0.9, 3.0, size),
        "flue_c": rng.uniform(-40.0, 400.0, size),
        "air_c": rng.uniform(-30.0, 60.0, size),
        "pressure_pa": rng.uniform(60_000.0, 105_000.0, size),
        "humidity_ratio": rng.uniform(0.0, 0.03, size),
        "co_ppm": rng.uniform(0.0, 5000.0, size),
    }
    rows["flue_c"][: size // 2] = rng.uniform(0.0, 80.0, size // 2)
    for number, values in enumerate(rows.values()):
        values[number :: 97 + number] = np.nan
    rows["pressure_pa"][::101] = -1.0
    return rows


@pytest.mark.parametrize("given_too", [(), ("pressure_pa",), ("humidity_ratio", "co_ppm"), ("co_ppm",)])
def test_blocks_agree_with_rows_one_by_one(given_too: tuple[str, ...]) -> None:
    rows = many_rows()
    more = {name: rows[name] for name in given_too}
    whole = heat_balance(METHANE, rows["ratio"], rows["flue_c"], rows["air_c"], **more)
    for row in (*range(0, len(rows["ratio"]), 301), BLOCK - 1, BLOCK, 2 * BLOCK + 6):
        alone = {name: values[row] for name, values in more.items()}
        single = heat_balance(METHANE, rows["ratio"][row], rows["flue_c"][row], rows["air_c"][row], **alone)
        for name in (*FIGURES, "dew_point_c"):
            assert np.array_equal(getattr(whole, name)[row], getattr(single, name), equal_nan=True), (name, row)


@pytest.mark.parametrize("size", [FEW - 1, FEW, FEW + 1])
def test_few_and_many_condensing_rows_are_calculated_alike(size: int) -> None:
    flue_c = np.linspace(25.0, 50.0, size)
    together = heat_balance(METHANE, 1.25, flue_c, 20.0)
    singly = [heat_balance(METHANE, 1.25, t, 20.0) for t in flue_c]
    assert together.condensate_fraction.tolist() == [each.condensate_fraction for each in singly]
    assert together.efficiency_pct_gross.tolist() == [each.efficiency_pct_gross for each in singly]


def test_inputs_are_left_as_they_were() -> None:
    rows = many_rows()
    before = {name: values.copy() for name, values in rows.items()}
    heat_balance(METHANE, *(rows[name] for name in ("ratio", "flue_c", "air_c")), co_ppm=rows["co_ppm"])
    balance_from_o2(METHANE, *(rows[name] for name in ("ratio", "flue_c", "air_c")), pressure_pa=rows["pressure_pa"])
    assert all(np.array_equal(before[name], rows[name], equal_nan=True) for name in rows)


def test_no_rows_are_no_trouble() -> None:
    assert heat_balance(METHANE, [], [], 20.0).efficiency_pct_net.shape == (0,)


def test_enthalpy_at_100_c_agrees_with_another_set_of_coefficients() -> None:
    """GRI-Mech 3.0 low-temperature coefficients of CO2, from memory: 2905.2 J/mol from 25 to 100 °C."""
    a = (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13)
    expected = 8.314462618 * sum(c * (373.15**n - 298.15**n) / n for n, c in enumerate(a, start=1))
    assert enthalpy_j_mol("CO2", 100.0) == pytest.approx(expected, abs=0.5)


def test_flags_say_what_is_odd() -> None:
    flags = heat_balance(METHANE, [0.95, 1.2, 1.2, 1.2, np.nan], [150, 10, 350, 150, 150], 20.0).flags
    assert [HeatFlag(int(flag)) for flag in flags] == [
        HeatFlag.RICH,
        HeatFlag.CONDENSING | HeatFlag.FLUE_BELOW_AIR,
        HeatFlag.OUTSIDE_ENTHALPY_RANGE,
        HeatFlag(0),
        HeatFlag(0),
    ]


def test_flags_are_numbered_as_records_hold_them() -> None:
    assert {flag.name: flag.value for flag in HeatFlag} == {
        "CONDENSING": 1,
        "RICH": 2,
        "FLUE_BELOW_AIR": 4,
        "OUTSIDE_ENTHALPY_RANGE": 8,
    }


def test_flags_begin_beyond_the_ends_of_what_they_are_about() -> None:
    """-20 and 300 °C for flue gas and air, a ratio of 1 less rounding, and a flue as cold as its air: all unflagged."""
    ends = np.array([-20.0, 300.0])
    beyond = np.nextafter(ends, [-np.inf, np.inf])
    outside = HeatFlag.OUTSIDE_ENTHALPY_RANGE.value

    def flagged(flag: int, *state: ArrayLike) -> list[bool]:
        found: list[bool] = (np.atleast_1d(heat_balance(METHANE, *state).flags) & flag > 0).tolist()
        return found

    assert flagged(outside, 1.2, ends, 20.0) == flagged(outside, 1.2, 150.0, ends) == [False, False]
    assert flagged(outside, 1.2, beyond, 20.0) == flagged(outside, 1.2, 150.0, beyond) == [True, True]
    assert flagged(HeatFlag.RICH.value, [1 - 1e-12, 1 - 2e-12], 150.0, 20.0) == [False, True]
    assert flagged(HeatFlag.FLUE_BELOW_AIR.value, 1.2, [80.0, 79.99], 80.0) == [False, True]
    assert np.isfinite(heat_balance(METHANE, 1 - 1e-12, 150.0, 20.0).efficiency_pct_net)


def test_boiling_water_condenses_nothing_and_next_to_none_is_no_trouble() -> None:
    """Above 100 °C at sea level air carries any amount of steam; at 20 kPa it boils at 60 °C (steam table)."""
    for pressure_pa, flue_c in ((101_325.0, 100.0), (20_000.0, 60.1)):
        wet = heat_balance(METHANE, 1.0, flue_c, 20.0, humidity_ratio=5.0, pressure_pa=pressure_pa)
        assert wet.condensate_fraction == 0.0
        colder = heat_balance(METHANE, 1.0, flue_c - 5.0, 20.0, humidity_ratio=5.0, pressure_pa=pressure_pa)
        assert colder.condensate_fraction > 0


def test_condensing_figures_by_hand() -> None:
    """Dry gas of 12 mol with methane's 2 of water, leaving at 40 °C: 7384.9 Pa of saturation (IAPWS-IF97)."""
    balance = heat_balance(METHANE, 1.4, 40.0, 20.0)
    dry = METHANE.dry_products + 0.4 * METHANE.air_demand
    liquid = 2 - dry * 7384.9 / (101_325 - 7384.9)
    assert balance.condensate_fraction == pytest.approx(liquid / 2, rel=1e-4)
    assert balance.condensate_kg_per_kwh_gross == pytest.approx(liquid * 0.01801528 * 3600 / 890.58, rel=1e-4)
    assert balance.latent_loss_pct_gross == pytest.approx(100 * (2 - liquid) * 44.004 / 890.58, rel=1e-4)
    assert balance.water_pressure_pa == pytest.approx(101_325 * 2 / (dry + 2), rel=1e-9)
    # Heat of the condensate: 44.004 at 25 °C, and 15 K of what steam holds less than water.
    steam = float(enthalpy_j_mol("H2O", 40.0)) / 1000
    given_back = liquid * (44.004 + steam - 0.07533 * 15)
    dried = heat_balance(METHANE, 1.4, 40.0, 20.0, pressure_pa=5000.0)
    assert dried.condensate_fraction == 0
    gained = balance.efficiency_pct_net - dried.efficiency_pct_net
    assert gained == pytest.approx(100 * given_back / METHANE.lhv_kj_mol, rel=1e-4)


def test_a_rich_flame_has_no_balance() -> None:
    balance = heat_balance(METHANE, 0.95, 150.0, 20.0)
    names = [name for name in (*FIGURES, "dew_point_c") if name != "flags"]
    assert np.isnan([getattr(balance, name) for name in names]).all()


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
    for name in (*FIGURES, "dew_point_c"):
        assert np.shape(getattr(balance, name)) == (3, 4), name


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
