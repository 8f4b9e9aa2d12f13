"""A strip: marks along a horizontal line of any width.

Across, a mark belongs to a place in per cent of the width and is shifted from it in em, so a strip fits any
width and grows with its text. Down is in em from the top. `kind` says what a mark is; the style sheet says
how it looks."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from fleet.web.svg import element


@dataclass(frozen=True)
class Span:
    """A horizontal bar from one place to another; of no height: a line."""

    from_pct: float
    to_pct: float
    y_em: float
    height_em: float
    kind: str

    def svg(self) -> SafeString:
        if not self.height_em:
            x1, x2, y = _pct(self.from_pct), _pct(self.to_pct), _em(self.y_em)
            return element("line", class_=self.kind, x1=x1, x2=x2, y1=y, y2=y)
        return element(
            "rect",
            class_=self.kind,
            x=_pct(self.from_pct),
            width=_pct(self.to_pct - self.from_pct),
            y=_em(self.y_em),
            height=_em(self.height_em),
            fill="url(#hatching)" if self.kind == "beyond" else None,
        )


@dataclass(frozen=True)
class Upright:
    """An upright stroke: a wall, a stem, a notch, today."""

    at_pct: float
    top_em: float
    bottom_em: float
    kind: str

    def svg(self) -> SafeString:
        x = _pct(self.at_pct)
        return element("line", class_=self.kind, x1=x, x2=x, y1=_em(self.top_em), y2=_em(self.bottom_em))


@dataclass(frozen=True)
class Head:
    """A pin's head: round, or where the true place lies beyond the line's end (-1 left, 1 right) an arrow."""

    at_pct: float
    y_em: float
    radius_em: float
    kind: str
    beyond: int = 0

    def svg(self) -> SafeString:
        if not self.beyond:
            x, y, radius = _pct(self.at_pct), _em(self.y_em), _em(self.radius_em)
            return element("circle", class_=self.kind, cx=x, cy=y, r=radius)
        tip, back = 10 * self.beyond, -7 * self.beyond
        return element(
            "svg",
            element("path", class_=self.kind, d=f"M{tip} 0L{back} -10L{back} 10Z"),
            x=_pct(self.at_pct),
            y=_em(self.y_em),
            width=_em(self.radius_em),
            height=_em(self.radius_em),
            viewBox="0 0 10 10",
            overflow="visible",
        )


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

    def svg(self) -> SafeString:
        word = element("tspan", f" {self.word}", class_="word") if self.word else ""
        return element(
            "text",
            self.figure,
            word,
            class_=self.kind,
            x=_pct(self.at_pct),
            dx=_em(self.dx_em * self.side),
            y=_em(self.y_em),
            text_anchor="start" if self.side > 0 else "end",
        )


Mark = Span | Upright | Head | Words


@dataclass(frozen=True)
class Strip:
    """Marks in the order they are drawn, the strip's height, and all of it said in words.

    No words: the strip only repeats what the text beside it says.
    """

    marks: Sequence[Mark]
    height_em: float
    words: str


def strip_svg(strip: Strip, *, is_small: bool = False) -> SafeString:
    """The strip as one labelled picture. Hatching is painted with the pattern that every page defines
    once."""
    return element(
        "svg",
        element("title", strip.words) if strip.words else "",
        *(mark.svg() for mark in strip.marks),
        class_="rule small" if is_small else "rule",
        role="img" if strip.words else None,
        aria_hidden=None if strip.words else "true",
        width="100%",
        height=_em(strip.height_em),
    )


def _pct(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") + "%"


def _em(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") + "em"
