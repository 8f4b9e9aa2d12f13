"""What holds for the whole room: examples are right, nothing warns, scalars and arrays behave alike."""

import doctest
import importlib
import pkgutil
import subprocess
import sys
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import fleet.combustion as combustion
from fleet.combustion import FUELS, LOSS_COEFFICIENTS

GAS = FUELS["natural_gas"]
OLDER_GAS = combustion.CO2_LOSS_COEFFICIENTS["de_older_natural_gas"]
MODULES = [f"fleet.combustion.{module.name}" for module in pkgutil.iter_modules(combustion.__path__)]

# Each numeric face as a function of one awkward value in its first numeric argument.
FACES: dict[str, Callable[[Any], Any]] = {
    "excess_air_ratio_from_o2": lambda x: combustion.excess_air_ratio_from_o2(GAS, x),
    "excess_air_ratio_from_co2": lambda x: combustion.excess_air_ratio_from_co2(GAS, x),
    "co2_pct_from_o2": lambda x: combustion.co2_pct_from_o2(GAS, x),
    "o2_pct_from_co2": lambda x: combustion.o2_pct_from_co2(GAS, x),
    "co2_pct_from_ratio": lambda x: combustion.co2_pct_from_ratio(GAS, x),
    "o2_pct_from_ratio": lambda x: combustion.o2_pct_from_ratio(GAS, x),
    "dilution_factor": combustion.dilution_factor,
    "apparent_co2_max_pct": lambda x: combustion.apparent_co2_max_pct(x, 9.0),
    "saturation_pressure_pa": combustion.saturation_pressure_pa,
    "saturation_temperature_c": combustion.saturation_temperature_c,
    "humidity_ratio": lambda x: combustion.humidity_ratio(x, 0.5),
    "dew_point_c": lambda x: combustion.dew_point_c(GAS, x),
    "efficiency": lambda x: combustion.heat_balance(GAS, 1.2, x, 20.0).efficiency_pct_net,
    "efficiency by ratio": lambda x: combustion.heat_balance(GAS, x, 150.0, 20.0).efficiency_pct_net,
    "efficiency by O2": lambda x: combustion.flue_states(GAS, x, 40.0, 20.0).efficiency_pct_gross,
    "condensate": lambda x: combustion.heat_balance(GAS, 1.2, x, 20.0).condensate_fraction,
    "efficiency by intake": lambda x: combustion.heat_balance(GAS, 1.2, 150.0, x).efficiency_pct_net,
    "efficiency by pressure": lambda x: combustion.heat_balance(GAS, 1.2, 40.0, 20.0, pressure_pa=x).efficiency_pct_net,
    "efficiency by humidity": lambda x: (
        combustion.heat_balance(GAS, 1.2, 40.0, 9.0, humidity_ratio=x).efficiency_pct_net
    ),
    "efficiency by CO": lambda x: combustion.heat_balance(GAS, 1.2, 40.0, 20.0, co_ppm=x).efficiency_pct_net,
    "regulation_loss_from_co2": lambda x: combustion.regulation_loss_from_co2(OLDER_GAS, x, 150.0, 20.0),
    "nox_from_no": combustion.nox_from_no,
    "altitude_derate": lambda x: combustion.altitude_derate(combustion.ALTITUDE_DERATES["nfpa_54"], x),
    "at_conditions": lambda x: combustion.at_conditions(GAS, "linkage", "co2", x, air_temp_c=5.0, to_air_temp_c=20.0),
    "at_conditions by temperature": lambda x: combustion.at_conditions(
        GAS, "pneumatic ratio", "o2", 5.0, air_temp_c=x, to_air_temp_c=20.0
    ),
    "corrected by pressure": lambda x: combustion.corrected_to_reference(
        GAS, "linkage", "o2", x, 5.0, pressure_pa=98_000.0, reference_pressure_pa=100_000.0
    )[0],
    "regulation_loss": lambda x: combustion.regulation_loss(LOSS_COEFFICIENTS["de_2010_light_oil"], x, 150.0, 20.0),
    "air_free": lambda x: combustion.air_free(x, 5.0),
    "air_free by o2": lambda x: combustion.air_free(50.0, x),
    "air_free_from_co2": lambda x: combustion.air_free_from_co2(50.0, x, 11.9),
    "at_reference_o2": lambda x: combustion.at_reference_o2(50.0, x, 3.0),
    "co_co2_ratio": lambda x: combustion.co_co2_ratio(50.0, x),
    "mg_per_kwh": lambda x: combustion.mg_per_kwh(GAS, x, "CO", "net"),
    "barometric_pressure_pa": combustion.barometric_pressure_pa,
    "corrected_to_reference": lambda x: combustion.corrected_to_reference(GAS, "linkage", "co2", x, 5.0)[0],
    "its uncertainty": lambda x: combustion.corrected_to_reference(GAS, "pneumatic ratio", "o2", x, 5.0)[1],
    "heat_input_kw": lambda x: combustion.heat_input_kw(0.05, x, 15.0, 2000.0, 101325.0, 38.0),
}
AWKWARD = [np.nan, np.inf, -np.inf, 0.0, -1.0, 1.0, 5.0, 18.0, 20.9, 20.946, 25.0, 1e6, 1e300, -1e300]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_are_right(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("face", FACES.values(), ids=FACES)
def test_awkward_values_neither_warn_nor_raise_and_arrays_agree_with_scalars(
    face: Callable[[Any], Any],
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        together = face(np.array(AWKWARD))
        singly = [face(value) for value in AWKWARD]
    assert np.array_equal(together, singly, equal_nan=True)
    assert all(isinstance(value, float) for value in singly)
    assert np.isnan(singly[0])


def test_the_room_starts_nothing_but_numpy() -> None:
    """Importing it in a fresh interpreter must not pull in a web framework, scipy or unit handling."""
    script = "import sys, fleet.combustion; print([m for m in ('django', 'scipy', 'pint') if m in sys.modules])"
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_names_on_offer_exist() -> None:
    assert all(hasattr(combustion, name) for name in combustion.__all__)
