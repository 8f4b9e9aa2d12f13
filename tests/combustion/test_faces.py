"""What holds for the whole room: examples are right, nothing warns, scalars and arrays behave alike."""

import doctest
import importlib
import itertools
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
from fleet.combustion.flue_gas import water_pct_wet
from fleet.combustion.humidity import water_fraction
from tests.combustion.cases import balance_from_o2

GAS = FUELS["natural_gas"]
CARBON_MONOXIDE = combustion.Fuel.from_composition("carbon monoxide", {"CO": 1.0})
MODULES = [f"fleet.combustion.{module.name}" for module in pkgutil.iter_modules(combustion.__path__)]

# Each numeric face as a function of one awkward value in its first numeric argument.
FACES: dict[str, Callable[[Any], Any]] = {
    "excess_air_ratio_from_o2": lambda x: combustion.excess_air_ratio_from_o2(GAS, x),
    "excess_air_ratio_from_co2": lambda x: combustion.excess_air_ratio_from_co2(GAS, x),
    "co2_pct_from_o2": lambda x: combustion.co2_pct_from_o2(GAS, x),
    "co2_pct_from_o2 of CO": lambda x: combustion.co2_pct_from_o2(CARBON_MONOXIDE, x),
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
    "efficiency by O2": lambda x: balance_from_o2(GAS, x, 40.0, 20.0).efficiency_pct_gross,
    "condensate": lambda x: combustion.heat_balance(GAS, 1.2, x, 20.0).condensate_fraction,
    "efficiency by intake": lambda x: combustion.heat_balance(GAS, 1.2, 150.0, x).efficiency_pct_net,
    "efficiency by pressure": lambda x: combustion.heat_balance(GAS, 1.2, 40.0, 20.0, pressure_pa=x).efficiency_pct_net,
    "efficiency by humidity": lambda x: (
        combustion.heat_balance(GAS, 1.2, 40.0, 9.0, humidity_ratio=x).efficiency_pct_net
    ),
    "efficiency by CO": lambda x: combustion.heat_balance(GAS, 1.2, 40.0, 20.0, co_ppm=x).efficiency_pct_net,
    "nox_from_no": combustion.nox_from_no,
    "corrected by pressure": lambda x: combustion.corrected_to_reference(
        GAS, "linkage", "o2", x, 5.0, pressure_pa=98_000.0, reference_pressure_pa=100_000.0
    )[0],
    "regulation_loss": lambda x: combustion.regulation_loss(LOSS_COEFFICIENTS["de_2010_light_oil"], x, 150.0, 20.0),
    "air_free": lambda x: combustion.air_free(x, 5.0),
    "air_free by o2": lambda x: combustion.air_free(50.0, x),
    "co_co2_ratio": lambda x: combustion.co_co2_ratio(50.0, x),
    "mg_per_kwh": lambda x: combustion.mg_per_kwh(GAS, x, "CO", "net"),
    "barometric_pressure_pa": combustion.barometric_pressure_pa,
    "corrected_to_reference": lambda x: combustion.corrected_to_reference(GAS, "linkage", "co2", x, 5.0)[0],
    "its uncertainty": lambda x: combustion.corrected_to_reference(GAS, "pneumatic_ratio", "o2", x, 5.0)[1],
    "heat_input_kw": lambda x: combustion.heat_input_kw(0.05, x, 15.0, 2000.0, 101325.0, 38.0),
}
AWKWARD = [
    *(np.nan, np.inf, -np.inf, 0.0, -1.0, 1.0, 5.0, 18.0, 20.9, 20.946, 25.0, 1e6, 1e300, -1e300),
    *(np.finfo(float).max, -np.finfo(float).max, np.finfo(float).tiny),
]
COLUMNS = ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "input_kw_gross")

