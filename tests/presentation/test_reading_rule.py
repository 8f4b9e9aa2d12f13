from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.presentation.reading_rule import Pin, ReadingRule, Wall, reading_strip, reading_words
from fleet.presentation.strips import Head, Span, Upright
from fleet.web.strips import rule_svg, small_rule_svg
from tests.web.drawn import kinds, pin_boxes, texts, title, word_boxes
from tests.web.samples import READINGS, co, co2

VALUES = st.floats(7.7, 10.3).map(lambda value: round(value, 2))
PINS = st.lists(VALUES.map(Pin), max_size=4)


@pytest.mark.parametrize("name", READINGS)
def test_every_rule_is_a_labelled_picture_without_style_or_script(name: str) -> None:
    for svg in (rule_svg(READINGS[name]), small_rule_svg(READINGS[name])):
        parsed = ElementTree.fromstring(svg)
        assert parsed.get("role") == "img"
        assert parsed.findtext("title") == reading_words(READINGS[name])
        assert all(each.tag not in ("script", "style") for each in parsed.iter())
        assert all(key != "style" and not key.startswith("on") for each in parsed.iter() for key in each.attrib)


def test_figures_of_pins_limits_and_band_are_written() -> None:
    assert texts(rule_svg(co2())) == ["8.94 left", "8.20", "9.90", "8.55 found", "8.70", "9.30"]


def test_a_small_rule_writes_no_figures_but_says_them() -> None:
    svg = small_rule_svg(co2())
    assert texts(svg) == []
    assert title(svg) == (
        "CO₂ at high fire, % dry: found 8.55; left 8.94; should be 8.70 to 9.30; target 9.00; "
        "limit: not under 8.20; limit: not over 9.90."
    )


def test_pins_stand_at_their_values() -> None:
    heads = [mark for mark in reading_strip(co2()).marks if isinstance(mark, Head)]
    places = {head.kind: head.at_pct for head in heads}
    assert places["found"] == pytest.approx(100 * (8.55 - 7.6) / 2.8)
    assert places["left"] == pytest.approx(100 * (8.94 - 7.6) / 2.8)


def test_found_is_below_the_line_and_left_above_it() -> None:
    marks = reading_strip(co2()).marks
    line = next(mark.y_em for mark in marks if isinstance(mark, Span) and mark.kind == "line")
    heads = {mark.kind: mark.y_em for mark in marks if isinstance(mark, Head)}
    assert heads["left"] < line < heads["found"]


def test_nothing_read_leaves_the_limits_and_says_so() -> None:
    svg = rule_svg(co2([], []))
    assert "found" not in kinds(svg)
    assert "left" not in kinds(svg)
    assert kinds(svg).count("wall") == 2
    assert "nothing read" in title(svg)


def test_hatching_lies_on_the_far_side_of_each_limit() -> None:
    beyond = [mark for mark in reading_strip(co2()).marks if isinstance(mark, Span) and mark.kind == "beyond"]
    assert [(round(each.from_pct), round(each.to_pct)) for each in beyond] == [(0, 21), (82, 100)]


def test_the_narrowest_of_several_limits_begins_the_hatching() -> None:
    marks = reading_strip(READINGS["two limits above, as read"]).marks
    beyond = [mark for mark in marks if isinstance(mark, Span) and mark.kind == "beyond"]
    walls = [mark for mark in marks if isinstance(mark, Upright) and mark.kind == "wall"]
    assert [round(each.from_pct) for each in beyond] == [29]
    assert len(walls) == 2


def test_a_reading_past_the_range_stands_at_the_end_as_an_arrow_with_its_own_figure() -> None:
    strip = reading_strip(co2([Pin(6.9)], [Pin(11.25)]))
    heads = {mark.kind: (mark.at_pct, mark.beyond) for mark in strip.marks if isinstance(mark, Head)}
    assert heads == {"found": (0, -1), "left": (100, 1)}
    assert {"6.90 found", "11.25 left"} < set(texts(rule_svg(co2([Pin(6.9)], [Pin(11.25)]))))


def test_more_than_and_less_than_are_signs_on_the_rule_and_words_in_its_label() -> None:
    rule = co([Pin(300, qualifier="more_than")], [Pin(9, qualifier="less_than")])
    svg = rule_svg(rule)
    heads = {mark.kind: (mark.at_pct, mark.beyond) for mark in reading_strip(rule).marks if isinstance(mark, Head)}
    assert heads == {"found": (100, 1), "left": (0, -1)}
    assert {"> 300 found", "< 9 left"} < set(texts(svg))
    assert "found more than 300; left less than 9" in title(svg)


def test_a_reading_keeps_the_text_and_the_word_it_came_with() -> None:
    assert "0640 while firing" in texts(rule_svg(co([Pin(640, "while firing", text="0640")], [])))


def test_a_wall_past_the_range_hatches_all_that_is_beyond_it_or_nothing() -> None:
    for at, hatched in ((20.0, []), (-5.0, [(0.0, 100.0)])):
        rule = ReadingRule("CO", "ppm", 0, 10, 0, walls=[Wall(at, "upper")])
        marks = reading_strip(rule).marks
        assert [(m.from_pct, m.to_pct) for m in marks if isinstance(m, Span) and m.kind == "beyond"] == hatched
        assert not any(isinstance(m, Upright) and m.kind == "wall" for m in marks)
        assert "limit: not over" in reading_words(rule)


def test_a_hostile_name_stays_a_name() -> None:
    svg = rule_svg(READINGS["a hostile name"])
    assert title(svg).startswith('<b onload="x">&, %')
    assert '<i>4 "><script>' in texts(svg)
    assert "<script" not in svg


def test_a_range_a_band_or_a_pin_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="range must rise"):
        ReadingRule("O₂", "%", 5, 5, 1)
    with pytest.raises(ValueError, match="band must rise"):
        ReadingRule("O₂", "%", 0, 9, 1, band_lower=6, band_upper=4)
    with pytest.raises(ValueError, match="needs a number"):
        Pin(float("nan"))


@given(PINS, PINS)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_no_figure_covers_another_figure_or_a_pin(found: list[Pin], left: list[Pin]) -> None:
    strip = reading_strip(co2(found, left))
    for width_em, has_words in ((20.0, True), (28.0, True), (60.0, True), (10.5, False)):
        words = word_boxes(strip, width_em, has_words=has_words)
        assert not any(one.meets(other) for one, other in combinations(words, 2))
        assert not any(word.meets(pin) for word in words for pin in pin_boxes(strip, width_em))
