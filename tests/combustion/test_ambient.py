"""Weather correction against the computed response of two kinds of control (ideal gas, methane, gas
at 15 °C).
"""

from collections.abc import Callable
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    Fuel,
    barometric_pressure_pa,
    co2_pct_from_o2,
    corrected_to_reference,
    excess_air_ratio_from_o2,
    o2_pct_from_ratio,
    saturation_pressure_pa,
)
from fleet.combustion.ambient import Control, Quantity
from tests.combustion.cases import fuels, property_settings, rows
from tests.combustion.conditions import at_conditions

METHANE = FUELS["methane"]
CONTROLS: dict[str, Control] = {"ratio": "pneumatic_ratio", "fixed_fan": "linkage"}
ALL_CASES = rows("ambient_effects_G20")
CASES = [case for case in rows("ambient_effects_G20") if case["altitude_m"] == "0"]
ALTITUDES = [case for case in rows("ambient_effects_G20") if case["altitude_m"] != "0"]
REGULATING = [control for control in get_args(Control) if control != "self_adapting"]
readings_o2 = st.floats(2.0, 12.0)
intake_temps_c = st.floats(-20.0, 40.0)


def ids(case: dict[str, str]) -> str:
    return f"{case['control']} {case['T_air_C']} °C {case['altitude_m']} m"


@pytest.mark.parametrize("case", ALL_CASES, ids=ids)
def test_every_case_follows_from_the_setting_at_sea_level(case: dict[str, str]) -> None:
    """Set to 1.25 at 20 °C, 50 % humidity, sea level. Tolerance: the last digit printed (0.0001 of the ratio,
    0.01 of O2 and CO2); two of the ratio, because the pressures of the cases are rounded to 0.1 hPa.
    """
    there = {
        "to_air_temp_c": float(case["T_air_C"]),
        "to_pressure_pa": 100 * float(case["p_hPa"]),
        "to_relative_humidity": float(case["RH"]),
    }
    set_o2 = o2_pct_from_ratio(METHANE, 1.25)
    control = CONTROLS[case["control"]]
    o2 = at_conditions(METHANE, control, "o2", set_o2, air_temp_c=20.0, **there)
    co2 = at_conditions(METHANE, control, "co2", co2_pct_from_o2(METHANE, set_o2), air_temp_c=20.0, **there)
    assert excess_air_ratio_from_o2(METHANE, o2) == pytest.approx(float(case["lambda"]), abs=2e-4)
    assert o2 == pytest.approx(float(case["O2_dry_pct"]), abs=0.01)
    assert co2 == pytest.approx(float(case["CO2_dry_pct"]), abs=0.01)
    assert co2 - 9.188 == pytest.approx(float(case["dCO2_points"]), abs=0.01)


@pytest.mark.parametrize("case", ALTITUDES, ids=ids)
@pytest.mark.parametrize(("quantity", "column", "base"), [("o2", "O2_dry_pct", 4.572), ("co2", "CO2_dry_pct", 9.188)])
def test_takes_a_known_pressure_out(case: dict[str, str], quantity: Quantity, column: str, base: float) -> None:
    """Tolerance as where the humidity is known."""
    value, _ = corrected_to_reference(
        METHANE,
        CONTROLS[case["control"]],
        quantity,
        float(case[column]),
        20.0,
        relative_humidity=0.5,
        pressure_pa=100 * float(case["p_hPa"]),
        reference_pressure_pa=101_325.0,
    )
    assert value == pytest.approx(base, abs=0.01)


@pytest.mark.parametrize("case", CASES, ids=ids)
@pytest.mark.parametrize(("quantity", "column", "base"), [("o2", "O2_dry_pct", 4.572), ("co2", "CO2_dry_pct", 9.188)])
def test_takes_the_weather_out_where_the_humidity_is_known(
    case: dict[str, str], quantity: Quantity, column: str, base: float
) -> None:
    """Tolerance: the case prints two decimals, so its reading is known to 0.005, here with one more
    for the slope.
    """
    control, read, temp, humidity = (CONTROLS[case["control"]], *(float(case[c]) for c in (column, "T_air_C", "RH")))
    value, _ = corrected_to_reference(METHANE, control, quantity, read, temp, relative_humidity=humidity)
    assert value == pytest.approx(base, abs=0.01)


