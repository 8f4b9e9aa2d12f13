"""Order rules: how far one rate must lie above another, only where the sheet states it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits import evaluate, standing
from fleet.presentation.verdicts import reason_words, verdict_sentence
from tests.limits.cast import make_card, of, order_rule, reading, sheet, the

bounded = settings(max_examples=60, deadline=None, derandomize=True)


def ordered(*rules):
    return make_card(the_sheet=sheet(order_rules=list(rules) or [order_rule(least_gap="0.2")]))


def pair(high_pct, low_pct, phase="as_found", **more):
    """Two readings of CO2, high fire first; what more there is goes to low fire."""
    order = 1 if phase == "as_found" else 11
    high = reading(key=f"{phase} high", phase=phase, taken_order=order, co2_pct=high_pct)
    low = {"key": f"{phase} low", "rate": "low", "phase": phase, "taken_order": order + 1, "co2_pct": low_pct}
    return [high, reading(**low | more)]


def outcome(*readings, card=None):
    return the(evaluate(card or ordered(), list(readings)), kind="order").outcome


def test_a_sheet_that_states_no_order_has_none():
    assert make_card().orders == []
    assert not of(evaluate(make_card(), pair(8.0, 9.5)), kind="order")


@bounded
@given(st.decimals(8, 10, places=1), st.decimals(0, 1, places=1), st.integers(1, 5))
def test_over_under_and_exactly_on_the_least_gap(low_pct, gap, tenths):
    card = ordered(order_rule(least_gap=str(gap)))
    low, on_it = float(low_pct), float(low_pct + gap)
    assert outcome(*pair(on_it, low), card=card) == "within"
    assert outcome(*pair(on_it + tenths / 10, low), card=card) == "within"
    assert outcome(*pair(on_it - tenths / 10, low), card=card) == "outside"


def test_without_a_least_gap_equal_figures_keep_the_order():
    card = ordered(order_rule())
    assert outcome(*pair(9.0, 9.0), card=card) == "within"
    assert outcome(*pair(8.99, 9.0), card=card) == "outside"


def test_the_verdict_has_the_gap_in_points_and_belongs_to_no_single_reading():
    verdict = the(evaluate(ordered(), pair(9.1, 9.0)), kind="order")
    assert (verdict.reading_key, verdict.rate, verdict.phase) == (None, None, "as_found")
    assert (verdict.severity, verdict.unit, verdict.lower, verdict.upper) == ("adjust", "points", 0.2, None)
    assert verdict.value == pytest.approx(0.1)
    assert not verdict.stop
    assert verdict_sentence(verdict) == (
        "CO₂ at high fire less CO₂ at low fire 0.10 points, as found (limit ≥ 0.2 points): "
        "outside the limits of premix sheet v2 as recorded."
    )


def test_an_order_in_o2_is_judged_from_co2_readings():
    card = ordered(order_rule("low", "high", quantity="o2", least_gap="0.3"))
    assert outcome(*pair(9.2, 9.0), card=card) == "within"
    assert outcome(*pair(9.2, 9.1), card=card) == "outside"


def test_each_phase_is_judged_by_its_last_readings():
    found, left = pair(9.0, 9.0), pair(9.3, 9.0, "as_left")
    again = reading(key="again", taken_order=3, co2_pct=9.4)
    said = {v.phase: v.outcome for v in of(evaluate(ordered(), [*left, *found]), kind="order")}
    assert said == {"as_found": "outside", "as_left": "within"}
    assert outcome(*found, again) == "within"


def test_readings_between_adjustments_are_neither():
    said = evaluate(ordered(), pair(9.0, 9.0, "between"))
    assert reason_words(the(said, kind="order")) == "needs CO₂ at high fire less CO₂ at low fire"


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"rate_proven": False}, "low: the rate isn't proven"),
        ({"steady": False}, "low: the reading is not steady"),
        ({"invalid": True}, "low: the reading is invalid"),
        ({"sampling_point": "common_flue"}, "low: read in the common flue, which belongs to the flue group"),
        ({"qualifiers": {"co2": "less_than"}}, "low: not a plain figure"),
        ({"co2_pct": None}, "low: not read"),
        ({"rate": "middle"}, "low: not read"),
        ({"casing": "open"}, "read with different casings"),
    ],
)
@pytest.mark.parametrize("low_pct", [8.0, 9.9])
def test_an_order_is_not_judged_by_a_doubtful_reading(more, reason, low_pct):
    verdict = the(evaluate(ordered(), pair(9.2, low_pct, **more)), kind="order")
    assert (verdict.outcome, reason_words(verdict)) == ("not_judged", reason)
    assert verdict.value is None


def test_a_usable_reading_before_a_doubtful_one_still_counts():
    high, low = pair(9.4, 9.0)
    moving = {**low, "key": "moving", "taken_order": 5, "steady": False, "co2_pct": 9.9}
    assert outcome(high, low, moving) == "within"


def test_what_stands_is_the_order_as_left():
    both = [*pair(9.0, 9.0), *pair(9.3, 9.0, "as_left")]
    assert [v.outcome for v in standing(evaluate(ordered(), both).verdicts) if v.kind == "order"] == ["within"]
    worse = [*pair(9.3, 9.0), *pair(9.0, 9.0, "as_left")]
    assert [v.outcome for v in standing(evaluate(ordered(), worse).verdicts) if v.kind == "order"] == ["outside"]


def test_an_order_found_broken_stands_where_only_one_rate_was_read_again():
    readings = [*pair(9.0, 9.0), *pair(9.3, 9.0, "as_left")[:1]]
    (stands,) = [v for v in standing(evaluate(ordered(), readings).verdicts) if v.kind == "order"]
    assert (stands.outcome, stands.phase) == ("outside", "as_found")


@pytest.mark.parametrize(
    "broken",
    [
        {"quantity": "co"},
        {"higher_rate": "middle"},
        {"lower_rate": "middle"},
        {"lower_rate": "high"},
        {"least_gap": "-0.1"},
        {"least_gap": "some"},
    ],
)
def test_an_order_that_cannot_be_read_is_refused(broken):
    with pytest.raises(ValueError, match=r"."):
        ordered(order_rule(**broken))
