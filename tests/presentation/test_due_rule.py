from datetime import date, timedelta
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.presentation.due_rule import DueRule, due_strip, due_words
from fleet.presentation.strips import Head, Span, Upright
from fleet.web.strips import rule_svg, small_rule_svg
from tests.web.drawn import kinds, pin_boxes, texts, title, word_boxes
from tests.web.samples import DUES, TODAY

NEAR = st.none() | st.integers(-900, 900).map(lambda days: TODAY + timedelta(days=days))


@pytest.mark.parametrize("name", DUES)
def test_every_due_rule_is_a_labelled_picture(name: str) -> None:
    for svg in (rule_svg(DUES[name]), small_rule_svg(DUES[name])):
        assert ElementTree.fromstring(svg).get("role") == "img"
        assert title(svg) == due_words(DUES[name])


def test_days_are_written_beside_their_marks() -> None:
    svg = rule_svg(DUES["planned too late"])
    assert texts(svg) == ["11 Mar planned", "18 Feb", "1 Feb risk used up", "3 Jun 2026"]


def test_the_words_say_every_day_and_how_late() -> None:
    assert due_words(DUES["planned too late"]) == (
        "Window from 3 June 2026. Last day 18 February 2027. The accepted risk is used up on 1 February 2027. "
        "Planned for 11 March 2027, 21 days late. Today is 16 February 2027."
    )
    assert "No visit planned." in due_words(DUES["nothing planned"])
    assert "late" not in due_words(DUES["planned in time"])
    assert "1 day late" in due_words(DueRule(TODAY, last_day=TODAY, planned=TODAY + timedelta(days=1)))


def test_hatching_begins_at_the_last_day() -> None:
    marks = due_strip(DUES["nothing planned"]).marks
    wall = next(mark.at_pct for mark in marks if isinstance(mark, Upright) and mark.kind == "wall")
    beyond = next(mark for mark in marks if isinstance(mark, Span) and mark.kind == "beyond")
    stretch = next(mark for mark in marks if isinstance(mark, Span) and mark.kind == "stretch")
    assert stretch.to_pct == wall == beyond.from_pct


def test_a_window_that_began_long_ago_is_whole_unless_rows_share_a_scale() -> None:
    whole = DueRule(TODAY, date(2019, 1, 1), date(2027, 3, 20))
    assert "cut" not in kinds(rule_svg(whole))
    assert next(m.from_pct for m in due_strip(whole).marks if isinstance(m, Span) and m.kind == "stretch") > 0
    assert "cut" in kinds(rule_svg(DUES["a window that began before the line"]))


def test_a_planned_day_past_a_shared_scale_stands_at_its_end_as_an_arrow() -> None:
    due = DueRule(TODAY, planned=date(2029, 1, 1), first=date(2027, 1, 1), until=date(2027, 5, 1))
    heads = [(mark.at_pct, mark.beyond) for mark in due_strip(due).marks if isinstance(mark, Head)]
    assert heads == [(100, 1)]
    assert texts(rule_svg(due)) == ["1 Jan 2029 planned"]


def test_a_window_or_a_line_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="before it opens"):
        DueRule(TODAY, opens=TODAY, last_day=TODAY - timedelta(days=1))
    with pytest.raises(ValueError, match="having begun"):
        DueRule(TODAY, first=TODAY, until=TODAY)


@given(NEAR, NEAR, NEAR, NEAR)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_all_days_are_on_the_line_and_no_label_covers_another(
    opens: date | None, last_day: date | None, horizon: date | None, planned: date | None
) -> None:
    if opens and last_day and opens > last_day:
        opens, last_day = last_day, opens
    strip = due_strip(DueRule(TODAY, opens, last_day, horizon, planned))
    assert all(0 <= mark.at_pct <= 100 for mark in strip.marks if isinstance(mark, Upright | Head))
    for width_em, has_words in ((20.0, True), (60.0, True), (10.5, False)):
        words = word_boxes(strip, width_em, has_words=has_words)
        assert not any(one.meets(other) for one, other in combinations(words, 2))
        assert not any(word.meets(pin) for word in words for pin in pin_boxes(strip, width_em))
