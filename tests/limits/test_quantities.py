"""How each quantity, basis and unit is read: the measure as plain data, the words, and what is needed instead.

Bases are held against fixtures/reference/limit_sets.json. Densities for mg/m3 at 0 degC and 101.325 kPa follow from the
molar masses (CO 28.010, NO2 46.006 g/mol) over 22.414 l/mol.
"""

import dataclasses
import json

import pytest

from fleet.limits.quantities import (
    ANY_RATES,
    DILUTIONS,
    MG_M3_PER_PPM,
    NEEDS,
    NOMINAL_RATES,
    OUTSIDE_THE_FLUE,
    PLAIN_FIELDS,
    Measure,
    Reading,
    figure,
    measure_for,
)
from fleet.presentation.codes import LABELS, quantity_label
from tests.limits.cast import FIXTURES, needs_words

REFERENCE = json.loads((FIXTURES / "reference" / "limit_sets.json").read_text())
LIMITS = [limit for entry in REFERENCE["profiles"] for limit in entry["limits"]]


def measure(field, **more):
    """A measure that takes the field as it is, but for what is said otherwise."""
    return Measure(field, **more)


def by_o2(field, in_air, reference, per_ppm=1.0):
    return measure(field, factor=per_ppm * (in_air - reference), scaled_by="o2_pct", o2_in_air_pct=in_air)


@pytest.mark.parametrize(
    ("quantity", "basis", "unit", "wanted"),
    [
        ("co", None, None, measure("co_ppm")),
        ("co", "", "ppm", measure("co_ppm")),
        ("co", "as_measured", "ppmv", measure("co_ppm")),
        ("nox", "dry", "ppmvd", measure("nox_ppm")),
        ("co", "upstream_of_draught_control", "ppm", measure("co_ppm")),
        ("co", "air_free", "ppm", by_o2("co_ppm", 20.9, 0.0)),
        ("co", "as_measured_or_air_free", "ppm", by_o2("co_ppm", 20.9, 0.0)),
        ("co", "undiluted", "ppm", by_o2("co_ppm", 21.0, 0.0)),
        ("co", "undiluted_dry", "ppm", by_o2("co_ppm", 21.0, 0.0)),
        ("nox", "dry_at_3_pct_o2", "ppm", by_o2("nox_ppm", 20.9, 3.0)),
        ("co", "dry_at_7_pct_o2", "ppm", by_o2("co_ppm", 20.9, 7.0)),
        ("co", "dry_at_3_pct_o2", "mg/m3", by_o2("co_ppm", 20.9, 3.0, 1.25)),
        ("nox", "dry_at_3_pct_o2", "mg/Nm3", by_o2("nox_ppm", 20.9, 3.0, 2.0525)),
        ("nox", "dry", "mg/m3", measure("nox_ppm", factor=2.0525)),
        ("co", "per_kwh", "mg/kWh", measure("co_mg_per_kwh")),
        ("nox", None, "mg/kWh", measure("nox_mg_per_kwh")),
        ("co_ppm_air_free", "air_free", "ppm", by_o2("co_ppm", 20.9, 0.0)),
        ("co_co2_ratio", None, None, measure("co_ppm", factor=1e-4, scaled_by="co2_pct")),
        ("o2", "dry", "vol%", measure("o2_pct")),
        ("o2", None, None, measure("o2_pct")),
        ("o2", "air_inlet", "vol%", measure("intake_o2_pct")),
        ("co2", "dry", "vol%", measure("co2_pct")),
        ("combustion_efficiency", "gross_assumed", "%", measure("efficiency_pct_gross")),
        ("combustion_efficiency", "net", "%", measure("efficiency_pct_net")),
        ("soot_number", "mean_of_three", "1", measure("smoke_spot", whole=True)),
        ("soot_number", "all_three_filters", "1", measure("smoke_spot")),
        ("flame", "as_measured", None, measure("flame", in_flue=False)),
        ("spillage_or_condensation", None, None, measure("spillage_or_condensation", in_flue=False)),
        ("excess_air_ratio", "dry", None, measure("excess_air_ratio")),
    ],
)
def test_a_quantity_on_a_basis_in_a_unit_is_read_so(quantity, basis, unit, wanted):
    made = measure_for(quantity, basis, unit)
    assert (made.measure, made.needs) == (wanted, None)
    assert [type(each) for each in vars(made.measure).values()] == [type(each) for each in vars(wanted).values()]