@pytest.mark.parametrize("case", CASES, ids=ids)
def test_unknown_humidity_stays_within_its_uncertainty(case: dict[str, str]) -> None:
    """Tolerance: two standard uncertainties plus the rounding of the case."""
    value, std = corrected_to_reference(
        METHANE, CONTROLS[case["control"]], "co2", float(case["CO2_dry_pct"]), float(case["T_air_C"])
    )
    assert abs(value - 9.188) <= 2 * std + 0.01


@pytest.mark.parametrize("case", ALTITUDES, ids=ids)
def test_barometric_pressure_of_the_cases(case: dict[str, str]) -> None:
    assert barometric_pressure_pa(float(case["altitude_m"])) == pytest.approx(100 * float(case["p_hPa"]), abs=10)


def test_barometric_pressure_of_the_standard_atmosphere() -> None:
    """ISO 2533 / ICAO table values, from memory: 898.75 hPa at 1000 m, 540.20 hPa at 5000 m."""
    assert barometric_pressure_pa([0.0, 1000.0, 5000.0]) == pytest.approx([101325, 89875, 54020], abs=5)
    assert np.isnan(barometric_pressure_pa([-2000.0, 12000.0, np.nan])).all()


def test_the_season_is_as_large_as_stated() -> None:
    """About 0.02 CO2 points per kelvin with ratio control, 0.04 with a fixed fan: slopes of the cases
    near 20 °C.
    """
    slopes: dict[Control, float] = {"pneumatic_ratio": 0.022, "linkage": 0.040}
    for control, slope in slopes.items():
        from_cold, from_warm = (corrected_to_reference(METHANE, control, "co2", 9.19, t)[0] for t in (15, 25))
        assert (from_cold - from_warm) / 10.0 == pytest.approx(slope, abs=0.003)


@pytest.mark.parametrize("control", REGULATING)
def test_at_the_reference_temperature_nothing_changes(control: Control) -> None:
    value, std = corrected_to_reference(METHANE, control, "o2", [4.0, 5.5], 20.0)
    assert value.tolist() == [4.0, 5.5]
    assert (std > 0).all()


@pytest.mark.parametrize("control", REGULATING)
@pytest.mark.parametrize("quantity", ["o2", "co2"])
def test_a_missing_intake_temperature_leaves_the_value_and_widens_its_uncertainty(
    control: Control, quantity: Quantity
) -> None:
    value, std = corrected_to_reference(METHANE, control, quantity, 5.0, [20.0, np.nan])
    assert value.tolist() == [5.0, 5.0]
    assert std[1] > 1.4 * std[0]


def test_the_uncertainty_of_a_missing_temperature_is_six_kelvin_of_slope() -> None:
    """For a ratio control 6 K are worth about 0.12 CO2 points; humidity and nothing else is added."""
    _, std = corrected_to_reference(METHANE, "pneumatic_ratio", "co2", 9.19, np.nan, relative_humidity=0.5)
    step, _ = corrected_to_reference(METHANE, "pneumatic_ratio", "co2", 9.19, 14.0, relative_humidity=0.0)
    dry, _ = corrected_to_reference(METHANE, "pneumatic_ratio", "co2", 9.19, 20.0, relative_humidity=0.0)
    assert std == pytest.approx(abs(step - dry), rel=0.05)


@property_settings
@given(fuels, st.sampled_from(REGULATING), readings_o2, intake_temps_c)
def test_o2_and_co2_are_corrected_to_the_same_flame(fuel: Fuel, control: Control, o2_pct: float, temp_c: float) -> None:
    o2, _ = corrected_to_reference(fuel, control, "o2", o2_pct, temp_c)
    co2, _ = corrected_to_reference(fuel, control, "co2", co2_pct_from_o2(fuel, o2_pct), temp_c)
    if o2 >= 0:
        assert co2 == pytest.approx(co2_pct_from_o2(fuel, o2), rel=1e-9)
    else:
        assert co2 > fuel.co2_max_pct


@property_settings
@given(fuels, st.sampled_from(REGULATING), readings_o2, st.floats(-20.0, 19.9))
def test_winter_air_is_corrected_towards_less_oxygen(
    fuel: Fuel, control: Control, o2_pct: float, temp_c: float
) -> None:
    value, std = corrected_to_reference(fuel, control, "o2", o2_pct, temp_c)
    assert value < o2_pct
    assert std > 0


