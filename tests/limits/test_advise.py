import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.combustion import FUELS, co2_pct_from_o2
from fleet.limits import Response, Step, advise
from fleet.presentation.advice import advice_words, turn_words, withheld_words
from tests.limits.cast import adjuster, make_card, one_limit_set, order_rule, reading, sheet, target


def advice(page=None, *, qualified=True, sets=(), **more):
    return advise(make_card(*sets, the_sheet=page), reading(**more), qualified=qualified)


def share_of_target():
    return sheet(
        targets=[target(tolerance="1", basis="percent_of_target"), target("low", "9.0", "1", "percent_of_target")]
    )


def test_the_check_set_up_turns_the_high_fire_screw_anticlockwise():
    said = advice(share_of_target(), co2_pct=9.02)
    assert (said.action, said.adjuster, said.direction) == ("adjust", "high fire screw", "anticlockwise")
    assert "0.18 points below its target 9.2 %, band 9.108 to 9.292 %" in advice_words(said)
    assert "at most 1/4 turn" in advice_words(said)
    assert "read high fire again, then low fire" in advice_words(said)
    assert "End the firing if CO air-free passes 400 ppm" in advice_words(said)


def test_as_left_needs_no_adjustment_and_tells_the_distance():
    said = advice(share_of_target(), co2_pct=9.19, phase="as_left")
    assert said.action == "none"
    assert advice_words(said) == (
        "No adjustment needed: CO₂ 9.19 % at high fire is 0.01 points below its target 9.2 %, band 9.108 to 9.292 %."
    )


def test_low_fire_on_its_target_needs_no_adjustment():
    said = advice(share_of_target(), rate="low", co2_pct=9.0)
    assert said.action == "none"
    assert "is on its target" in advice_words(said)


@pytest.mark.parametrize(
    ("rate", "co2_pct", "direction"),
    [
        ("high", 8.5, "anticlockwise"),
        ("high", 9.8, "clockwise"),
        ("low", 8.5, "clockwise"),
        ("low", 9.8, "anticlockwise"),
    ],
)
def test_each_screw_has_its_own_way_of_raising_co2(rate, co2_pct, direction):
    assert advice(rate=rate, co2_pct=co2_pct).direction == direction


@pytest.mark.parametrize(("o2_pct", "direction"), [(4.0, "clockwise"), (6.0, "anticlockwise")])
def test_an_o2_target_turns_the_other_way(o2_pct, direction):
    page = sheet(targets=[target(quantity="o2", value="5.0", tolerance="0.3")])
    assert advice(page, o2_pct=o2_pct, co2_pct=None).direction == direction


def test_stop_rules_come_before_everything():
    said = advice(qualified=False, co_ppm=900.0, invalid=True, co2_pct=8.0)
    assert said.action == "stop"
    assert "End the firing" in advice_words(said)
    assert said.adjuster is said.direction is None


def test_a_stop_earlier_in_the_visit_ends_the_advice():
    made = make_card()
    earlier = [reading(key="r0", taken_order=0, co_ppm=2000.0, co2_pct=9.2)]
    assert advise(made, reading(co2_pct=8.5), qualified=True, earlier=earlier).action == "stop"


@pytest.mark.parametrize(
    ("page", "more", "reason"),
    [
        (sheet(), {"invalid": True}, "invalid"),
        (sheet(), {"rate_proven": False}, "isn't proven"),
        (sheet(), {"steady": False}, "not steady"),
        (sheet(), {"sampling_point": "common_flue"}, "common flue"),
        (sheet(), {"o2_pct": 18.5, "co2_pct": None}, "mostly air"),
        (sheet(), {"co2_pct": None}, "no target"),
        (sheet(), {"rate": "middle"}, "no target"),
        (sheet(), {"co_ppm": None}, "lean from rich"),
        (sheet(targets=[target(casing="closed")]), {"casing": "open"}, "casing"),
        (sheet(), {"qualified": False}, "qualified"),
        (sheet(control="self_adapting"), {}, "adapts itself"),
        (sheet(adjusters=[]), {}, "no adjuster"),
        (sheet(adjusters=[adjuster("high", "clockwise", field_adjustment="check_only")]), {}, "manufacturer forbids"),
    ],
)
def test_advice_is_withheld_with_the_reason(page, more, reason):
    said = advice(page, **({"co2_pct": 8.5} | more))
    assert said.action == "withheld"
    assert reason in withheld_words(said)
    assert said.adjuster is said.direction is None


def test_a_person_who_is_not_qualified_still_learns_that_nothing_is_needed():
    assert advice(qualified=False, co2_pct=9.2).action == "none"