@pytest.mark.parametrize(
    ("quantity", "field", "words", "in_flue"),
    [
        ("ambient_co", "ambient_co_ppm", "CO in the room", False),
        ("ambient_co_rise", "ambient_co_rise_ppm", "rise of CO in the room", False),
        ("co_trend_in_test", "co_while_rising_ppm", "rising CO", True),
        ("flue_loss", "flue_loss_pct", "flue loss", True),
        ("flue_temp", "flue_temp_c", "flue temperature", True),
        ("draught", "draught_pa", "draught", True),
        ("soot_number", "smoke_spot", "smoke spot", True),
        ("smoke", "smoke_spot", "smoke spot", True),
        ("spillage_time", "spillage_min", "spillage time", False),
        ("oil_derivatives", "oil_derivatives", "oil derivatives", True),
        ("spillage_or_condensation", "spillage_or_condensation", "spillage or condensation", False),
        ("flame", "flame", "flame", False),
        ("co2", "co2_pct", "CO₂", True),
        ("excess_air_ratio", "excess_air_ratio", "excess air ratio", True),
    ],
)
def test_what_is_read_straight_from_one_field(quantity, field, words, in_flue):
    assert measure_for(quantity, "as_measured", None) == Reading(measure(field, in_flue=in_flue))
    assert quantity_label(quantity, "as_measured") == words
    assert len(PLAIN_FIELDS) == 14
    assert (field in OUTSIDE_THE_FLUE) != in_flue


@pytest.mark.parametrize(
    ("quantity", "basis", "unit", "needs"),
    [
        ("co", "qa", "ppm", "needs CO by the regulation's own coefficients, which no reading shows"),
        ("nox", "air_free", "lb/MMBtu", "needs NOx in lb/MMBtu, which isn't known here"),
        ("co_ppm_air_free", "air_free", "%", "needs CO in %, which isn't known here"),
        ("combustion_efficiency", "seasonal", "%", "needs the efficiency seasonal"),
        ("combustion_efficiency", None, "%", "needs the efficiency as measured"),
        ("ambient_co_twa8h", "ambient", "ppm", "needs an 8 h average of CO in the room"),
        ("ambient_co_8h", "ambient", "ppm", "needs an 8 h average of CO in the room"),
        ("ambient_co_15min", "ambient", "ppm", "needs a 15 min average of CO in the room"),
        ("ambient_co_24h", "ambient", "ppm", "needs a 24 h average of CO in the room"),
        ("o2_trim_setpoint", None, None, "needs the O₂ trim set-point of the control"),
        ("examination_26_9", None, None, "needs an examination of the appliance, not a reading"),
        ("gas_colour", None, None, "needs gas colour, which no reading shows"),
    ],
)
def test_what_no_reading_shows_says_what_would_be_needed(quantity, basis, unit, needs):
    made = measure_for(quantity, basis, unit)
    assert (made.measure, needs_words(made.needs, quantity, basis)) == (None, needs)


@pytest.mark.parametrize(
    ("quantity", "basis", "words"),
    [
        ("co", None, "CO"),
        ("co", "as_measured", "CO"),
        ("co", "air_free", "CO air-free"),
        ("co", "undiluted", "CO air-free"),
        ("co", "dry_at_3_pct_o2", "CO at 3 % O₂"),
        ("co", "dry_at_7_pct_o2", "CO at 7 % O₂"),
        ("co_ppm_air_free", "air_free", "CO air-free"),
        ("nox", "dry", "NOx"),
        ("nox", "air_free", "NOx"),
        ("nox", "dry_at_3_pct_o2", "NOx at 3 % O₂"),
        ("o2", "dry", "O₂"),
        ("o2", "air_inlet", "intake O₂"),
        ("co_co2_ratio", None, "CO/CO₂ ratio"),
        ("combustion_efficiency", "net", "combustion efficiency"),
        ("o2_trim_setpoint", None, "O₂ trim set-point"),
        ("co_and_o2_pair", None, "CO and O₂ before and after"),
        ("examination_26_9", None, "examination"),
        ("ambient_co_twa8h", None, "8 h average of CO in the room"),
        ("ambient_co_8h", None, "8 h average of CO in the room"),
        ("ambient_co_15min", None, "15 min average of CO in the room"),
        ("ambient_co_24h", None, "24 h average of CO in the room"),
        ("gas_colour", None, "gas colour"),
        ("gas_colour", "dry_at_3_pct_o2", "gas colour at 3 % O₂"),
    ],
)
def test_quantities_in_words(quantity, basis, words):
    assert quantity_label(quantity, basis) == words


