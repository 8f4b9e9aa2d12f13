import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, gas_properties, heat_input_kw
from tests.combustion.cases import property_settings


@pytest.mark.parametrize("reference_temp_c", [15.45, 15.56])
def test_the_published_example(reference_temp_c: float) -> None:
    """ASHRAE Fundamentals 2021 ch. 28: 2.800 m³/h, 24 °C, 86.016 kPa, 37.5 MJ/m³ at 60 °F give 24.04
    to 24.06 kW.
    """
    value = heat_input_kw(2.8, 3600.0, 24.0, 0.0, 86_016.0, 37.5, reference_temp_c=reference_temp_c)
    assert 24.04 <= value <= 24.06


def test_gauge_and_barometric_pressure_add() -> None:
    whole = heat_input_kw(0.05, 120.0, 15.0, 0.0, 103_325.0, 38.0)
    assert heat_input_kw(0.05, 120.0, 15.0, 2000.0, 101_325.0, 38.0) == pytest.approx(whole)


def test_at_reference_conditions_only_the_meter_counts() -> None:
    """1 m³ in an hour of 36 MJ/m³ is 10 kW by definition."""
    assert heat_input_kw(1.0, 3600.0, 15.0, 0.0, 101_325.0, 36.0) == pytest.approx(10.0, rel=1e-12)


@property_settings
@given(st.floats(0.01, 5.0), st.floats(30.0, 3600.0), st.floats(-10.0, 35.0), st.floats(80_000.0, 104_000.0))
def test_net_and_gross_input_differ_by_the_heating_values(
    volume_m3: float, seconds: float, gas_temp_c: float, pressure_pa: float
) -> None:
    gas = gas_properties(FUELS["natural_gas"])
    net, gross = (
        heat_input_kw(volume_m3, seconds, gas_temp_c, 2000.0, pressure_pa, heating_value)
        for heating_value in (gas.lhv_mj_m3, gas.hhv_mj_m3)
    )
    assert net / gross == pytest.approx(gas.lhv_mj_m3 / gas.hhv_mj_m3, rel=1e-12)


def test_impossible_timings_answer_nan() -> None:
    volumes, seconds = [1.0, 1.0, -1.0, np.nan, 1.0], [0.0, -5.0, 60.0, 60.0, np.nan]
    assert np.isnan(heat_input_kw(volumes, seconds, 15.0, 0.0, 101_325.0, 38.0)).all()
    assert np.isnan(heat_input_kw(1.0, 60.0, 15.0, -200_000.0, 101_325.0, 38.0))


def test_next_to_nothing_is_not_nothing() -> None:
    assert heat_input_kw(0.0, 60.0, 15.0, 0.0, 101_325.0, 36.0) == 0.0
    assert heat_input_kw(1.0, 0.5, 15.0, 0.0, 101_325.0, 36.0) == pytest.approx(72_000.0)
    assert heat_input_kw(1.0, 3600.0, 15.0, 0.0, 0.5, 36.0) == pytest.approx(10 * 0.5 / 101_325)
    assert np.isnan(heat_input_kw(1.0, 60.0, 15.0, -101_325.0, 101_325.0, 36.0))
    assert np.isnan(heat_input_kw(-1e-9, 60.0, 15.0, 0.0, 101_325.0, 36.0))