def test_a_good_co2_with_a_bad_co_asks_for_the_cause():
    said = advice(sets=[one_limit_set()], co2_pct=9.2, co_ppm=150.0)
    assert said.action == "investigate"
    assert "Look for the cause" in advice_words(said)


def test_seal_and_who_may_touch_are_said():
    screw = adjuster("high", "clockwise", sealed=True, reseal="seal the cap again", who="the manufacturer's service")
    said = advice(sheet(adjusters=[screw]), co2_pct=8.5)
    assert "Afterwards: seal the cap again." in advice_words(said)
    assert "Only the manufacturer's service may touch it." in advice_words(said)


def test_an_order_that_the_readings_break_is_told_although_both_are_in_their_bands():
    page = sheet(order_rules=[order_rule(least_gap="0.2")])
    high = reading(key="r0", taken_order=0, co2_pct=9.1)
    said = advise(make_card(the_sheet=page), reading(rate="low", co2_pct=9.0), qualified=True, earlier=[high])
    assert said.action == "investigate"
    assert "CO₂ at high fire less CO₂ at low fire 0.10 points" in advice_words(said)
    assert "Read both rates again" in advice_words(said)
    kept = advise(
        make_card(the_sheet=page), reading(rate="low", co2_pct=9.0), qualified=True, earlier=[high | {"co2_pct": 9.3}]
    )
    assert kept.action == "none"


# --- about how far ---------------------------------------------------------------------------------------

# An invented response: 0.8 points of CO2 a turn, 0.6 to 1.0 by its 90 % interval.
LEARNED = Response(0.8, 0.6, 1.0, 0.15, 1.7, "this model", 30)
AGREES = Step(0.25, 0.2)


def turning(page=None, *, response=LEARNED, first_step=AGREES, **more):
    given = reading(**({"co2_pct": 8.9} | more))
    return advise(make_card(the_sheet=page), given, qualified=True, response=response, first_step=first_step)


def screw(**more):
    return sheet(adjusters=[adjuster("high", "anticlockwise", **more)])


def test_before_the_first_step_a_small_one_is_advised_without_a_figure():
    said = turning(first_step=None)
    assert "anticlockwise by a small first step, at most 1/4 turn at a time" in advice_words(said)
    assert said.turns is said.turns_low is said.turns_high is None
    assert not re.search(r"about \S+ turn", advice_words(said))


def test_after_a_first_step_that_agrees_about_how_far_is_told():
    said = turning()
    # 0.3 points to the target, over 0.8, 1.0 and 0.6 points a turn.
    assert (said.turns, said.turns_low, said.turns_high) == pytest.approx((0.375, 0.3, 0.5))
    assert "anticlockwise about 3/8 turn (0.3 to 0.5)" in advice_words(said)


def test_too_rich_is_turned_back_by_as_much():
    said = turning(co2_pct=9.5)
    assert said.direction == "clockwise"
    assert (said.turns, said.turns_low, said.turns_high) == pytest.approx((0.375, 0.3, 0.5))


def test_an_o2_target_is_brought_to_points_of_co2_along_the_fuels_line():
    page = screw() | {"targets": [target(quantity="o2", value="5.0", tolerance="0.3")]}
    said = turning(page, o2_pct=5.6, co2_pct=None)
    expected = float(co2_pct_from_o2(FUELS["natural_gas"], 5.0) - co2_pct_from_o2(FUELS["natural_gas"], 5.6)) / 0.8
    assert said.turns == pytest.approx(expected)
    assert said.direction == "anticlockwise"


def test_a_band_without_a_target_is_aimed_at_in_its_middle():
    page = screw() | {"targets": [target(value=None, tolerance=None, basis="range", lower="9.1", upper="9.5")]}
    assert turning(page).turns == pytest.approx(0.4 / 0.8)


def test_how_far_is_capped_by_the_largest_step():
    said = turning(screw(largest_step_turns="0.25"), co2_pct=8.0)
    assert said.turns == said.turns_low == said.turns_high == 0.25
    assert "about 1/4 turn, at most 1/4 turn at a time" in advice_words(said)


def test_the_largest_step_is_told_in_turns_where_the_sheet_has_no_words_for_it():
    assert "at most 0.125 turns at a time" in advice_words(turning(screw(largest_step="", largest_step_turns="0.125")))