@property_settings
@given(fuels, readings_o2, intake_temps_c)
def test_a_self_adapting_burner_needs_no_correction(fuel: Fuel, o2_pct: float, temp_c: float) -> None:
    value, std = corrected_to_reference(fuel, "self_adapting", "o2", o2_pct, temp_c)
    assert (value, std) == pytest.approx((o2_pct, 0.0), abs=0)


@property_settings
@given(fuels, st.sampled_from(REGULATING), st.floats(0.5, 12.0), intake_temps_c, st.floats(70_000.0, 105_000.0))
def test_there_and_back_is_the_same_reading(
    fuel: Fuel, control: Control, o2_pct: float, temp_c: float, pressure_pa: float
) -> None:
    here = {"air_temp_c": temp_c, "pressure_pa": pressure_pa, "relative_humidity": 0.8}
    there = {"air_temp_c": 20.0, "pressure_pa": 101_325.0, "relative_humidity": 0.3}
    moved = at_conditions(fuel, control, "o2", o2_pct, **here, **{f"to_{name}": x for name, x in there.items()})
    back = at_conditions(fuel, control, "o2", moved, **there, **{f"to_{name}": x for name, x in here.items()})
    if moved >= 0:
        assert back == pytest.approx(o2_pct, rel=1e-9)
    else:
        assert np.isnan(back)


@property_settings
@given(fuels, st.sampled_from(REGULATING), readings_o2, intake_temps_c, st.floats(0.0, 1.0))
def test_the_correction_is_the_move_to_the_reference(
    fuel: Fuel, control: Control, o2_pct: float, temp_c: float, humidity: float
) -> None:
    corrected, _ = corrected_to_reference(fuel, control, "o2", o2_pct, temp_c, relative_humidity=humidity)
    moved = at_conditions(
        fuel, control, "o2", o2_pct, air_temp_c=temp_c, relative_humidity=humidity, to_air_temp_c=20.0
    )
    assert corrected == pytest.approx(float(moved), rel=1e-12)


def test_the_same_air_changes_nothing() -> None:
    air = {"air_temp_c": 31.0, "pressure_pa": 90_000.0, "relative_humidity": 0.7}
    same = {f"to_{name}": value for name, value in air.items()}
    assert at_conditions(METHANE, "linkage", "co2", [9.0, 8.5], **air, **same).tolist() == [9.0, 8.5]


def test_a_self_adapting_burner_stays_where_it_was_set() -> None:
    moved = at_conditions(METHANE, "self_adapting", "o2", 5.0, air_temp_c=20.0, to_air_temp_c=[-10.0, 30.0])
    assert moved.tolist() == [5.0, 5.0]


@pytest.mark.parametrize(
    ("control", "shrinks"), [("linkage", True), ("oil_pressure_jet", True), ("pneumatic_ratio", False)]
)
def test_a_barometer_takes_the_weather_from_the_uncertainty(control: Control, shrinks: bool) -> None:
    """Where the pressure counts; behind a ratio control it cancels anyway."""
    _, without = corrected_to_reference(METHANE, control, "o2", 5.0, 20.0)
    value, std = corrected_to_reference(
        METHANE, control, "o2", 5.0, 20.0, pressure_pa=[101_325.0, np.nan], reference_pressure_pa=101_325.0
    )
    assert value.tolist() == [5.0, 5.0]
    assert std[1] == pytest.approx(without, rel=1e-12)
    assert (std[0] < std[1]) is np.bool_(shrinks)


def test_low_pressure_is_corrected_towards_more_air() -> None:
    """A fixed fan in a depression of 3 % draws less air per gas: about 0.5 % O2, common practice, no source."""
    pressure = {"pressure_pa": 98_285.0, "reference_pressure_pa": 101_325.0}
    value, _ = corrected_to_reference(METHANE, "linkage", "o2", 5.0, 20.0, **pressure)
    assert 0.2 < value - 5.0 < 0.6
    ratio, _ = corrected_to_reference(METHANE, "pneumatic_ratio", "o2", 5.0, 20.0, **pressure)
    assert ratio == pytest.approx(5.0, abs=0.02)


def test_pressure_is_left_alone_where_one_of_the_two_is_not_known() -> None:
    plain = corrected_to_reference(METHANE, "linkage", "co2", 9.0, 5.0)
    for known in ({"pressure_pa": 95_000.0}, {"reference_pressure_pa": 95_000.0}, {"pressure_pa": None}):
        assert corrected_to_reference(METHANE, "linkage", "co2", 9.0, 5.0, **known) == plain


