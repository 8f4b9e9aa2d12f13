"""A whole card and all that is said by it, held against what was read through once by eye: whole_card.json beside this.

The card is the check sheet with an order, three ceilings, two limit sets and an analyser that measures O2. Figures of
the fuel are those of its room, to nine digits; everything else is held to the letter.
"""

import json
from pathlib import Path

import pytest

from fleet.combustion import FUELS
from fleet.limits import Card, Row, Verdict, card, evaluate
from fleet.limits.card import CO_RISE_PPM, CONTROLS, FAMILIES, KW_PER_MMBTU_H, TURNS, known_facts, rates
from fleet.limits.cases import read_cases
from fleet.presentation.verdicts import verdict_sentence
from tests.limits.cast import ANALYSER, STOP_LEVELS, adjuster, make_card, order_rule, reading, sheet, target

EXPECTED = json.loads((Path(__file__).parent / "whole_card.json").read_text())


def whole_card():
    page = sheet(
        targets=[target(casing="closed"), target("low", "9.0", "2", "percent_of_target"), target("high", quantity="o2",
                 value="4.4", tolerance="0.6", basis="range")],
        order_rules=[order_rule(least_gap="0.1")],
        ceilings=[
            {"quantity": "co_ppm_air_free", "value": "350", "unit": "ppm", "rate": "any", "action": "off"},
            {"quantity": "nox", "value": "40", "unit": "ppm", "basis": "dry_at_3_pct_o2", "rate": "low"},
            {"quantity": "flue_temp", "value": 80, "unit": "degC", "severity": "advise"},
        ],
        adjusters=[adjuster("high", "anticlockwise", largest_step_turns="0.25"),
                   adjuster("low", "clockwise", sealed=True, field_adjustment="check_only", who="the manufacturer")],
    )  # fmt: skip
    facts = {"Appliance": "boiler", "output_kw": 24, "new_plant": True}
    return make_card("uk-bs7967-in-service", "us-residential-co-safety", the_sheet=page, facts=facts)


READINGS = [
    reading(key="r1", co2_pct=9.02, nox_ppm=20.0, ambient_co_before_ppm=1.0, ambient_co_ppm=2.0, flue_temp_c=81.0),
    reading(key="r2", rate="low", co2_pct=None, o2_pct=5.2, taken_order=2, co_ppm=500.0, flame="lifting"),
    reading(key="r3", phase="as_left", co2_pct=9.19, taken_order=3, casing="open", nox_ppm=39.0),
    reading(key="r4", rate="low", phase="as_left", co2_pct=9.0, taken_order=4, invalid=True, spillage_min=3.0),
    reading(key="r5", co2_pct=None, o2_pct=18.6, taken_order=5, co_ppm=30.0),
    reading(key="r6", rate="low", phase="as_left", co2_pct=8.9, taken_order=6, qualifiers={"co": "more_than"}),
]


def alike(seen, expected):
    """Equal to the letter, but for floats, which are equal to nine digits."""
    if isinstance(expected, dict):
        return list(seen) == list(expected) and all(alike(seen[name], each) for name, each in expected.items())
    if isinstance(expected, list):
        return len(seen) == len(expected) and all(map(alike, seen, expected))
    if isinstance(expected, float):
        return isinstance(seen, float) and seen == pytest.approx(expected, rel=1e-9)
    return type(seen) is type(expected) and seen == expected


@pytest.mark.parametrize("part", EXPECTED["card"])
def test_each_part_of_the_card_is_as_it_was_read_through(part):
    made = json.loads(json.dumps(whole_card().as_json()))
    assert list(made) == list(EXPECTED["card"])
    assert alike(made[part], EXPECTED["card"][part])


def test_a_card_read_again_is_the_same_and_no_row_says_what_is_no_field():
    made = whole_card()
    assert Card.of_json(json.loads(json.dumps(made.as_json()))) == made
    assert {name for row in made.rows for name in vars(row)} <= set(Row.__dataclass_fields__)


def test_all_that_is_said_of_six_readings_is_as_it_was_read_through():
    said = json.loads(json.dumps(evaluate(whole_card(), READINGS).as_json()))
    sentences = EXPECTED["sentences"]
    assert [verdict_sentence(Verdict(each)) for each in said["verdicts"]] == sentences
    names = EXPECTED["said"]["derived"][0]
    derived = [{name: each.get(name) for name in names} for each in read_cases(whole_card(), READINGS)]
    assert alike(said | {"derived": derived}, EXPECTED["said"])


# --- what a card takes from what it is given -------------------------------------------------------------


