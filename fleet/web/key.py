"""The key line: what the marks of a rule mean, in the marks themselves."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext

from fleet.presentation.strip import Head, Mark, Span, Strip, Upright
from fleet.web.strips import strip_svg

HEIGHT_EM = 1.9
_LINE = Span(0, 100, 0.95, 0, "line")
STRETCH = (_LINE, Span(15, 85, 0.6, 0.7, "stretch"), Upright(50, 0.6, 1.3, "notch"))
WALL = (Span(0, 45, 0.95, 0, "line"), Span(45, 100, 0.6, 0.7, "beyond"), Upright(45, 0.3, 1.6, "wall"))
FOUND = (Span(0, 100, 0.3, 0, "line"), Upright(50, 0.3, 1.3, "stem"), Head(50, 1.35, 0.32, "found"))
LEFT = (Span(0, 100, 1.6, 0, "line"), Upright(50, 0.6, 1.6, "stem"), Head(50, 0.55, 0.32, "left"))
TODAY = (_LINE, Upright(50, 0.1, 1.8, "today"))


@dataclass(frozen=True)
class KeyItem:
    picture: SafeString
    words: str


def key_items() -> list[KeyItem]:
    """Every mark that a reading's or a due date's rule may bear."""
    return [
        _item(STRETCH, gettext("where it should be, notch: target")),
        _item(WALL, gettext("limit or last day, and beyond")),
        _item(FOUND, gettext("below: as found, or expected")),
        _item(LEFT, gettext("above: as left, or planned")),
    ]


def today_item() -> KeyItem:
    return _item(TODAY, gettext("today"))


def _item(marks: Sequence[Mark], words: str) -> KeyItem:
    return KeyItem(strip_svg(Strip(marks, HEIGHT_EM, ""), is_small=True), words)
