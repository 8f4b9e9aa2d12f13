"""A strip: marks along a horizontal line of any width, as data that a page and a paper draw alike.

Across, a mark belongs to a place in per cent of the width and is shifted from it in em, so a strip fits any
width and grows with its text. Down is in em from the top. `kind` says what a mark is; how it looks is the
drawer's: `fleet/web/strips.py` on pages, `reports/strips.py` on paper."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Span:
    """A horizontal bar from one place to another; of no height: a line.

    kind : line, stretch, period, spread, or beyond (hatched).
    """

    from_pct: float
    to_pct: float
    y_em: float
    height_em: float
    kind: str


@dataclass(frozen=True)
class Upright:
    """An upright stroke: a wall, one that is unsure, a stem, a notch, today."""

    at_pct: float
    top_em: float
    bottom_em: float
    kind: str


@dataclass(frozen=True)
class Head:
    """A pin's head, found (open) or left (filled): round, or where the true place lies beyond the line's end (-1 left,
    1 right) an arrow. Of kind cut: the stretch goes on there."""

    at_pct: float
    y_em: float
    radius_em: float
    kind: str
    beyond: int = 0


@dataclass(frozen=True)
class Words:
    """A figure and the word after it, beside a place; side 1 begins there, -1 ends there."""

    at_pct: float
    dx_em: float
    y_em: float
    side: int
    figure: str
    word: str = ""
    kind: str = "figure"


Mark = Span | Upright | Head | Words


@dataclass(frozen=True)
class Strip:
    """Marks in the order they are drawn, the strip's height, and all of it said in words.

    No words: the strip only repeats what the text beside it says.
    """

    marks: Sequence[Mark]
    height_em: float
    words: str
