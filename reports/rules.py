"""The rule on paper: a line for what could be, a stretch where it should be, walls, and what was found and left.

Black and white throughout. Sizes are in points (1/72 inch).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from reportlab.lib.colors import Color, black, white
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from reports.typefaces import BOLD, REGULAR, width_pt

GREY = Color(0.74, 0.74, 0.74)
FIGURE_SIZE, WORD_SIZE = 8.0, 7.0
HALF_STRETCH, HALF_WALL, RADIUS = 4.5, 8.0, 3.1
REACH, ROW = 13.0, 9.0
HALF_TEXT = 4.5
PIN_GAP, CAPTION_GAP, APART = 6.0, 3.0, 3.0
HATCH_STEP = 4.5

Side = Literal["lower", "upper"]


@dataclass(frozen=True)
class Pin:
    """What was read: at its value, or at an end of the line (beyond -1 or 1) where the true value lies past it."""

    at: float
    figure: str
    word: str
    beyond: int = 0


@dataclass(frozen=True)
class Wall:
    """A limit and the side of it that is out. One of which it isn't known whether it applies has no hatching."""

    at: float
    figure: str
    beyond: Side
    is_sure: bool = True


@dataclass(frozen=True)
class Rule:
    """One quantity at one rate, all in that quantity's unit. `low` and `high` are the line's ends.

    stretch: where it should be; target: the notch in it; ends: the stretch's ends with their figures.
    """

    low: float
    high: float
    stretch: tuple[float, float] | None = None
    target: float | None = None
    ends: Sequence[tuple[float, str]] = ()
    walls: Sequence[Wall] = ()
    found: Sequence[Pin] = ()
    left: Sequence[Pin] = ()

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"the line must rise, not go from {self.low} to {self.high}")

    def x(self, at: float, width: float) -> float:
        """How far along the line a value stands, kept on it."""
        return min(max((at - self.low) / (self.high - self.low), 0.0), 1.0) * width


@dataclass(frozen=True)
class Placed:
    """A text from `start` to `end`, in row 0 next to the line or further out; `stem` is the pin's x."""

    start: float
    end: float
    row: int
    stem: float | None
    pin: Pin | None
    text: str


def place(pins: Sequence[tuple[float, Pin]], captions: Sequence[tuple[float, str, int]], width: float) -> list[Placed]:
    """Where texts on one side of the line stand so that none covers another, as near to the line as can be.

    captions: x, text, and the side where it would rather stand (-1 left, 1 right).
    """
    placed: list[Placed] = []
    for x, pin in sorted(pins, key=lambda each: each[0]):
        text_width = _pin_width(pin)
        placed.append(_first_free(_choices(x, text_width, PIN_GAP, -pin.beyond or 1, pin, ""), placed, width))
    for x, text, side in captions:
        text_width = width_pt(text, REGULAR, WORD_SIZE)
        placed.append(_first_free(_choices(x, text_width, CAPTION_GAP, side, None, text), placed, width))
    return placed


def _pin_width(pin: Pin) -> float:
    return width_pt(pin.figure, BOLD, FIGURE_SIZE) + width_pt(f" {pin.word}", REGULAR, WORD_SIZE)


def _choices(x: float, wide: float, gap: float, side: int, pin: Pin | None, text: str) -> Iterator[Placed]:
    row = 0
    while True:
        for each in (side, -side):
            start = x + gap if each > 0 else x - gap - wide
            yield Placed(start, start + wide, row, x if pin else None, pin, text)
        row += 1


def _first_free(choices: Iterator[Placed], placed: Sequence[Placed], width: float) -> Placed:
    """Beyond the last row nothing stands in the way, so there always is one."""
    return next(each for each in choices if each.row > len(placed) or _is_free(each, placed, width))


def _is_free(one: Placed, placed: Sequence[Placed], width: float) -> bool:
    is_inside = one.start >= -APART and one.end <= width + APART
    return is_inside and not any(_covers(one, each) for each in placed)


def _covers(one: Placed, other: Placed) -> bool:
    if one.row == other.row and one.start < other.end + APART and other.start < one.end + APART:
        return True
    return _stem_crosses(one, other) or _stem_crosses(other, one)


def _stem_crosses(one: Placed, other: Placed) -> bool:
    """Whether the stem or head of `one` runs through the text or head of `other`."""
    if one.stem is None or one.row < other.row:
        return False
    heads_meet = other.stem is not None and one.row == other.row and abs(one.stem - other.stem) < 2 * RADIUS + 1
    return heads_meet or other.start - RADIUS < one.stem < other.end + RADIUS


