"""The same marks on paper: where they stand, and that no figure covers another at a column's width."""

from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.presentation.due_rule import due_strip
from fleet.presentation.reading_rule import Pin, ReadingRule, reading_strip
from fleet.presentation.strips import Head, Words
from reports.strips import EM, StripDrawing
from reports.text import BOLD, width_pt
from tests.web.drawn import pin_boxes, word_boxes
from tests.web.samples import DUES, READINGS, co2

WIDTH_EM = 24.0
VALUES = st.floats(7.7, 10.3).map(lambda value: round(value, 2))
PINS = st.lists(VALUES.map(Pin), max_size=4)


class Drawn:
    """A canvas that only remembers what it was asked to do."""

    def __init__(self) -> None:
        self.said: list[tuple[float, str]] = []
        self.circles: list[float] = []
        self.font = (BOLD, EM)

    def setFont(self, face: str, size: float) -> None:
        self.font = (face, size)

    def drawString(self, x: float, _y: float, text: str) -> None:
        self.said += [(x, text), (x + width_pt(text, *self.font), "")]

    def circle(self, x: float, _y: float, _radius: float, **_how: Any) -> None:
        self.circles.append(x)

    def __getattr__(self, name: str) -> Any:
        return lambda *args, **named: Drawn() if name == "beginPath" else None


def drawn(rule: ReadingRule) -> Drawn:
    drawing = StripDrawing(reading_strip(rule, width_em=WIDTH_EM), WIDTH_EM * EM)
    drawing.canv = Drawn()
    drawing.draw()
    return drawing.canv


@pytest.mark.parametrize("name", READINGS)
def test_every_figure_of_a_rule_is_written_within_its_cell(name: str) -> None:
    strip, made = reading_strip(READINGS[name], width_em=WIDTH_EM), drawn(READINGS[name])
    said = [text for _x, text in made.said]
    assert all(each.figure in said for each in strip.marks if isinstance(each, Words))
    assert all(-EM <= x <= (WIDTH_EM + 1) * EM for x, _text in made.said)
    assert len(made.circles) == sum(isinstance(each, Head) and not each.beyond for each in strip.marks)


@pytest.mark.parametrize("name", DUES)
def test_a_due_date_is_drawn_by_the_same_hand(name: str) -> None:
    drawing = StripDrawing(due_strip(DUES[name], is_small=True), 90)
    drawing.canv = Drawn()
    drawing.draw()
    assert drawing.canv.said == []


@settings(max_examples=60, deadline=None, derandomize=True)
@given(PINS, PINS)
def test_no_figure_covers_another_figure_or_a_pin_at_a_known_width(found: list[Pin], left: list[Pin]) -> None:
    strip = reading_strip(co2(found, left), width_em=WIDTH_EM)
    words = word_boxes(strip, WIDTH_EM, has_words=True)
    assert not any(one.meets(other) for one, other in combinations(words, 2))
    assert not any(word.meets(pin) for word in words for pin in pin_boxes(strip, WIDTH_EM))