@given(st.floats(7, 8.9), st.sampled_from(["0.1", "0.125", "0.2", "0.25", "0.5"]))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_neither_figures_nor_words_ever_go_beyond_the_largest_step(co2_pct, largest):
    said = turning(screw(largest_step_turns=largest), co2_pct=co2_pct)
    assert 0 < said.turns_low <= said.turns <= said.turns_high <= float(largest)
    words = re.search(r"about (?:less than )?(\d+/\d+) turn", advice_words(said))
    assert Fraction(words.group(1)) <= Fraction(largest)


def test_a_first_step_that_went_the_other_way_ends_the_advice():
    for response in (LEARNED, None):
        for first_step in (Step(0.25, -0.2), Step(-0.25, 0.01)):
            said = turning(response=response, first_step=first_step)
            assert said.action == "withheld"
            assert withheld_words(said) == (
                "the first step moved CO2 the other way than the sheet says: look before turning on"
            )


@pytest.mark.parametrize(
    ("response", "first_step"),
    [
        (None, AGREES),
        (LEARNED, Step(0.25, 0.3)),  # 1.2 points a turn; 90 % of steps reach 0.8 + 1.7 x 0.15
        (LEARNED, Step(0.25, 0.1)),
        (LEARNED, Step(0.25, 0.0)),
        (LEARNED, Step(0.25, float("nan"))),
        (replace(LEARNED, low=-0.1), AGREES),
    ],
)
def test_without_a_response_that_the_first_step_confirms_there_is_no_figure(response, first_step):
    said = turning(response=response, first_step=first_step)
    assert said.action == "adjust"
    assert said.turns is None
    assert "by a small step" in advice_words(said)


def test_a_value_that_is_only_a_bound_gives_no_figure():
    said = turning(co2_pct=8.9, qualifiers={"co2": "less_than"})
    assert (said.action, said.turns) == ("adjust", None)


@pytest.mark.parametrize(
    ("page", "more", "reason"),
    [
        (sheet(control="self_adapting"), {}, "adapts itself"),
        (screw(field_adjustment="check_only"), {}, "manufacturer forbids"),
        (screw(), {"steady": False}, "not steady"),
        (screw(), {"invalid": True}, "invalid"),
        (screw(), {"rate_proven": False}, "isn't proven"),
    ],
)
def test_a_known_response_opens_nothing_that_is_withheld(page, more, reason):
    said = turning(page, **more)
    assert said.action == "withheld"
    assert reason in withheld_words(said)
    assert said.turns is None


def test_stop_rules_come_before_a_known_response():
    assert turning(co_ppm=900.0).action == "stop"


@pytest.mark.parametrize(
    ("turns", "largest", "words"),
    [
        (0.03, None, "less than 1/16 turn"),
        (0.0625, None, "1/16 turn"),
        (0.13, None, "1/8 turn"),
        (1.0, None, "1 turn"),
        (1.25, None, "1 1/4 turns"),
        (0.1, 0.1, "1/16 turn"),
        (0.05, 0.05, "less than 1/16 turn"),
    ],
)
def test_turns_are_told_in_sixteenths(turns, largest, words):
    assert turn_words(turns, largest) == words


# --- advice as worded, whole -----------------------------------------------------------------------------


def test_an_adjustment_is_worded_so():
    said = advice(share_of_target(), co2_pct=9.02)
    assert (said.action, said.adjuster, said.direction) == ("adjust", "high fire screw", "anticlockwise")
    assert advice_words(said) == (
        "CO₂ 9.02 % at high fire is 0.18 points below its target 9.2 %, band 9.108 to 9.292 %: "
        "turn high fire screw (gas valve) anticlockwise by a small first step, at most 1/4 turn at a time with a "
        "hex key. Let it settle and read high fire again, then low fire. "
        "End the firing if CO air-free passes 400 ppm or climbs."
    )


def test_a_sheet_of_few_words_is_worded_so():
    bare = {"place": "", "tool": "", "largest_step": "", "largest_step_turns": "0.5"}
    page = sheet(rates=["high"], targets=[target()], adjusters=[adjuster("high", "clockwise", **bare)])
    assert advice_words(advice(page, co2_pct=9.5)) == (
        "CO₂ 9.50 % at high fire is 0.30 points above its target 9.2 %, band 9 to 9.4 %: "
        "turn high fire screw anticlockwise by a small first step, at most 0.5 turns at a time. "
        "Let it settle and read high fire again. End the firing if CO air-free passes 400 ppm or climbs."
    )
    without = sheet(targets=[target()], adjusters=[adjuster("high", "clockwise", place="", tool="", largest_step="")])
    assert "turn high fire screw anticlockwise by a small first step. Let it" in advice_words(
        advice(without, co2_pct=9.5)
    )


