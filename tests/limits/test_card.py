import json
from dataclasses import replace

import pytest

from fleet.combustion import FUELS, Fuel
from fleet.limits import FUEL_CLASSES, SEVERITIES, Card, evaluate, fuel_class
from fleet.limits.decision import MARGINS
from fleet.limits.quantities import measure_for
from fleet.presentation.verdicts import set_words
from tests.limits.cast import (
    ANALYSER,
    FIXTURES,
    LIMIT_SETS,
    STOP_LEVELS,
    adjuster,
    make_card,
    one_limit_set,
    reading,
    sheet,
    target,
)

REFERENCE = json.loads((FIXTURES / "reference" / "limit_sets.json").read_text())
READINGS = [
    reading(key="r1", rate="high", phase="as_found", co2_pct=9.02, nox_ppm=20.0, ambient_co_ppm=2.0),
    reading(key="r2", rate="low", phase="as_found", co2_pct=None, o2_pct=5.2, taken_order=2, co_ppm=500.0),
    reading(key="r3", rate="high", phase="as_left", co2_pct=9.19, taken_order=3, flue_loss_pct=9.4),
    reading(key="r4", rate="low", phase="between", co2_pct=9.0, taken_order=4, invalid=True, smoke_spot=1.4),
    reading(key="r5", co2_pct=None, o2_pct=18.6, taken_order=5, spillage_min=3.0),
]


def test_there_are_36_limit_sets():
    assert len(LIMIT_SETS) == 36


@pytest.mark.parametrize("fuel", ["natural_gas", "propane", "light_oil", "methane"])
@pytest.mark.parametrize("set_id", LIMIT_SETS)
def test_every_set_compiles_and_no_limit_is_lost(set_id, fuel):
    made = make_card(set_id, fuel=fuel)
    listed = {row.limit_id for row in made.limits} | {entry["id"] for entry in made.left_out}
    assert listed == {limit["id"] for limit in LIMIT_SETS[set_id]["limits"]}
    said = evaluate(made, READINGS)
    judged = {verdict.limit_id for verdict in said.verdicts}
    assert {row.limit_id for row in made.limits} <= judged


def test_all_sets_together_judge_alike_after_a_round_trip_through_json():
    made = make_card(*LIMIT_SETS, facts={"output_kw": 24, "appliance": "boiler", "new_plant": True})
    again = Card.of_json(json.loads(json.dumps(made.as_json(), allow_nan=False)))
    assert again.as_json() == made.as_json()
    assert evaluate(again, READINGS).as_json() == evaluate(made, READINGS).as_json()
    assert json.loads(json.dumps(evaluate(made, READINGS).as_json(), allow_nan=False))["stop"] is True


def test_severities_are_those_of_the_sets_in_their_order():
    assert [word for word in SEVERITIES if word != "stop_firing"] == REFERENCE["severities"]


def test_every_basis_of_the_sets_is_read_or_says_what_it_needs():
    for entry in LIMIT_SETS.values():
        for limit in entry["limits"]:
            made = measure_for(limit["quantity"], limit["basis"], limit["unit"])
            assert (made.measure is None) == bool(made.needs)


def test_a_card_without_sheet_sets_or_analyser_still_has_stop_levels():
    made = make_card(the_sheet={}, analyser=None)
    said = evaluate(made, [reading(co_ppm=600.0)])
    assert said.stop
    assert (said.strictest.set_name, set_words("")) == ("", "the contractor's stop levels")


@pytest.mark.parametrize(
    "lines",
    [
        {},
        {**STOP_LEVELS, "co_ppm_air_free": None},
        {**STOP_LEVELS, "ambient_co_ppm": 0},
        {**STOP_LEVELS, "co_ppm_air_free": -1},
        {**STOP_LEVELS, "co_ppm_air_free": "high"},
    ],
)
def test_stop_levels_are_never_empty(lines):
    with pytest.raises(ValueError, match=r"."):
        make_card(stop_levels=lines)


def test_a_limit_for_another_fuel_is_left_out_and_listed_with_the_fact():
    made = make_card("it-dpr74")
    assert [entry["id"] for entry in made.left_out] == ["it-smoke"]
    assert made.left_out[0]["facts"] == {"fuel": "natural_gas"}


