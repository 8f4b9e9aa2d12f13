"""The rule: pins and figures stand where they belong, and no figure covers another."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.rules import FIGURE_SIZE, Pin, Placed, Rule, RuleDrawing, Wall, place

WIDTH = 210.0
at = st.floats(0, 1, allow_nan=False)


@st.composite
def rules(draw: st.DrawFn) -> Rule:
    band = sorted((draw(at), draw(at)))
    return Rule(
        low=0.0,
        high=1.0,
        stretch=(band[0], band[1]),
        ends=[(each, f"{each:.2f}") for each in band],
        walls=[Wall(each, f"{each:.2f}", "upper") for each in draw(st.lists(at, max_size=3))],
        found=[Pin(each, f"{each:.2f}", "found") for each in draw(st.lists(at, max_size=3))],
        left=[Pin(draw(at), "more than 5362", "left", draw(st.sampled_from((-1, 0, 1))))],
    )


def covers(one: Placed, other: Placed) -> bool:
    return one.row == other.row and one.start < other.end and other.start < one.end


@settings(max_examples=60, deadline=None, derandomize=True)
@given(rules())
def test_no_figure_covers_another(rule: Rule) -> None:
    drawing = RuleDrawing(rule, WIDTH)
    for side in (drawing.above, drawing.below):
        assert not any(covers(one, other) for n, one in enumerate(side) for other in side[n + 1 :])


def test_a_pin_stands_at_its_share_of_the_line() -> None:
    rule = Rule(8.0, 10.0, found=[Pin(9.0, "9.00", "found")])
    assert RuleDrawing(rule, WIDTH).below[0].stem == pytest.approx(WIDTH / 2)


def test_more_than_stands_at_the_end_of_the_line_whatever_its_figure() -> None:
    rule = Rule(0.0, 500.0, found=[Pin(400.0, "more than 400", "found", beyond=1)])
    placed = RuleDrawing(rule, WIDTH).below[0]
    assert placed.stem == WIDTH
    assert placed.end < WIDTH


def test_three_pins_on_one_side_all_keep_their_figures() -> None:
    pins = [(x, Pin(x, f"{x:.2f}", "found")) for x in (100.0, 103.0, 106.0)]
    placed = place(pins, [(104.0, "9.70", 1)], WIDTH)
    assert len(placed) == 4
    assert not any(covers(one, other) for n, one in enumerate(placed) for other in placed[n + 1 :])


def test_a_rule_without_pins_is_low_and_one_with_them_has_room() -> None:
    bare = RuleDrawing(Rule(0.0, 1.0), WIDTH)
    pinned = RuleDrawing(Rule(0.0, 1.0, left=[Pin(0.5, "0.5", "left")]), WIDTH)
    assert bare.height < pinned.height
    assert pinned.height - pinned.line_y > FIGURE_SIZE


def test_a_line_that_does_not_rise_is_refused() -> None:
    with pytest.raises(ValueError, match="must rise"):
        Rule(1.0, 1.0)
