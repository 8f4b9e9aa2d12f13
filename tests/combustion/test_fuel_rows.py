"""A fuel per row answers what the fuel of that row answers alone."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    AnyFuel,
    FuelRows,
    co2_pct_from_o2,
    co2_pct_from_ratio,
    dew_point_c,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    flue_gas,
    heat_balance,
    mg_per_kwh,
    o2_pct_from_co2,
    o2_pct_from_ratio,
    reading_flags,
)
from fleet.combustion.heat import BLOCK, FIGURES
from tests.combustion.cases import balance_from_o2, property_settings

LIST = list(FUELS.values())
NUMBERS = (
    *("carbon", "hydrogen", "oxygen", "nitrogen", "sulfur", "hhv_kj_mol", "heat_capacity_j_mol_k", "oxygen_demand"),
    *("air_demand", "dry_products", "water_products", "co2_max_pct", "lhv_kj_mol", "net_per_gross"),
    "molar_mass_g_mol",
)

# Each face that takes a fuel, as a function of fuel and one number.
FACES: dict[str, Callable[[AnyFuel, Any], Any]] = {
    "excess_air_ratio_from_o2": excess_air_ratio_from_o2,
    "excess_air_ratio_from_co2": excess_air_ratio_from_co2,
    "co2_pct_from_o2": co2_pct_from_o2,
    "o2_pct_from_co2": o2_pct_from_co2,
    "co2_pct_from_ratio": lambda fuel, x: co2_pct_from_ratio(fuel, 1 + x / 10),
    "o2_pct_from_ratio": lambda fuel, x: o2_pct_from_ratio(fuel, 1 + x / 10),
    "dry flue gas": lambda fuel, x: flue_gas(fuel, 1 + x / 10, humidity_ratio=0.01).dry,
    "wet flue gas": lambda fuel, x: flue_gas(fuel, 1 + x / 10, humidity_ratio=0.01).wet,
    "dew_point_c": lambda fuel, x: dew_point_c(fuel, 1 + x / 10),
    "CO by heat": lambda fuel, x: mg_per_kwh(fuel, x, "CO", "net"),
    "reading_flags": lambda fuel, x: reading_flags(fuel, x, 9.0, 20.0, co2_basis="measured", flue_temp_c=55.0),
}


@pytest.mark.parametrize("name", NUMBERS)
def test_figures_are_those_of_the_fuel(name: str) -> None:
    index = np.arange(len(LIST))[::-1]
    assert getattr(FuelRows.of(LIST, index), name).tolist() == [getattr(LIST[row], name) for row in index]


@pytest.mark.parametrize("face", FACES.values(), ids=FACES)
def test_every_face_takes_a_fuel_a_row(face: Callable[[AnyFuel, Any], Any]) -> None:
    rng = np.random.default_rng(3)
    index, x = rng.integers(0, len(LIST), 60), rng.uniform(0.0, 14.0, 60)
    together = face(FuelRows.of(LIST, index), x)
    singly = [face(LIST[row], value) for row, value in zip(index, x, strict=True)]
    np.testing.assert_allclose(together, singly, rtol=1e-13, equal_nan=True)


@property_settings
@given(
    st.lists(st.tuples(st.integers(0, len(LIST) - 1), st.floats(-1.0, 21.0), st.floats(20.0, 300.0)), min_size=1),
    st.floats(-15.0, 40.0),
    st.sampled_from([0.0, 0.012]),
)
def test_a_balance_of_many_fuels_is_theirs_row_by_row(
    rows: list[tuple[int, float, float]], air_c: float, humidity: float
) -> None:
    index, o2, flue_c = (np.array(column) for column in zip(*rows, strict=True))
    together = balance_from_o2(FuelRows.of(LIST, index), o2, flue_c, air_c, humidity_ratio=humidity)
    for row, (number, o2_pct, flue_temp_c) in enumerate(rows):
        alone = balance_from_o2(LIST[number], o2_pct, flue_temp_c, air_c, humidity_ratio=humidity)
        for name in FIGURES:
            one, other = getattr(together, name)[row], getattr(alone, name)
            assert one == pytest.approx(float(other), rel=1e-12, abs=1e-12, nan_ok=True), name


def test_blocks_of_many_fuels_keep_their_order() -> None:
    rng, size = np.random.default_rng(4), BLOCK + 100
    index, ratio, flue_c = rng.integers(0, len(LIST), size), rng.uniform(1.0, 2.0, size), rng.uniform(30.0, 200.0, size)
    together = heat_balance(FuelRows.of(LIST, index), ratio, flue_c, 20.0)
    for number, fuel in enumerate(LIST):
        rows = index == number
        alone = heat_balance(fuel, ratio[rows], flue_c[rows], 20.0)
        np.testing.assert_allclose(together.efficiency_pct_net[rows], alone.efficiency_pct_net, rtol=1e-13)
        np.testing.assert_allclose(together.dew_point_c[rows], alone.dew_point_c, rtol=1e-13)


def test_one_reading_can_be_held_against_several_fuels() -> None:
    rows = FuelRows.of(LIST[:3], np.arange(3))
    balance = heat_balance(rows, 1.25, 150.0, 20.0)
    assert balance.efficiency_pct_gross.shape == (3,)
    assert heat_balance(rows, np.full((2, 1), 1.25), 150.0, 20.0).efficiency_pct_gross.shape == (2, 3)


def test_some_rows_can_be_taken_out() -> None:
    rows = FuelRows.of(LIST, np.arange(len(LIST)))[3:5]
    assert rows.co2_max_pct.tolist() == [LIST[3].co2_max_pct, LIST[4].co2_max_pct]


@pytest.mark.parametrize(
    ("fuels", "index", "words"),
    [
        ([], [0], "fuels: there are none"),
        (LIST[:2], [0, 2], "index: reaches from 0 to 2, but there are 2 fuels"),
        (LIST[:2], [-1], "index: reaches from -1 to -1"),
        (LIST[:2], [0.5], "index: holds float64"),
    ],
)
def test_refuses_rows_and_says_why(fuels: list[Any], index: list[Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        FuelRows.of(fuels, np.array(index))


def test_no_rows_burn_nothing() -> None:
    assert FuelRows.of(LIST, np.array([], dtype=int)).co2_max_pct.shape == (0,)


def test_any_whole_numbers_may_be_an_index() -> None:
    for kind in (np.int8, np.uint16):
        assert FuelRows.of(LIST, np.array([1, 0], dtype=kind)).carbon.tolist() == [LIST[1].carbon, LIST[0].carbon]


def test_figures_belong_to_rows_and_say_what_they_are() -> None:
    with pytest.raises(AttributeError, match="carbon belongs to rows"):
        _ = FuelRows.carbon
    assert FuelRows.__dict__["carbon"].__doc__ == "`Fuel.carbon` of each row."
