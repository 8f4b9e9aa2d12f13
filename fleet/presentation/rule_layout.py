"""Where a rule's parts stand: the line with its stretch and walls, pins on either side, figures beside them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.presentation.labels import CAPTION_GAP_EM, PIN_GAP_EM, Label, Place, arrange, rows_used, text_em
from fleet.presentation.strips import Head, Mark, Span, Strip, Upright, Words


@dataclass(frozen=True)
class Line:
    """The line itself, in per cent of the width: what is drawn whether or not anything was read.

    unsure : walls of which it isn't known whether they apply or are kept.
    cut : ends (-1 left, 1 right) at which the stretch goes on beyond what is drawn.
    """

    stretch: tuple[float, float] | None
    beyond: Sequence[tuple[float, float]]
    walls: Sequence[float]
    unsure: Sequence[float] = ()
    notch: float | None = None
    today: float | None = None
    cut: Sequence[int] = ()


@dataclass(frozen=True)
class PinMark:
    """A pin at its place; `beyond` as for `Head`; `spread` is a forecast's range."""

    at_pct: float
    figure: str
    word: str
    beyond: int = 0
    spread: tuple[float, float] | None = None


@dataclass(frozen=True)
class Caption:
    """A wall's or a band end's figure, and the side of it where it would rather stand."""

    at_pct: float
    figure: str
    side: int


@dataclass(frozen=True)
class RuleSide:
    """What stands on one side of the line."""

    pins: Sequence[PinMark]
    captions: Sequence[Caption] = ()


@dataclass(frozen=True)
class _Sizes:
    """In em of the rule's text. `reach` is from the line to a pin's head, `room` from the head to the edge."""

    half_stretch: float
    spread: float
    half_wall: float
    reach: float
    radius: float
    room: float
    row: float


FULL = _Sizes(half_stretch=0.5, spread=0.75, half_wall=0.8, reach=1.4, radius=0.38, room=0.75, row=1.4)
TODAY_EM = 0.85  # over the walls, yet under the figures
SMALL = _Sizes(half_stretch=0.28, spread=0.45, half_wall=0.65, reach=0.9, radius=0.32, room=0.5, row=0.0)


def lay(
    line: Line, above: RuleSide, below: RuleSide, words: str, *, is_small: bool = False, width_em: float | None = None
) -> Strip:
    """The strip. A small one has no figures; a full one grows by a row wherever figures would meet.

    width_em : how wide it will be, where that is known (on paper); else it must do at any width.
    """
    size = SMALL if is_small else FULL
    places = [_places(side, is_small, width_em) for side in (above, below)]
    rows = [max(rows_used([*pins, *captions]), 1) for pins, captions in places]
    y = size.reach + size.room + (rows[0] - 1) * size.row
    marks = [
        *_line_marks(line, y, size),
        *_side_marks(above, places[0], y, -1, "left", size, is_small, line.stretch),
        *_side_marks(below, places[1], y, 1, "found", size, is_small, line.stretch),
    ]
    return Strip(marks, y + size.reach + size.room + (rows[1] - 1) * size.row, words)


def _places(side: RuleSide, is_small: bool, width_em: float | None) -> tuple[list[Place], list[Place]]:
    if is_small:
        return [Place(0, 1)] * len(side.pins), []
    return arrange(
        [
            Label(pin.at_pct, text_em(f"{pin.figure} {pin.word}"), text_em(pin.figure), side=_side(pin))
            for pin in side.pins
        ],
        [
            Label(each.at_pct, text_em(each.figure), text_em(each.figure), is_pin=False, side=each.side)
            for each in side.captions
        ],
        width_em,
    )


def _side(pin: PinMark) -> int:
    return -1 if pin.beyond > 0 else 1


def _line_marks(line: Line, y: float, size: _Sizes) -> Iterator[Mark]:
    yield Span(*_free_of(line.beyond), y, 0, "line")
    if line.stretch:
        yield Span(*line.stretch, y - size.half_stretch, 2 * size.half_stretch, "stretch")
    for cut in line.cut:
        yield Head(0 if cut < 0 else 100, y, size.half_stretch, "cut", cut)
    for beyond in line.beyond:
        yield Span(*beyond, y - size.half_stretch, 2 * size.half_stretch, "beyond")
    if line.notch is not None:
        yield Upright(line.notch, y - size.half_stretch, y + size.half_stretch, "notch")
    for wall in line.walls:
        yield Upright(wall, y - size.half_wall, y + size.half_wall, "wall")
    for wall in line.unsure:
        yield Upright(wall, y - size.half_wall, y + size.half_wall, "unsure")
    if line.today is not None:
        yield Upright(line.today, y - TODAY_EM, y + TODAY_EM, "today")


def _free_of(beyond: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The part of the line that isn't hatched; of no length where all of it is."""
    start = max((end for begin, end in beyond if begin <= 0), default=0.0)
    stop = min((begin for begin, end in beyond if end >= 100), default=100.0)
    return start, max(start, stop)


def _side_marks(
    side: RuleSide,
    places: tuple[list[Place], list[Place]],
    y: float,
    down: int,
    kind: str,
    size: _Sizes,
    is_small: bool,
    stretch: tuple[float, float] | None,
) -> Iterator[Mark]:
    """`down` is 1 below the line, -1 above it."""
    for pin, place in zip(side.pins, places[0], strict=True):
        head_y = y + down * (size.reach + place.row * size.row)
        # A stem begins outside the stretch, whose notch it would hide.
        edge_y = y + down * size.half_stretch if stretch and stretch[0] < pin.at_pct < stretch[1] else y
        yield Upright(pin.at_pct, min(edge_y, head_y), max(edge_y, head_y), "stem")
        if pin.spread:
            yield Span(*pin.spread, y + down * size.spread, 0, "spread")
        yield Head(pin.at_pct, head_y, size.radius, kind, pin.beyond)
        if not is_small:
            yield Words(pin.at_pct, PIN_GAP_EM, head_y + 0.35, place.side, pin.figure, pin.word)
    for caption, place in zip(side.captions, places[1], strict=False):
        baseline = y + down * (size.reach + place.row * size.row) + 0.35
        yield Words(caption.at_pct, CAPTION_GAP_EM, baseline, place.side, caption.figure, kind="caption")