class RuleDrawing(Flowable):
    """A rule as wide as the cell that it stands in."""

    def __init__(self, rule: Rule, width: float) -> None:
        super().__init__()
        self.rule, self.width = rule, width
        x = rule.x
        walls = [(x(each.at, width), each.figure, -1 if each.beyond == "lower" else 1) for each in rule.walls]
        ends = [(x(at, width), text, -1 if n == 0 else 1) for n, (at, text) in enumerate(rule.ends)]
        self.above = place([(self._pin_x(each), each) for each in rule.left], walls, width)
        self.below = place([(self._pin_x(each), each) for each in rule.found], ends, width)
        self.line_y = self._reach(self.below)
        self.height = self.line_y + self._reach(self.above)

    @staticmethod
    def _reach(placed: Sequence[Placed]) -> float:
        """How far one side's texts go out from the line."""
        if not placed:
            return HALF_WALL + 1
        return REACH + HALF_TEXT + ROW * max(each.row for each in placed)

    def _pin_x(self, pin: Pin) -> float:
        at = {-1: self.rule.low, 0: pin.at, 1: self.rule.high}[pin.beyond]
        return self.rule.x(at, self.width)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.translate(0, self.line_y)
        self.canv.setStrokeColor(black)
        self.canv.setFillColor(black)
        self._draw_line()
        for each in self.above:
            self._draw_placed(each, 1)
        for each in self.below:
            self._draw_placed(each, -1)

    def _draw_line(self) -> None:
        c, rule, width = self.canv, self.rule, self.width
        sure = [each for each in rule.walls if each.is_sure]
        lowest = max((rule.x(each.at, width) for each in sure if each.beyond == "lower"), default=0.0)
        highest = min((rule.x(each.at, width) for each in sure if each.beyond == "upper"), default=width)
        for start, end in ((0.0, min(lowest, width)), (highest, width)):
            if end - start > 0.5:
                hatch(c, start, -HALF_STRETCH, end - start, 2 * HALF_STRETCH)
        if lowest < highest:
            c.setLineWidth(0.8)
            c.line(lowest, 0, highest, 0)
        self._draw_stretch()
        for wall in rule.walls:
            at = rule.x(wall.at, width)
            c.setLineWidth(2 if wall.is_sure else 0.8)
            c.line(at, -HALF_WALL, at, HALF_WALL)

    def _draw_stretch(self) -> None:
        c, rule = self.canv, self.rule
        if rule.stretch is None:
            return
        start, end = (rule.x(each, self.width) for each in rule.stretch)
        c.setLineWidth(0.7)
        c.setFillColor(GREY)
        c.rect(start, -HALF_STRETCH, end - start, 2 * HALF_STRETCH, fill=1)
        c.setFillColor(black)
        if rule.target is not None:
            at = rule.x(rule.target, self.width)
            c.setStrokeColor(white)
            c.setLineWidth(1.6)
            c.line(at, -HALF_STRETCH + 0.4, at, HALF_STRETCH - 0.4)
            c.setStrokeColor(black)

    def _draw_placed(self, placed: Placed, way: int) -> None:
        y = way * (REACH + ROW * placed.row)
        if placed.pin is None or placed.stem is None:
            self._say(placed.start, y, placed.text, REGULAR, WORD_SIZE)
            return
        self._draw_pin(placed.pin, placed.stem, y, way)
        after = self._say(placed.start, y, placed.pin.figure, BOLD, FIGURE_SIZE)
        self._say(after, y, f" {placed.pin.word}", REGULAR, WORD_SIZE)

    def _edge(self, x: float) -> float:
        """Where a pin's stem begins: outside the stretch, whose notch it would hide, else on the line."""
        start, end = (self.rule.x(each, self.width) for each in self.rule.stretch or (self.rule.low, self.rule.low))
        return HALF_STRETCH if start < x < end else 0.0

    def _draw_pin(self, pin: Pin, x: float, y: float, way: int) -> None:
        """Filled above the line, open below it; an arrow at the line's end where the true value lies beyond."""
        c = self.canv
        c.setLineWidth(1.3)
        c.line(x, way * self._edge(x), x, y - way * RADIUS)
        c.setFillColor(black if way > 0 else white)
        if pin.beyond:
            point, back = x + pin.beyond * (RADIUS + 1.5), x - pin.beyond * RADIUS
            path = c.beginPath()
            path.moveTo(point, y)
            path.lineTo(back, y + RADIUS + 0.6)
            path.lineTo(back, y - RADIUS - 0.6)
            path.close()
            c.drawPath(path, stroke=1, fill=1)
        else:
            c.circle(x, y, RADIUS, stroke=1, fill=1)
        c.setFillColor(black)

    def _say(self, x: float, y: float, text: str, face: str, size: float) -> float:
        self.canv.setFont(face, size)
        self.canv.drawString(x, y - 0.34 * size, text)
        return x + width_pt(text, face, size)


def hatch(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    """Slanting strokes that fill a box."""
    canvas.saveState()
    box = canvas.beginPath()
    box.rect(x, y, width, height)
    canvas.clipPath(box, stroke=0, fill=0)
    canvas.setLineWidth(1.1)
    at = x - height
    while at < x + width:
        canvas.line(at, y, at + height, y + height)
        at += HATCH_STEP
    canvas.restoreState()
