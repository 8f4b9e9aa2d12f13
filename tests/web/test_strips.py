"""Strips as SVG: each mark where the data says, in the element that the style sheet knows, said aloud or silent."""

from datetime import date
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.presentation.due_rule import DueRule, due_strip, due_words
from fleet.presentation.reading_rule import reading_strip, reading_words
from fleet.presentation.strips import Head, Mark, Span, Strip, Upright, Words
from fleet.web.strips import key_items, rule_svg, small_rule_svg, strip_svg, today_item
from tests.web.drawn import kinds, texts, title
from tests.web.samples import DUES, READINGS

PLACES = st.floats(-20, 120)
EMS = st.floats(0, 4)


def drawn(mark: Mark) -> ElementTree.Element:
    """The one element that the mark becomes."""
    picture = ElementTree.fromstring(strip_svg(Strip([mark], 2.0, "")))
    (one,) = picture
    return one


def number(text: str, unit: str) -> float:
    assert text.endswith(unit), text
    return float(text.removesuffix(unit))


@given(PLACES, PLACES, EMS)
def test_a_span_of_no_height_is_a_line_from_place_to_place(begins: float, ends: float, down: float) -> None:
    line = drawn(Span(begins, ends, down, 0, "line"))
    assert (line.tag, line.get("class")) == ("line", "line")
    assert number(line.attrib["x1"], "%") == pytest.approx(begins, abs=0.0051)
    assert number(line.attrib["x2"], "%") == pytest.approx(ends, abs=0.0051)
    assert line.attrib["y1"] == line.attrib["y2"]
    assert number(line.attrib["y1"], "em") == pytest.approx(down, abs=0.0051)


@given(PLACES, st.floats(0, 100), EMS, st.floats(0.1, 3))
def test_a_span_with_height_is_a_box_as_long_as_it_reaches(
    begins: float, length: float, down: float, height: float
) -> None:
    box = drawn(Span(begins, begins + length, down, height, "stretch"))
    assert box.tag == "rect"
    assert number(box.attrib["x"], "%") == pytest.approx(begins, abs=0.0051)
    assert number(box.attrib["width"], "%") == pytest.approx(length, abs=0.0051)
    assert number(box.attrib["y"], "em") == pytest.approx(down, abs=0.0051)
    assert number(box.attrib["height"], "em") == pytest.approx(height, abs=0.0051)


@pytest.mark.parametrize(("kind", "fill"), [("beyond", "url(#hatching)"), ("stretch", None), ("spread", None)])
def test_only_what_lies_beyond_is_hatched(kind: str, fill: str | None) -> None:
    assert drawn(Span(10, 30, 0.5, 0.7, kind)).get("fill") == fill


def test_an_upright_stands_at_one_place_from_top_to_bottom() -> None:
    assert drawn(Upright(45.25, 0.3, 1.6, "wall")).attrib == {
        "class": "wall", "x1": "45.25%", "x2": "45.25%", "y1": "0.3em", "y2": "1.6em"
    }  # fmt: skip


def test_a_pins_head_is_round_and_beyond_the_lines_end_an_arrow_that_way() -> None:
    head = drawn(Head(50, 1.35, 0.32, "found"))
    assert (head.tag, head.attrib) == (
        "circle", {"class": "found", "cx": "50%", "cy": "1.35em", "r": "0.32em"}
    )  # fmt: skip
    for beyond in (-1, 1):
        arrow = drawn(Head(100, 1.35, 0.32, "left", beyond=beyond))
        (path,) = arrow
        across = [float(corner.split()[0]) for corner in path.attrib["d"].strip("MZ").split("L")]
        down = [float(corner.split()[1]) for corner in path.attrib["d"].strip("MZ").split("L")]
        # Its tip is the one corner on the axis, on the side it points to.
        assert down[0] == 0 and down[1] == -down[2]
        assert across[0] * beyond > 0 > across[1] * beyond
        assert (arrow.attrib["x"], arrow.attrib["width"], path.get("class")) == ("100%", "0.32em", "left")