def test_a_limit_whose_predicate_is_open_stays_with_the_missing_fact():
    made = make_card("us-residential-co-safety")
    unrecorded = {row.limit_id: row.unrecorded for row in made.limits}
    assert unrecorded["nf-boiler"] == ["appliance"]
    assert unrecorded["nf-spill-warm"] == ["vent", "vent_state"]
    assert unrecorded["bpi-amb-stop"] == []
    assert {row.applies for row in made.limits if row.unrecorded} == {"unclear"}
    assert {row.applies for row in made.limits if not row.unrecorded} == {"yes"}


def test_output_picks_one_of_the_three_flue_loss_limits():
    made = make_card(
        "de-1bimschv", the_sheet=sheet(condensing=False, targets=[], adjusters=[]), facts={"output_kw": 25}
    )
    assert [row.limit_id for row in made.limits] == ["qa-4-25"]


def test_condensing_appliances_have_no_flue_loss_limit():
    assert make_card("de-1bimschv", facts={"output_kw": 24}).limits == []


def test_heat_input_in_btu_is_counted_on_the_gross_value():
    big = sheet(rated_input_kw="14000", input_basis="net", targets=[], adjusters=[])
    made = make_card("us-nj-7-27-19.16", the_sheet=big)
    # 50 million Btu/h are 14 654 kW gross, some 13 200 kW net on natural gas.
    assert [row.limit_id for row in made.limits] == ["nj-co-50"]
    assert made.facts["heat_input_mmbtu_h"] == pytest.approx(53, abs=0.5)


def test_the_relaxed_rule_never_reaches_a_stop_action():
    stop = one_limit_set("subtract_uncertainty", severity="shut_down")
    mild = one_limit_set("subtract_uncertainty", severity="out_of_limit")
    assert make_card(stop).limits[0].decision_rule == "simple"
    assert make_card(mild).limits[0].decision_rule == "relaxed"


def test_a_calculated_co2_is_as_uncertain_as_its_o2():
    accuracy = make_card().analyser.accuracy
    # 0.3 points of O2 are about 0.17 points of CO2 (computed from the slope of the fuel's line).
    assert accuracy["co2_pct"].absolute == pytest.approx(0.17, abs=0.005)


def test_limits_keep_their_own_unit_and_basis():
    made = make_card("de-44bimschv-small", facts={"new_plant": True})
    row = next(row for row in made.limits if row.limit_id == "b44-gas-co-new")
    assert (row.unit, row.basis, row.upper) == ("mg/m3", "dry_at_3_pct_o2", 80.0)
    assert row.decision_rule == "add_uncertainty"


def test_a_ceiling_on_smoke_is_read_off_the_smoke_spot():
    smoke = sheet(ceilings=[{"quantity": "smoke", "value": "1", "unit": "1", "rate": "any"}])
    (ceiling,) = evaluate(make_card(the_sheet=smoke), [reading(smoke_spot=6.0)]).findings
    assert (ceiling.kind, ceiling.label, ceiling.value) == ("ceiling", ["smoke", {}], 6.0)


@pytest.mark.parametrize(("given", "kept"), [({}, None), ({"largest_step_turns": "0.25"}, 0.25)])
def test_the_largest_step_is_kept_as_a_number_of_turns(given, kept):
    made = make_card(the_sheet=sheet(adjusters=[adjuster("high", "clockwise", **given)]))
    assert made.adjusters[0].largest_step_turns == kept


@pytest.mark.parametrize("fuel", FUELS)
def test_every_fuel_has_its_class_among_the_words_of_the_sets(fuel):
    assert make_card(fuel=fuel).facts["fuel"] == FUEL_CLASSES[fuel]


def test_gases_of_one_family_are_of_one_class_and_the_rest_stand_for_themselves():
    assert set(FUEL_CLASSES) == set(FUELS)
    assert {FUEL_CLASSES[each] for each in ("methane", "g222", "g27", "natural_gas_30_h2")} == {"natural_gas"}
    assert {FUEL_CLASSES[each] for each in ("propane", "butane", "lpg")} == {"lpg"}
    assert (FUEL_CLASSES["biogas"], FUEL_CLASSES["hydrogen"]) == ("biogas", "hydrogen")


