"""Where the figures beside pins and walls go, so that none covers another.

One side of a rule (above the line, or below it) is rows of text, row 0 next to the line. A pin's stem reaches up to its
own row and its figure stands beside its head; a caption (the figure of a wall or of a band's end) has no stem. How wide
a page's drawing will be isn't known here, so a place must do both in a common column and, without the words that the
style sheet hides there, on a narrow telephone with doubled text; a paper says its width."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

PIN_GAP_EM = 0.65
CAPTION_GAP_EM = 0.35
APART_EM = 0.25
HALF_HEAD_EM = 0.5
OVERHANG_EM = 0.8  # into the margin that every page keeps beside its column
MOST_PINS_SEARCHED = 4


@dataclass(frozen=True)
class Label:
    """A text that belongs to `at_pct` of the width, so long with its words and so long without them [em].

    `side` is where it would rather stand: 1 right of its place, -1 left of it.
    """

    at_pct: float
    full_em: float
    short_em: float
    is_pin: bool = True
    side: int = 1


@dataclass(frozen=True)
class Place:
    row: int
    side: int


@dataclass(frozen=True)
class _Width:
    em: float
    has_words: bool


WIDTHS = (_Width(20.0, True), _Width(10.5, False))
Placed = tuple[Label, Place]
Widths = Sequence[_Width]


def text_em(text: str) -> float:
    """About how long a text is: the widest figure of the font is 0.63 em, points and spaces are 0.3 em."""
    return sum(0.3 if char in ".,:; \u202f" else 0.62 for char in text)


def arrange(
    pins: Sequence[Label], captions: Sequence[Label], width_em: float | None = None
) -> tuple[list[Place], list[Place]]:
    """Places for the pins' figures and for the captions, as near to the line as can be, at this width or at any."""
    widths = WIDTHS if width_em is None else (_Width(width_em, True),)
    places = _arrange_pins(pins, widths)
    placed: list[Placed] = list(zip(pins, places, strict=True))
    for caption in captions:
        placed.append((caption, _place_caption(caption, placed, widths)))
    return places, [place for _, place in placed[len(pins) :]]


def rows_used(places: Sequence[Place]) -> int:
    return max((place.row for place in places), default=-1) + 1


def _arrange_pins(pins: Sequence[Label], widths: Widths) -> list[Place]:
    if len(pins) <= MOST_PINS_SEARCHED:
        for places in _flattest_first(pins):
            placed = list(zip(pins, places, strict=True))
            if all(_is_free(one, placed[:n] + placed[n + 1 :], widths) for n, one in enumerate(placed)):
                return list(places)
    return _staircase(pins)


def _flattest_first(pins: Sequence[Label]) -> Iterator[tuple[Place, ...]]:
    """Every arrangement, the lowest first, preferred sides before the others."""
    for height in range(1, max(len(pins), 1) + 1):
        choices = [[Place(row, side * pin.side) for row in range(height) for side in (1, -1)] for pin in pins]
        yield from (places for places in product(*choices) if rows_used(places) in (height, 0))


def _staircase(pins: Sequence[Label]) -> list[Place]:
    """A row each, rising to the left, so that no stem crosses a figure that stands to the right of its pin."""
    from_the_right = sorted(range(len(pins)), key=lambda index: -pins[index].at_pct)
    return [Place(from_the_right.index(index), 1) for index in range(len(pins))]


def _place_caption(caption: Label, placed: Sequence[Placed], widths: Widths) -> Place:
    fresh_row = rows_used([place for _, place in placed])
    choices = [Place(row, side) for row in range(fresh_row + 1) for side in (caption.side, -caption.side)]
    inwards = Place(fresh_row, 1 if caption.at_pct < 50 else -1)
    return next((place for place in choices if _is_free((caption, place), placed, widths)), inwards)


def _is_free(one: Placed, others: Sequence[Placed], widths: Widths) -> bool:
    return all(_is_inside(one, width) and not any(_covers(one, other, width) for other in others) for width in widths)


def _is_inside(one: Placed, width: _Width) -> bool:
    start, end = _extent(one, width)
    return start >= -OVERHANG_EM and end <= width.em + OVERHANG_EM


def _covers(one: Placed, other: Placed, width: _Width) -> bool:
    """Whether the text covers the other's text, or a head or stem that passes through its row."""
    (start, end), (other_start, other_end) = _extent(one, width), _extent(other, width)
    if one[1].row == other[1].row and start < other_end + APART_EM and other_start < end + APART_EM:
        return True
    stem = other[0].at_pct / 100 * width.em
    passes = other[0].is_pin and other[1].row >= one[1].row
    return passes and start < stem + HALF_HEAD_EM and stem - HALF_HEAD_EM < end


def _extent(one: Placed, width: _Width) -> tuple[float, float]:
    label, place = one
    near = label.at_pct / 100 * width.em + place.side * (PIN_GAP_EM if label.is_pin else CAPTION_GAP_EM)
    far = near + place.side * (label.full_em if width.has_words else label.short_em)
    return min(near, far), max(near, far)