# Faces of two numbers that pull at the same formula; each pair of awkward values meets.
PAIRED: dict[str, Callable[[Any, Any], Any]] = {
    "apparent_co2_max_pct": combustion.apparent_co2_max_pct,
    "flue_gas": lambda x, y: combustion.flue_gas(GAS, x, humidity_ratio=y).air_water,
    "water_pct_wet": lambda x, y: water_pct_wet(GAS, x, humidity_ratio=y),
    "dew_point_c without water": lambda x, y: combustion.dew_point_c(CARBON_MONOXIDE, x, pressure_pa=y),
    "water_fraction": lambda x, y: water_fraction(20.0, x, y),
    "humidity_ratio": combustion.humidity_ratio,
    "dew_point_c": lambda x, y: combustion.dew_point_c(GAS, x, humidity_ratio=y),
    "dew_point_c by pressure": lambda x, y: combustion.dew_point_c(GAS, x, pressure_pa=y),
    "flue temperature and air": lambda x, y: combustion.heat_balance(GAS, 1.2, x, y).efficiency_pct_gross,
    "excess air and CO": lambda x, y: combustion.heat_balance(GAS, x, 60.0, 20.0, co_ppm=y).efficiency_pct_gross,
    "O2 and humidity": lambda x, y: balance_from_o2(GAS, x, 40.0, 20.0, humidity_ratio=y).condensate_fraction,
    "dew point of a balance": lambda x, y: combustion.heat_balance(GAS, x, 60.0, 20.0, pressure_pa=y).dew_point_c,
    "regulation_loss": lambda x, y: combustion.regulation_loss(LOSS_COEFFICIENTS["de_2010_light_oil"], x, y, 20.0),
    "air_free": combustion.air_free,
    "co_co2_ratio": combustion.co_co2_ratio,
    "heat_input_kw": lambda x, y: combustion.heat_input_kw(0.05, 60.0, x, y, 101_325.0, 38.0),
    "heat_input_kw by meter": lambda x, y: combustion.heat_input_kw(x, y, 15.0, 2000.0, 101_325.0, 38.0),
    "corrected_to_reference": lambda x, y: combustion.corrected_to_reference(GAS, "linkage", "o2", x, y)[0],
    "its uncertainty by CO2": lambda x, y: combustion.corrected_to_reference(GAS, "linkage", "co2", x, y)[1],
    "self_adapting": lambda x, y: combustion.corrected_to_reference(GAS, "self_adapting", "co2", x, y)[1],
    "reading_flags": lambda x, y: combustion.reading_flags(GAS, x, y, 60.0, co2_basis="measured", flue_temp_c=40.0),
    "reading_flags calculated": lambda x, y: combustion.reading_flags(GAS, x, y, 60.0, co2_basis="calculated"),
}


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_are_right(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("face", FACES.values(), ids=FACES)
def test_awkward_values_neither_warn_nor_raise_and_arrays_agree_with_scalars(face: Callable[[Any], Any]) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        together = face(np.array(AWKWARD))
        singly = [face(value) for value in AWKWARD]
    assert np.array_equal(together, singly, equal_nan=True)
    assert all(isinstance(value, float) for value in singly)
    assert np.isnan(singly[0])


@pytest.mark.parametrize("face", PAIRED.values(), ids=PAIRED)
def test_no_two_awkward_values_make_a_face_warn(face: Callable[[Any, Any], Any]) -> None:
    """Data never warn, whatever the caller makes of warnings. Underflow is left alone: it is a right answer, 0."""
    x, y = (each.ravel() for each in np.meshgrid(AWKWARD, AWKWARD))
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        together = face(x, y)
        singly = [face(a, b) for a, b in zip(x[::7], y[::7], strict=True)]
    assert np.array_equal(together[::7], singly, equal_nan=True)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(COLUMNS, 2)))
def test_no_two_awkward_readings_make_figures_warn(one: str, other: str) -> None:
    x, y = (each.ravel() for each in np.meshgrid(AWKWARD, AWKWARD))
    read = {"o2_pct": 5.0, "co_ppm": 60.0, "flue_temp_c": 60.0, "air_temp_c": 20.0} | {one: x, other: y}
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        figures = combustion.derived_figures(GAS, read, loss=LOSS_COEFFICIENTS["de_2010_natural_gas"])
        found = combustion.figures_with_uncertainty(GAS, read, {"o2_pct": 0.15, "co_ppm": 10.0})
    assert {values.shape for values in (*figures.values(), *found.u.values())} == {x.shape}


def test_the_room_starts_nothing_but_numpy() -> None:
    """Importing it in a fresh interpreter must not pull in a web framework, scipy or unit handling."""
    script = "import sys, fleet.combustion; print([m for m in ('django', 'scipy', 'pint') if m in sys.modules])"
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