def test_a_missing_intake_temperature_does_not_stop_the_pressure() -> None:
    pressure = {"pressure_pa": 95_000.0, "reference_pressure_pa": 101_325.0}
    value, _ = corrected_to_reference(METHANE, "linkage", "o2", 5.0, np.nan, **pressure)
    known, _ = corrected_to_reference(METHANE, "linkage", "o2", 5.0, 20.0, **pressure)
    assert value == pytest.approx(float(known), rel=1e-12)


def test_a_lean_winter_setting_can_run_out_of_air_in_summer() -> None:
    """A reading of 1 % O2 at -20 °C on a fixed fan: below zero at 20 °C, in either quantity."""
    o2, _ = corrected_to_reference(METHANE, "linkage", "o2", 1.0, -20.0)
    co2, _ = corrected_to_reference(METHANE, "linkage", "co2", co2_pct_from_o2(METHANE, 1.0), -20.0)
    assert o2 < 0
    assert co2 > METHANE.co2_max_pct


# n, its spread, whether by mass, and the pressure's exponent of each control: ideal gas through orifices or at constant
# volume, oil at constant mass (own derivation); the spreads are own judgement, no source.
LAWS: dict[Control, tuple[float, float, bool, float]] = {
    "pneumatic_ratio": (0.5, 0.1, True, 0.0),
    "linkage": (1.0, 0.15, False, 0.5),
    "fixed_atmospheric": (1.0, 0.35, False, 0.5),
    "oil_pressure_jet": (1.0, 0.15, False, 1.0),
}


def water_share(temp_c: float, humidity: float, pressure_pa: float) -> float:
    return humidity * float(saturation_pressure_pa(temp_c)) / pressure_pa


def relative_air(control: Control, temp_c: float, humidity: float, pressure_pa: float) -> float:
    n, _, by_mass, k = LAWS[control]
    water = water_share(temp_c, humidity, pressure_pa)
    mass = (1 - water) * 28.9652 + water * 18.01528 if by_mass else 1.0
    return float((1 - water) * pressure_pa**k / ((temp_c + 273.15) * mass) ** n)


def o2_at(ratio: float) -> float:
    """Of methane: 2 mol of O2 in 2 / 0.20946 of air, 1 of CO2 (fixtures/golden/fuel_properties.csv)."""
    air = 2 / 0.20946
    return 100 * 2 * (ratio - 1) / (air * 0.79054 + 1 + (ratio - 1) * air)


def co2_at(ratio: float) -> float:
    air = 2 / 0.20946
    return 100 * (1 + 0.0004 * ratio * air) / (air * 0.79054 + 1 + (ratio - 1) * air)


@pytest.mark.parametrize("control", LAWS)
def test_excess_air_moves_as_each_law_says(control: Control) -> None:
    """(1 - w) p^k / (T M)^n by hand, from cold dry air at 960 hPa to warm humid air at 1013.25 hPa."""
    moved = at_conditions(
        METHANE,
        control,
        "o2",
        o2_at(1.4),
        air_temp_c=-5.0,
        relative_humidity=0.2,
        pressure_pa=96_000.0,
        to_air_temp_c=30.0,
        to_relative_humidity=0.9,
    )
    shift = relative_air(control, 30.0, 0.9, 101_325.0) / relative_air(control, -5.0, 0.2, 96_000.0)
    assert moved == pytest.approx(o2_at(1.4 * shift), rel=1e-9)