def test_the_bases_are_those_of_the_reference():
    wordings = REFERENCE["comparison_bases"]
    trade, german = 20.9, 21.0
    assert {
        "air_free": (0.0, trade),
        "as_measured_or_air_free": (0.0, trade),
        "undiluted": (0.0, german),
        "undiluted_dry": (0.0, german),
        "dry_at_3_pct_o2": (3.0, trade),
        "dry_at_7_pct_o2": (7.0, trade),
        "as_measured": None,
        "dry": None,
        "upstream_of_draught_control": None,
    } == DILUTIONS
    assert wordings["air_free"] == "c*20.9/(20.9-O2)"
    assert wordings["dry_at_3_pct_o2"] == "c*(20.9-3)/(20.9-O2)"
    assert wordings["dry_at_7_pct_o2"] == "c*(20.9-7)/(20.9-O2)"
    assert wordings["undiluted_dry"].startswith("c*21/(21-O2)")


def test_the_words_for_rates_are_those_of_the_sets():
    named = {limit["firing_rate"] for limit in LIMITS}
    assert set(ANY_RATES) <= named
    assert set(NOMINAL_RATES) <= named
    assert named - {*ANY_RATES, *NOMINAL_RATES} == {"low", "type test"}
    assert (len(ANY_RATES), len(NOMINAL_RATES)) == (5, 5)


def test_every_quantity_of_the_sets_has_its_words():
    """Its own, or the words that it is spelt with."""
    asked = {limit["quantity"] for limit in LIMITS}
    assert asked - set(LABELS) <= {*PLAIN_FIELDS, "combustion_efficiency"}
    assert set(NEEDS) <= set(LABELS)


@pytest.mark.parametrize(("gas", "grams_per_mole"), [("co", 28.010), ("nox", 46.006)])
def test_a_ppm_in_mg_per_cubic_metre_is_the_molar_mass_over_the_molar_volume(gas, grams_per_mole):
    assert MG_M3_PER_PPM[gas] == pytest.approx(grams_per_mole / 22.414, rel=5e-4)


def test_a_reading_keeps_what_it_was_made_of():
    with pytest.raises(dataclasses.FrozenInstanceError):
        measure_for("co", None, None).needs = "something"


@pytest.mark.parametrize(
    ("value", "quantity", "limits", "shown"),
    [
        (None, "co", (), "-"),
        ("", "co", (), "-"),
        ("trace", "co", (), "trace"),
        (109.7, "co_ppm_air_free", (), "110"),
        (11.408, "co2", (), "11.41"),
        (5.04, "o2", (), "5.0"),
        (1.0, "soot_number", (), "1"),
        (0.0, "co", (), "0"),
        (250.04, "co", (250.0,), "250.04"),
        (250.04, "co", (None, 251.0), "250"),
        (250.0, "co", (250.0,), "250"),
        (250.0004, "co", (250.0,), "250.0004"),
        (-12.04, "draught", (), "\u221212.0"),
        (-0.04, "draught", (), "0.0"),
        (123456.7, "co", (), "123\u202f457"),
        (1.0004, "a_quantity_of_no_row", (1.0,), "1.0004"),
    ],
)
def test_a_figure_has_its_quantitys_decimals_or_as_many_as_tell_it_from_its_limit(value, quantity, limits, shown):
    assert figure(value, quantity, *limits) == shown