def test_a_sheet_of_many_words_is_worded_so():
    more = {"who": "the manufacturer's service", "reseal": "seal the cap"}
    page = sheet(rates=["high", "middle", "low"], adjusters=[adjuster("high", "clockwise", **more)])
    assert advice_words(advice(page, co2_pct=9.5)).endswith(
        "Let it settle and read high fire again, then middle and low fire. End the firing if CO air-free passes "
        "400 ppm or "
        "climbs. Only the manufacturer's service may touch it. Afterwards: seal the cap."
    )


def test_an_adjustment_of_a_known_distance_is_worded_so():
    said = turning(co2_pct=8.9)
    assert advice_words(said) == (
        "CO₂ 8.90 % at high fire is 0.30 points below its target 9.2 %, band 9 to 9.4 %: "
        "turn high fire screw (gas valve) anticlockwise about 3/8 turn (0.3 to 0.5), at most 1/4 turn at a time "
        "with a hex key. Let it settle and read high fire again, then low fire. "
        "End the firing if CO air-free passes 400 ppm or climbs."
    )
    assert (said.action, said.direction, said.turns) == ("adjust", "anticlockwise", pytest.approx(0.375))
    assert (said.turns_low, said.turns_high) == (pytest.approx(0.3), pytest.approx(0.5))
    capped = turning(screw(largest_step_turns="0.125"), co2_pct=8.0)
    assert "anticlockwise about 1/8 turn, at most" in advice_words(capped)


def test_a_step_that_disagrees_leaves_a_small_step_without_a_figure():
    said = turning(first_step=Step(0.25, 0.5))
    assert "anticlockwise by a small step, at most" in advice_words(said)
    assert said.turns is said.turns_low is said.turns_high is None


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"co_ppm": None}, "No advice: no CO read: CO2 alone can't tell lean from rich."),
        ({"qualified": False}, "No advice: the person isn't recorded as qualified for this adjustment."),
        ({"page": sheet(adjusters=[])}, "No advice: the sheet names no adjuster for high fire."),
        ({"page": sheet(control="self_adapting")},
         "No advice: the burner adapts itself: look for the cause instead of adjusting."),
        ({"page": sheet(adjusters=[adjuster("high", "clockwise", field_adjustment="check_only")])},
         "No advice: the manufacturer forbids adjusting high fire screw in the field."),
        ({"rate": "middle"}, "No advice: no target for this reading at middle."),
        ({"co2_pct": None}, "No advice: no target for this reading at high fire."),
        ({"steady": False}, "No advice: the reading is not steady."),
        ({"invalid": True}, "No advice: the reading is invalid."),
    ],
)  # fmt: skip
def test_withheld_advice_is_worded_so(more, sentence):
    said = advice(**{"co2_pct": 8.5, **more})
    reason = sentence.removeprefix("No advice: ").removesuffix(".")
    assert (said.action, advice_words(said), withheld_words(said)) == ("withheld", sentence, reason)


def test_a_first_step_the_other_way_is_worded_so():
    said = turning(first_step=Step(0.25, -0.01))
    reason = "the first step moved CO2 the other way than the sheet says: look before turning on"
    assert (said.action, said.code, withheld_words(said)) == ("withheld", "other_way", reason)
    assert turning(first_step=Step(0.25, 0.0)).action == "adjust"


def test_a_stop_and_a_cause_to_look_for_are_worded_so():
    assert advice_words(advice(co_ppm=900.0)).endswith(" as recorded. End the firing: off.")
    assert advice_words(advice(sheet(ceilings=[]), co_ppm=900.0)).endswith(
        "as recorded. End the firing: stop the appliance: end the firing, leave the appliance off."
    )
    said = advice(sets=[one_limit_set()], co2_pct=9.2, co_ppm=150.0)
    assert advice_words(said) == (
        "CO₂ 9.20 % at high fire is on its target, inside its band, yet CO 150 ppm at high fire, as found "
        "(limit ≤ 100 ppm): outside the limits of test set v3 as recorded. Look for the cause before turning anything."
    )


def test_co_of_another_reading_or_another_finding_asks_for_no_cause():
    made = make_card(one_limit_set())
    earlier = [reading(key="r0", taken_order=0, co_ppm=150.0)]
    assert advise(made, reading(co2_pct=9.2), qualified=True, earlier=earlier).action == "none"
    warm = one_limit_set(quantity="flue_temp", unit="degC")
    assert advice(sets=[warm], co2_pct=9.2, flue_temp_c=150.0).action == "none"