@pytest.mark.parametrize(("side", "anchor", "shift"), [(1, "start", "0.4em"), (-1, "end", "-0.4em")])
def test_a_figure_begins_or_ends_beside_its_place(side: int, anchor: str, shift: str) -> None:
    text = drawn(Words(30, 0.4, 0.9, side, "9.05", "found", "figure"))
    assert (text.attrib["text-anchor"], text.attrib["dx"], text.attrib["x"]) == (anchor, shift, "30%")
    assert "".join(text.itertext()) == "9.05 found"
    assert [each.get("class") for each in text] == ["word"]
    assert list(drawn(Words(30, 0.4, 0.9, side, "9.05"))) == []


def test_words_from_a_record_are_written_as_text_and_never_as_marks() -> None:
    svg = strip_svg(Strip([Words(1, 0, 0, 1, "<b>", "&\x00")], 1, '"><script>'))
    assert texts(svg) == ["<b> &\ufffd"]
    assert title(svg) == '"><script>'
    assert ElementTree.fromstring(svg).find("script") is None


def test_what_says_something_is_a_picture_with_its_words_and_what_repeats_is_silent() -> None:
    said = ElementTree.fromstring(strip_svg(Strip([], 1.25, "9.05, within")))
    assert (said.get("role"), said.get("aria-hidden"), said.findtext("title")) == ("img", None, "9.05, within")
    silent = ElementTree.fromstring(strip_svg(Strip([], 1.25, "")))
    assert (silent.get("role"), silent.get("aria-hidden"), silent.find("title")) == (None, "true", None)
    assert (said.attrib["height"], said.attrib["width"]) == ("1.25em", "100%")


@pytest.mark.parametrize("name", READINGS)
def test_a_readings_rule_bears_its_marks_in_order_and_says_all_of_them(name: str) -> None:
    rule = READINGS[name]
    svg = rule_svg(rule)
    strip = reading_strip(rule)
    assert kinds(svg)[0] == "rule" and title(svg) == reading_words(rule)
    assert [each for each in kinds(svg)[1:] if each and each != "word"] == [mark.kind for mark in strip.marks]
    words = [f"{each.figure} {each.word}".strip() for each in strip.marks if isinstance(each, Words)]
    assert texts(svg) == words


@pytest.mark.parametrize("name", READINGS)
def test_a_small_rule_has_no_figures(name: str) -> None:
    svg = small_rule_svg(READINGS[name])
    assert kinds(svg)[0] == "rule small"
    assert texts(svg) == []
    assert title(svg) == reading_words(READINGS[name])


@pytest.mark.parametrize("name", DUES)
def test_a_due_dates_rule_is_drawn_of_its_own_marks(name: str) -> None:
    due = DUES[name]
    assert title(rule_svg(due)) == due_words(due)
    assert [each for each in kinds(rule_svg(due))[1:] if each and each != "word"] == [
        mark.kind for mark in due_strip(due).marks
    ]
    assert texts(small_rule_svg(due)) == []


def test_the_key_shows_each_mark_once_with_its_words() -> None:
    items = [*key_items(), today_item()]
    shown = [set(kinds(each.picture)) - {"rule small", ""} for each in items]
    assert [sorted(each - {"line", "stem"}) for each in shown] == [
        ["notch", "stretch"], ["beyond", "wall"], ["found"], ["left"], ["today"]
    ]  # fmt: skip
    assert all(ElementTree.fromstring(each.picture).get("aria-hidden") == "true" for each in items)
    assert len({each.words for each in items}) == len(items)


def test_every_mark_of_a_due_date_stands_in_the_key() -> None:
    whole = DueRule(date(2026, 3, 2), date(2026, 2, 1), date(2026, 4, 1), date(2026, 5, 1), date(2026, 3, 20))
    keyed = {kind for each in [*key_items(), today_item()] for kind in kinds(each.picture)}
    assert {mark.kind for mark in due_strip(whole, is_small=True).marks} <= keyed
