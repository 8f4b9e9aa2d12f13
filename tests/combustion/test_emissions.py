import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    Fuel,
    air_free,
    air_free_from_co2,
    at_reference_o2,
    co2_pct_from_o2,
    co_co2_ratio,
    mg_per_kwh,
)
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from tests.combustion.cases import co_ppm_values, fuels, property_settings

o2_below_limit = st.floats(0.0, 17.999)


def test_air_free_ends_at_eighteen_percent_o2() -> None:
    assert np.isfinite(air_free(60.0, np.nextafter(O2_TOO_DILUTE_PCT, 0)))
    assert np.isnan(air_free(60.0, [18.0, 18.5, 20.9, 25.0])).all()
    assert np.isnan(at_reference_o2(60.0, [18.0, 20.9], 3.0)).all()
    assert np.isnan(air_free([np.nan, 60.0], [5.0, np.nan])).all()


@property_settings
@given(co_ppm_values, o2_below_limit, o2_below_limit)
def test_air_free_co_never_falls_as_o2_rises(co_ppm: float, one_o2: float, other_o2: float) -> None:
    low, high = sorted((one_o2, other_o2))
    assert air_free(co_ppm, high) >= air_free(co_ppm, low) >= co_ppm


@property_settings
@given(co_ppm_values, o2_below_limit)
def test_reference_zero_is_air_free_and_its_own_o2_changes_nothing(co_ppm: float, o2_pct: float) -> None:
    assert at_reference_o2(co_ppm, o2_pct, 0.0) == pytest.approx(air_free(co_ppm, o2_pct), rel=1e-12)
    assert at_reference_o2(co_ppm, o2_pct, o2_pct) == pytest.approx(co_ppm, rel=1e-12)


@property_settings
@given(fuels, co_ppm_values, st.floats(0.0, 12.0))
def test_air_free_by_o2_and_by_co2_agree(fuel: Fuel, co_ppm: float, o2_pct: float) -> None:
    """Within 1 %: the trade's 20.9 % stands for 20.946, and the CO2 of the air is left out."""
    by_co2 = air_free_from_co2(co_ppm, co2_pct_from_o2(fuel, o2_pct), fuel.co2_max_pct)
    assert by_co2 == pytest.approx(air_free(co_ppm, o2_pct), rel=0.01)


def test_air_free_from_co2_ends_where_the_sample_is_nearly_air() -> None:
    assert np.isnan(air_free_from_co2(60.0, [1.0, 0.0, -1.0, np.nan], 11.9)).all()
    assert np.isfinite(air_free_from_co2(60.0, 2.0, 11.9))


def test_ratio_is_blind_to_leaked_air_but_needs_co2() -> None:
    assert co_co2_ratio(90.0, 9.0) == pytest.approx(co_co2_ratio(45.0, 4.5))
    assert np.isnan(co_co2_ratio(90.0, [0.0, -0.1, np.nan])).all()


def test_ratio_and_air_free_limits_correspond() -> None:
    """Ratio 0.004 is 470 ppm air-free on methane and 550 on propane (own computation, rounded)."""
    for name, expected in (("methane", 470.0), ("propane", 550.0)):
        assert 0.004 * FUELS[name].co2_max_pct * 1e4 == pytest.approx(expected, abs=2.0)


def test_a_class_limit_in_mass_and_in_ppm() -> None:
    """56 mg/kWh gross of NOx on methane is 35.2 ppm air-free, 30.2 ppm at 3 % O2 (own computation,
    Cantera).
    """
    assert mg_per_kwh(FUELS["methane"], 35.2, "NO2", "gross") == pytest.approx(56.0, abs=0.1)
    assert at_reference_o2(35.2, 0.0, 3.0, o2_air_pct=20.946) == pytest.approx(30.2, abs=0.1)


@property_settings
@given(fuels, st.floats(0.1, 1000.0))
def test_gross_mass_per_heat_is_the_smaller(fuel: Fuel, ppm: float) -> None:
    net, gross = (mg_per_kwh(fuel, ppm, "CO", basis) for basis in ("net", "gross"))
    assert gross == pytest.approx(net * fuel.net_per_gross, rel=1e-12)
    assert gross < net


def test_mass_per_heat_refuses_an_unknown_species_or_basis() -> None:
    with pytest.raises(ValueError, match="species"):
        mg_per_kwh(FUELS["methane"], 1.0, "SO2", "net")  # type: ignore[arg-type]  # the misuse under test
    with pytest.raises(ValueError, match="basis"):
        mg_per_kwh(FUELS["methane"], 1.0, "CO", "dry")  # type: ignore[arg-type]  # the misuse under test
