"""The formula rows of fixtures/golden/interval_vectors.json, each with its own source, by the room's own code.

The vectors name their constants (CO2 maximum 11.8 %, O2 in air 20.9 %, dry products per air 0.895), so the card's
fuel constants are replaced by those.
"""

import json
from dataclasses import replace

import pytest

from fleet.combustion import LOSS_COEFFICIENTS, air_free, regulation_loss
from fleet.limits import evaluate
from fleet.limits.cases import read_cases
from tests.limits.cast import FIXTURES, make_card, of, one_limit_set, reading

VECTORS = {
    vector["name"]: vector
    for vector in json.loads((FIXTURES / "golden" / "interval_vectors.json").read_text())
    if vector["kind"] == "formula"
}
FUEL = {"co2_max_pct": 11.8, "co2_air_pct": 0.0, "o2_air_pct": 20.9, "dry_products_per_air": 0.895}


def card_and_readings(values):
    made = make_card(one_limit_set(quantity="nox", basis="dry_at_3_pct_o2"))
    given = {"o2_pct": None, "co2_pct": None, "co_ppm": None} | values
    return replace(made, fuel=replace(made.fuel, **FUEL)), [reading(**given)]


def said(**values):
    return evaluate(*card_and_readings(values))


def derived(name, **values):
    return read_cases(*card_and_readings(values))[0][name]


def excess_air_pct(o2_pct):
    return 100 * (derived("excess_air_ratio", o2_pct=o2_pct) - 1)


def nj_lb_per_mmbtu(co_ppm, o2_pct):
    """N.J.A.C. 7:27-19.16(a)6: air-free ppm times the molar mass of CO (28) and 8710 dscf per million Btu."""
    return float(air_free(co_ppm, o2_pct)) * 28 * 8710 / 387e6


COMPUTED = {
    "CO 100 ppm at O2 3 % -> air free": lambda: derived("co_ppm_air_free", o2_pct=3.0, co_ppm=100.0),
    "CO 400 air-free as ratio on gas (CO2max 11.8)": lambda: derived("co_co2_ratio", o2_pct=0.0, co_ppm=400.0),
    "NOx 20 ppm read at O2 6 % -> @3 %": lambda: of(said(o2_pct=6.0, nox_ppm=20.0), quantity="nox")[0].value,
    "CO2 from O2 5 % natural gas": lambda: derived("co2_pct", o2_pct=5.0),
    "350 ppm equals 0.0040 at CO2": lambda: 350 / (1e4 * 0.0040),
    "excess air at O2 5 % gas, percent": lambda: excess_air_pct(5.0),
    "excess air at O2 2 % gas, percent": lambda: excess_air_pct(2.0),
    "excess air at O2 10 % gas, percent": lambda: excess_air_pct(10.0),
    "qA gas 120/20 C, O2 3 %": lambda: float(
        regulation_loss(LOSS_COEFFICIENTS["de_2010_natural_gas"], 3.0, 120.0, 20.0)
    ),
    "NJ lb/MMBtu CO 100 ppmvd at O2 3 % gas": lambda: nj_lb_per_mmbtu(100.0, 3.0),
}


def test_every_formula_vector_is_computed():
    assert set(COMPUTED) == set(VECTORS)


@pytest.mark.parametrize("name", COMPUTED)
def test_the_formula_gives_the_published_figure(name):
    vector = VECTORS[name]
    assert COMPUTED[name]() == pytest.approx(vector["expect"], abs=vector["tol"])