@pytest.mark.parametrize(
    ("co2_pct", "words"),
    [
        (9.2, "is on its target,"),
        (9.2004, "is on its target,"),
        (9.200503, "is 0.001 points above its target 9.2 %,"),
        (9.2006, "is 0.001 points above its target 9.2 %,"),
        (9.1994, "is 0.001 points below its target 9.2 %,"),
    ],
)
def test_less_than_half_a_thousandth_off_is_on_the_target(co2_pct, words):
    assert words in advice_words(advice(co2_pct=co2_pct))


def test_a_band_without_a_target_tells_no_distance():
    page = sheet(
        targets=[{"rate": "high", "quantity": "co2", "lower": "9", "upper": "9.4", "tolerance_basis": "range"}]
    )
    assert advice_words(advice(page, co2_pct=9.1)) == "No adjustment needed: CO₂ 9.10 % at high fire, band 9 to 9.4 %."


def test_an_order_is_told_only_to_a_rate_of_it_and_in_its_own_phase():
    page = sheet(rates=["high", "middle", "low"], order_rules=[order_rule(least_gap="0.2")],
                 targets=[target(), target("middle", "9.1"), target("low", "9.0")])  # fmt: skip
    made = make_card(the_sheet=page)
    pair = [reading(key="a", taken_order=0, co2_pct=9.1), reading(key="b", rate="low", taken_order=1, co2_pct=9.0)]
    middle = reading(key="c", rate="middle", taken_order=2, co2_pct=9.1)
    assert advise(made, middle, qualified=True, earlier=pair).action == "none"
    left = reading(key="d", phase="as_left", taken_order=2, co2_pct=9.2)
    assert advise(made, left, qualified=True, earlier=pair).action == "none"


def test_an_adjuster_of_any_rate_serves_each_and_the_first_that_fits_is_named():
    page = sheet(adjusters=[adjuster("low", "clockwise"), adjuster("any", "clockwise")])
    assert advice(page, co2_pct=8.5).adjuster == "any fire screw"
    assert advice(page, rate="low", co2_pct=8.5).adjuster == "low fire screw"


@pytest.mark.parametrize(
    ("turns", "largest", "words"),
    [
        (0.03, None, "less than 1/16 turn"),
        (0.04, None, "1/16 turn"),
        (1.0, None, "1 turn"),
        (1.0625, None, "1 1/16 turns"),
        (2.0, None, "2 turns"),
        (0.5, 0.06, "less than 1/16 turn"),
        (0.5, 0.0625, "1/16 turn"),
        (0.5, 0.3, "1/4 turn"),
    ],
)
def test_turns_are_told_in_sixteenths_and_never_beyond_the_largest_step(turns, largest, words):
    assert turn_words(turns, largest) == words


# --- what is looked at, and what not ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "co_ppm"),
    [
        ({"quantity": "co", "fires_when": {"op": ">", "value": 40.0}}, 50.0),
        ({"quantity": "co_ppm_air_free", "fires_when": {"op": ">", "value": 60.0}}, 50.0),
        ({"quantity": "co_co2_ratio", "unit": "1", "fires_when": {"op": ">", "value": 0.0005}}, 50.0),
        ({"quantity": "co_trend_in_test", "fires_when": {"op": "rising_and_over", "value": 30.0}}, 50.0),
    ],
)
def test_a_good_co2_asks_for_the_cause_whichever_way_co_is_found_out(limit, co_ppm):
    made = make_card(one_limit_set(**limit))
    earlier = [reading(key="r0", taken_order=0, co_ppm=20.0)]
    said = advise(made, reading(co2_pct=9.2, co_ppm=co_ppm), qualified=True, earlier=earlier)
    assert said.action == "investigate"
    assert "inside its band, yet " in advice_words(said)


def test_a_target_of_another_casing_stands_in_no_judged_targets_way():
    page = sheet(targets=[target(value="8.9", casing="open"), target(casing="closed")])
    assert advice(page, co2_pct=9.2).action == "none"
    assert advice(page, co2_pct=8.9).direction == "anticlockwise"
    assert advice(page, co2_pct=8.9, casing="open").action == "none"


def test_a_band_without_a_lower_end_is_left_only_upwards():
    page = sheet(targets=[target(value=None, tolerance=None, basis="range", upper="9.4")])
    assert advice(page, co2_pct=9.8).direction == "clockwise"
    assert advice(page, co2_pct=2.0).action == "none"


def test_only_what_is_withheld_has_a_reason_for_it_and_a_step_alone_gives_no_figure():
    assert withheld_words(advice(co2_pct=9.2)) is None
    said = advise(make_card(), reading(co2_pct=8.5), qualified=True, first_step=AGREES)
    assert (said.action, said.turns, withheld_words(said)) == ("adjust", None, None)