def test_the_decision_rules_travel_with_the_card():
    assert json.loads(json.dumps(make_card().margins)) == {rule: list(shares) for rule, shares in MARGINS.items()}


def test_numbers_may_be_strings():
    made = make_card(the_sheet=sheet(targets=[target(value=9.2, tolerance=0.2)]))
    assert made.bands == make_card(the_sheet=sheet(targets=[target()])).bands


def test_a_placeholder_without_a_figure_says_what_is_missing():
    rows = make_card("generic-appliance-target").limits
    assert [row.needs for row in rows] == [["needs_figure", {}]] * len(rows)
    assert rows


@pytest.mark.parametrize(
    "broken",
    [
        {"targets": [target(basis="percent")]},
        {"targets": [target(rate="middle")]},
        {"targets": [target(quantity="co")]},
        {"targets": [target(casing="half")]},
        {"adjusters": [adjuster("high", "left")]},
        {"adjusters": [adjuster("middle", "clockwise")]},
        {"adjusters": [adjuster("high", "clockwise", field_adjustment="perhaps")]},
        {"adjusters": [adjuster("high", "clockwise", largest_step_turns="0")]},
        {"adjusters": [adjuster("high", "clockwise", largest_step_turns="half")]},
        {"ceilings": [{"quantity": "co", "value": "many", "unit": "ppm", "rate": "any"}]},
        {"ceilings": [{"quantity": "co", "value": "9", "unit": "ppm", "rate": "any", "severity": "bad"}]},
        {"control": "by_hand"},
        {"input_basis": None},
    ],
)
def test_a_sheet_that_cannot_be_read_is_refused(broken):
    with pytest.raises(ValueError, match=r"."):
        make_card(the_sheet=sheet(**broken))


@pytest.mark.parametrize(
    "broken", [{"severity": "bad"}, {"fires_when": {"op": "near", "value": 3}}, {"decision_rule": "generous"}]
)
def test_a_limit_that_cannot_be_read_is_refused(broken):
    with pytest.raises(ValueError, match=r"."):
        make_card(one_limit_set(**broken))


def test_an_analyser_says_where_its_co2_comes_from():
    with pytest.raises(ValueError, match="CO2"):
        make_card(analyser={**ANALYSER, "co2": "guessed"})


def test_a_card_of_another_version_is_refused():
    with pytest.raises(ValueError, match="version"):
        evaluate(replace(make_card(), card_version=1), [])


@pytest.mark.parametrize(
    ("composition", "expected"),
    [
        ({"CH4": 0.85, "H2": 0.15}, "natural_gas"),
        ({"C3H8": 0.7, "nC4": 0.3}, "lpg"),
        ({"CH4": 0.5, "CO2": 0.5}, "biogas"),
        ({"CH4": 0.02, "H2": 0.98}, "hydrogen"),
        ({"CH4": 0.4, "H2": 0.6}, None),
        ({"CO": 0.4, "N2": 0.6}, None),
        ({"H2": 0.9, "CH4": 0.1}, "hydrogen"),
        ({"H2": 0.899, "CH4": 0.101}, None),
        ({"CO2": 0.2, "CH4": 0.8}, "biogas"),
        ({"CO2": 0.199, "CH4": 0.801}, None),  # its Wobbe index lies below the second family
        ({"CO2": 0.6, "CH4": 0.25, "N2": 0.15}, None),
        ({"CO2": 0.5, "CH4": 0.25, "N2": 0.25}, None),
        ({"CO2": 0.6, "CO": 0.4}, None),
        ({"H2": 0.3, "CH4": 0.7}, "natural_gas"),
        ({"H2": 0.302, "CH4": 0.698}, None),
    ],
)
def test_a_gas_by_composition_counts_as_its_family(composition, expected):
    """Families of EN 437 by gross Wobbe index at 15 C: second 39.1 to 54.7, third 72.9 to 87.3 MJ/m3, from memory."""
    assert fuel_class(Fuel.from_composition("gas of the place", composition)) == expected


def test_a_liquid_that_nobody_knows_has_no_class_so_that_no_limit_is_left_out():
    heavy = Fuel.from_ultimate_analysis("heavy oil", {"C": 0.87, "H": 0.11, "S": 0.02}, 43.0)
    assert fuel_class(heavy) is None