def test_a_card_of_nothing_but_stop_levels_is_empty_in_all_else():
    made = card(None, [], None, fuel=FUELS["natural_gas"], stop_levels=STOP_LEVELS).as_json()
    empty = ("bands", "orders", "ceilings", "limits", "left_out", "adjusters")
    assert {name: made[name] for name in empty} == {name: [] for name in empty}
    assert made["sheet"] == {
        "id": "", "version": "", "name": "", "control": None, "condensing": None, "rates": [],
    }  # fmt: skip
    assert made["analyser"] == {"id": "", "name": "", "measures": [], "co2": "absent", "accuracy": {}}
    assert made["facts"] == {"fuel": "natural_gas"}
    assert made["co_rise_ppm"] == CO_RISE_PPM == 5.0
    assert card(None, [], None, fuel=FUELS["lpg"], stop_levels={**STOP_LEVELS, "co_rise_ppm": "8"}).co_rise_ppm == 8.0


def test_rates_are_a_list_of_the_sheets_own():
    assert (rates({}), rates({"rates": ("high", "low")})) == ([], ["high", "low"])


@pytest.mark.parametrize(
    ("page", "facts", "known"),
    [
        ({}, {}, {"fuel": "natural_gas"}),
        ({"condensing": False}, {}, {"fuel": "natural_gas", "condensing": False}),
        ({"control": "linkage"}, {}, {"fuel": "natural_gas", "control": "linkage", "self_calibrating": False}),
        ({"control": "self_adapting"}, {},
         {"fuel": "natural_gas", "control": "self_adapting", "self_calibrating": True}),
        ({"condensing": True}, {"Condensing": False, "ROOM": "cellar"},
         {"fuel": "natural_gas", "condensing": False, "room": "cellar"}),
        ({}, {"fuel": "propane"}, {"fuel": "lpg"}),
        ({}, {"fuel": "peat"}, {"fuel": "peat"}),
        ({}, {"fuel": "light_oil"}, {"fuel": "oil_light"}),
    ],
)  # fmt: skip
def test_what_predicates_may_ask_for(page, facts, known):
    assert known_facts(page, FUELS["natural_gas"], facts) == known


def test_a_rated_input_is_counted_on_the_gross_value_in_million_btu():
    # 1 Btu (International Table) is 1055.05585262 J, so a million of them an hour are 293.07107 kW.
    assert pytest.approx(1e6 * 1.05505585262 / 3600, rel=1e-8) == KW_PER_MMBTU_H
    fuel = FUELS["natural_gas"]
    gross = known_facts({"rated_input_kw": "293.07107", "input_basis": "gross"}, fuel, {})
    assert gross["heat_input_mmbtu_h"] == pytest.approx(1.0)
    net = known_facts({"rated_input_kw": "293.07107", "input_basis": "net"}, fuel, {})
    assert net["heat_input_mmbtu_h"] == pytest.approx(fuel.hhv_kj_mol / fuel.lhv_kj_mol)