@pytest.mark.parametrize("control", LAWS)
@pytest.mark.parametrize(("quantity", "reading"), [("o2", o2_at), ("co2", co2_at)])
@pytest.mark.parametrize(
    ("read", "stated"),
    [
        pytest.param({"air_temp_c": 5.0}, (1.0, 0.2, 0.01), id="temperature alone"),
        pytest.param({"air_temp_c": np.nan}, (6.0, 0.2, 0.01), id="nothing"),
        pytest.param({"air_temp_c": 5.0, "relative_humidity": 0.5}, (1.0, 0.03, 0.01), id="humidity"),
        pytest.param({"air_temp_c": 5.0, "pressure_pa": 101_325.0}, (1.0, 0.2, 0.001), id="pressure"),
    ],
)
def test_the_uncertainty_is_made_of_what_is_stated(
    control: Control,
    quantity: Quantity,
    reading: Callable[[float], float],
    read: dict[str, float],
    stated: tuple[float, float, float],
) -> None:
    """1 K of a temperature read and 6 K of a missing one, 3 or 20 points of humidity, 0.1 or 1 % of pressure, and the
    spread of the law, in squares; carried to the reading by its slope at the corrected excess air.
    """
    temp_k, humidity, pressure = stated
    n, n_std, _, k = LAWS[control]
    temp_c = 20.0 if np.isnan(read["air_temp_c"]) else read["air_temp_c"]
    parts = (
        n * temp_k / (temp_c + 273.15),
        water_share(temp_c, humidity, 101_325.0),
        n_std * np.log((temp_c + 273.15) / 293.15),
        k * pressure,
    )
    shift = relative_air(control, 20.0, 0.5, 101_325.0) / relative_air(control, temp_c, 0.5, 101_325.0)
    corrected, slope = reading(1.4 * shift), (reading(1.4 * shift + 1e-5) - reading(1.4 * shift - 1e-5)) / 2e-5
    value, std = corrected_to_reference(
        METHANE, control, quantity, reading(1.4), **read, reference_pressure_pa=101_325.0
    )
    assert value == pytest.approx(corrected, rel=1e-9)
    assert std == pytest.approx(abs(slope) * 1.4 * shift * float(np.hypot.reduce(parts)), rel=1e-6)


def test_humidity_and_reference_temperature_that_nobody_gave() -> None:
    """50 % and 20 °C, at both ends; a humidity read without a temperature isn't corrected."""
    given = {"relative_humidity": 0.5, "to_relative_humidity": 0.5}
    plain = at_conditions(METHANE, "linkage", "o2", 5.0, air_temp_c=35.0, to_air_temp_c=5.0)
    assert plain == at_conditions(METHANE, "linkage", "o2", 5.0, air_temp_c=35.0, to_air_temp_c=5.0, **given)
    for way in ({}, {"relative_humidity": 0.5}, {"reference_air_temp_c": 20.0}):
        value, _ = corrected_to_reference(METHANE, "linkage", "o2", 5.0, 35.0, **way)
        moved = at_conditions(METHANE, "linkage", "o2", 5.0, air_temp_c=35.0, to_air_temp_c=20.0, **given)
        assert value == pytest.approx(float(moved), rel=1e-13)
    assert corrected_to_reference(METHANE, "linkage", "o2", 5.0, np.nan, relative_humidity=0.9)[0] == 5.0


def test_the_atmosphere_ends_where_stated() -> None:
    """Sea level less 1000 m to 11 000 m, both included: 1139.3 and 226.3 hPa (ISO 2533 table, from memory)."""
    ends = np.array([-1000.0, 11_000.0])
    assert barometric_pressure_pa(ends) == pytest.approx([113_929, 22_632], rel=2e-4)
    assert np.isnan(barometric_pressure_pa(np.nextafter(ends, [-np.inf, np.inf]))).all()


def test_no_oxygen_on_a_self_adapting_burner_is_certain_too() -> None:
    value, std = corrected_to_reference(METHANE, "self_adapting", "o2", [0.0, 5.0], 5.0)
    assert value.tolist() == [0.0, 5.0]
    assert std.tolist() == [0.0, 0.0]


@pytest.mark.parametrize("control", get_args(Control))
def test_a_missing_reading_stays_missing(control: Control) -> None:
    value, std = corrected_to_reference(METHANE, control, "o2", np.nan, [5.0, np.nan])
    assert np.isnan(value).all()
    assert np.isnan(std).all()


def test_refuses_an_unknown_control_or_quantity() -> None:
    with pytest.raises(ValueError, match="control"):
        corrected_to_reference(METHANE, "magic", "o2", 5.0, 5.0)  # type: ignore[arg-type]  # the misuse under test
    with pytest.raises(ValueError, match="control"):
        at_conditions(METHANE, "magic", "o2", 5.0, air_temp_c=5.0, to_air_temp_c=9.0)  # type: ignore[arg-type]  # the misuse under test
    with pytest.raises(ValueError, match="quantity"):
        corrected_to_reference(METHANE, "linkage", "co", 5.0, 5.0)  # type: ignore[arg-type]  # the misuse under test
