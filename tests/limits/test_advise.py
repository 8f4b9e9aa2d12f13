import pytest

from fleet.limits import advise
from tests.limits.cast import adjuster, make_card, one_limit_set, reading, sheet, target


def advice(page=None, *, qualified=True, sets=(), **more):
    return advise(make_card(*sets, the_sheet=page), reading(**more), qualified=qualified)


def share_of_target():
    return sheet(
        targets=[target(tolerance="1", basis="percent of target"), target("low", "9.0", "1", "percent of target")]
    )


def test_the_check_set_up_turns_the_high_fire_screw_counter_clockwise():
    said = advice(share_of_target(), co2_pct=9.02)
    assert (said.action, said.adjuster, said.direction) == ("adjust", "high fire screw", "counter-clockwise")
    assert "0.18 points below its target 9.2 %, band 9.108 to 9.292 %" in said.sentence
    assert "at most 1/4 turn" in said.sentence
    assert "read high again, then low" in said.sentence
    assert "End the firing if CO air-free passes 400 ppm" in said.sentence


def test_as_left_needs_no_adjustment_and_tells_the_distance():
    said = advice(share_of_target(), co2_pct=9.19, phase="as left")
    assert said.action == "none"
    assert said.sentence == (
        "No adjustment needed: CO2 9.19 % at high is 0.01 points below its target 9.2 %, band 9.108 to 9.292 %."
    )


def test_low_fire_on_its_target_needs_no_adjustment():
    said = advice(share_of_target(), rate="low", co2_pct=9.0)
    assert said.action == "none"
    assert "is on its target" in said.sentence


@pytest.mark.parametrize(
    ("rate", "co2_pct", "direction"),
    [
        ("high", 8.5, "counter-clockwise"),
        ("high", 9.8, "clockwise"),
        ("low", 8.5, "clockwise"),
        ("low", 9.8, "counter-clockwise"),
    ],
)
def test_each_screw_has_its_own_way_of_raising_co2(rate, co2_pct, direction):
    assert advice(rate=rate, co2_pct=co2_pct).direction == direction


@pytest.mark.parametrize(("o2_pct", "direction"), [(4.0, "clockwise"), (6.0, "counter-clockwise")])
def test_an_o2_target_turns_the_other_way(o2_pct, direction):
    page = sheet(targets=[target(quantity="o2", value="5.0", tolerance="0.3")])
    assert advice(page, o2_pct=o2_pct, co2_pct=None).direction == direction


def test_stop_rules_come_before_everything():
    said = advice(qualified=False, co_ppm=900.0, void=True, co2_pct=8.0)
    assert said.action == "stop"
    assert "End the firing" in said.sentence
    assert said.adjuster is said.direction is None


def test_a_stop_earlier_in_the_visit_ends_the_advice():
    made = make_card()
    earlier = [reading(key="r0", taken_order=0, co_ppm=2000.0, co2_pct=9.2)]
    assert advise(made, reading(co2_pct=8.5), qualified=True, earlier=earlier).action == "stop"


@pytest.mark.parametrize(
    ("page", "more", "reason"),
    [
        (sheet(), {"void": True}, "void"),
        (sheet(), {"rate_proven": False}, "isn't proven"),
        (sheet(), {"steady": False}, "not steady"),
        (sheet(), {"sampling_point": "common flue"}, "common flue"),
        (sheet(), {"o2_pct": 18.5, "co2_pct": None}, "mostly air"),
        (sheet(), {"co2_pct": None}, "no target"),
        (sheet(), {"rate": "middle"}, "no target"),
        (sheet(), {"co_ppm": None}, "lean from rich"),
        (sheet(targets=[target(casing="closed")]), {"casing": "open"}, "casing"),
        (sheet(), {"qualified": False}, "qualified"),
        (sheet(control="self-adapting"), {}, "adapts itself"),
        (sheet(adjusters=[]), {}, "no adjuster"),
        (sheet(adjusters=[adjuster("high", "clockwise", field_adjustment="check only")]), {}, "maker forbids"),
    ],
)
def test_advice_is_withheld_with_the_reason(page, more, reason):
    said = advice(page, **({"co2_pct": 8.5} | more))
    assert said.action == "withheld"
    assert reason in said.withheld_reason
    assert said.adjuster is said.direction is None


def test_a_person_who_is_not_qualified_still_learns_that_nothing_is_needed():
    assert advice(qualified=False, co2_pct=9.2).action == "none"


def test_a_good_co2_with_a_bad_co_asks_for_the_cause():
    said = advice(sets=[one_limit_set()], co2_pct=9.2, co_ppm=150.0)
    assert said.action == "investigate"
    assert "Look for the cause" in said.sentence


def test_seal_and_who_may_touch_are_said():
    screw = adjuster("high", "clockwise", sealed=True, reseal="seal the cap again", who="the maker's service")
    said = advice(sheet(adjusters=[screw]), co2_pct=8.5)
    assert "Afterwards: seal the cap again." in said.sentence
    assert "Only the maker's service may touch it." in said.sentence