@pytest.mark.parametrize(
    ("page", "analyser", "said"),
    [
        ({"control": "by_hand"}, {}, "unknown air/fuel control: 'by_hand'"),
        ({"input_basis": "upper"}, {}, "the basis of the rated input must be net or gross, not 'upper'"),
        ({"input_basis": None}, {}, "the basis of the rated input must be net or gross, not None"),
        ({"adjusters": [adjuster("high", "left")]}, {},
         "which way raises CO2 must be clockwise or anticlockwise, not 'left'"),
        ({"adjusters": [adjuster("high", None)]}, {},
         "which way raises CO2 must be clockwise or anticlockwise, not None"),
        ({"adjusters": [adjuster("high", "clockwise", field_adjustment="perhaps")]}, {},
         "field adjustment is allowed or check only, not 'perhaps'"),
        ({"adjusters": [adjuster("middle", "clockwise")]}, {},
         "the adjuster's rate 'middle' is not one of the sheet's rates"),
        ({"adjusters": [adjuster("high", "clockwise", largest_step_turns="0")]}, {},
         "the largest step must be a number of turns above zero, not '0'"),
        ({"adjusters": [adjuster("high", "clockwise", largest_step_turns=-1)]}, {},
         "the largest step must be a number of turns above zero, not -1"),
        ({}, {"co2": "guessed"}, "an analyser's CO2 is measured, calculated or absent, not 'guessed'"),
        ({}, {"accuracy": {"o2": {"absolute": "much"}}}, "not a number: 'much'"),
    ],
)  # fmt: skip
def test_what_a_card_cannot_be_made_of_is_named(page, analyser, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        make_card(the_sheet=sheet(**page), analyser={**ANALYSER, **analyser})


@pytest.mark.parametrize(
    "control", [None, "pneumatic_ratio", "self_adapting", "linkage", "fixed_atmospheric", "oil_pressure_jet"]
)
def test_a_control_is_one_of_the_five_or_unknown(control):
    assert make_card(the_sheet=sheet(control=control)).sheet.control == control
    assert (len(CONTROLS), TURNS) == (5, ("clockwise", "anticlockwise"))


def test_an_adjuster_that_says_little_is_allowed_and_its_words_are_empty():
    (made,) = make_card(the_sheet=sheet(adjusters=[{"rate": "any", "raises_co2": "clockwise"}])).adjusters
    assert vars(made) == {
        "name": "", "place": "", "tool": "", "who": "", "reseal": "", "largest_step": "", "largest_step_turns": None,
        "rate": "any", "raises_co2": "clockwise", "sealed": False, "field_adjustment": "allowed",
    }  # fmt: skip


def accuracy_of(**more):
    return make_card(analyser={**ANALYSER, **more}).as_json()["analyser"]["accuracy"]


def test_accuracies_go_by_the_fields_of_a_reading():
    plain = {"absolute": 1.0, "relative_pct": 2.0}
    names = ("o2", "co2", "co", "nox", "ambient_co", "flue_temp", "air_temp", "flue_loss", "draught")
    made = accuracy_of(co2="measured", accuracy={name: {"absolute": 1, "relative_pct": "2"} for name in names})
    assert made == dict.fromkeys(
        ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "ambient_co_ppm", "flue_temp_c", "air_temp_c", "flue_loss_pct",
         "draught_pa"), plain,
    )  # fmt: skip
    assert accuracy_of(co2="measured", accuracy={"smoke_spot": {}}) == {
        "smoke_spot": {"absolute": 0.0, "relative_pct": 0.0}
    }
    assert accuracy_of(accuracy=None) == {}


@pytest.mark.parametrize("co2", ["calculated", "absent", None])
def test_a_co2_that_is_not_measured_is_as_uncertain_as_the_o2_it_comes_from(co2):
    fuel = vars(whole_card().fuel)
    slope = (fuel["co2_max_pct"] - fuel["co2_air_pct"]) / fuel["o2_air_pct"]
    made = accuracy_of(co2=co2, accuracy={"o2": {"absolute": 0.3}, "co2": {"absolute": 9}})
    assert made["co2_pct"] == {"absolute": pytest.approx(0.3 * slope), "relative_pct": 0.0}
    by_share = accuracy_of(co2=co2, accuracy={"o2": {"absolute": 0.1, "relative_pct": 2}})
    assert by_share["co2_pct"]["absolute"] == pytest.approx(0.02 * fuel["o2_air_pct"] * slope)
    assert accuracy_of(co2="measured", accuracy={"o2": {"absolute": 0.3}}).keys() == {"o2_pct"}


@pytest.mark.parametrize(
    ("figures", "provable"),
    [
        ({"absolute": "0.243"}, True),  # 0.2 / (1.6449 / 2) = 0.24318
        ({"absolute": "0.2434"}, False),
        ({"relative_pct": "2.58"}, True),  # of 9.4 %, the band's upper end: 0.2425
        ({"relative_pct": "2.6"}, False),  # 0.2444
    ],
)
def test_whether_a_band_can_be_proven_is_judged_at_its_upper_end(figures, provable):
    made = make_card(analyser={**ANALYSER, "co2": "measured", "accuracy": {"co2": figures}})
    assert made.bands[0].provable is provable


def test_a_band_open_on_a_side_can_always_be_proven_and_one_without_accuracy_is_not_judged():
    for end in ("lower", "upper"):
        page = sheet(targets=[{"rate": "high", "quantity": "co2", end: "9.0", "tolerance_basis": "range"}])
        made = make_card(the_sheet=page, analyser={**ANALYSER, "accuracy": {"o2": {"absolute": 5}}})
        assert made.bands[0].provable is True
    assert make_card(analyser=None).bands[0].provable is None


def test_the_families_of_gases():
    """By gross Wobbe index at 15 C [MJ/m3] (EN 437, from memory)."""
    assert FAMILIES == {"natural_gas": (39.1, 54.7), "lpg": (72.9, 87.3)}


def test_a_sheet_without_a_name_has_none():
    named = sheet()
    del named["name"]
    assert make_card(the_sheet=named).sheet.name == ""
