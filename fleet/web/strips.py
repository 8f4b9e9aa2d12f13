"""Strips drawn as SVG. The style sheet says how a mark of each kind looks."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext

from fleet.presentation.due_rule import DueRule, due_strip
from fleet.presentation.reading_rule import ReadingRule, reading_strip
from fleet.presentation.statements import StatementRule, statement_strip
from fleet.presentation.strips import Head, Mark, Span, Strip, Upright, Words
from fleet.web.svg import element, number

AnyRule = ReadingRule | DueRule | StatementRule


def rule_svg(rule: AnyRule) -> SafeString:
    """The rule with its figures."""
    return strip_svg(_strip(rule, is_small=False))


def small_rule_svg(rule: AnyRule) -> SafeString:
    """The rule without figures, for a row that says them beside it."""
    return strip_svg(_strip(rule, is_small=True), is_small=True)


def _strip(rule: AnyRule, *, is_small: bool) -> Strip:
    if isinstance(rule, StatementRule):
        return statement_strip(rule)
    if isinstance(rule, DueRule):
        return due_strip(rule, is_small=is_small)
    return reading_strip(rule, is_small=is_small)


def strip_svg(strip: Strip, *, is_small: bool = False) -> SafeString:
    """The strip as one labelled picture. Hatching is painted with the pattern that every page defines once."""
    return element(
        "svg",
        element("title", strip.words) if strip.words else "",
        *(_mark(each) for each in strip.marks),
        class_="rule small" if is_small else "rule",
        role="img" if strip.words else None,
        aria_hidden=None if strip.words else "true",
        width="100%",
        height=_em(strip.height_em),
    )


def _mark(mark: Mark) -> SafeString:
    if isinstance(mark, Span):
        return _span(mark)
    if isinstance(mark, Upright):
        x = _pct(mark.at_pct)
        return element("line", class_=mark.kind, x1=x, x2=x, y1=_em(mark.top_em), y2=_em(mark.bottom_em))
    return _head(mark) if isinstance(mark, Head) else _words(mark)


def _span(span: Span) -> SafeString:
    if not span.height_em:
        x1, x2, y = _pct(span.from_pct), _pct(span.to_pct), _em(span.y_em)
        return element("line", class_=span.kind, x1=x1, x2=x2, y1=y, y2=y)
    return element(
        "rect",
        class_=span.kind,
        x=_pct(span.from_pct),
        width=_pct(span.to_pct - span.from_pct),
        y=_em(span.y_em),
        height=_em(span.height_em),
        fill="url(#hatching)" if span.kind == "beyond" else None,
    )


def _head(head: Head) -> SafeString:
    if not head.beyond:
        x, y, radius = _pct(head.at_pct), _em(head.y_em), _em(head.radius_em)
        return element("circle", class_=head.kind, cx=x, cy=y, r=radius)
    tip, back = 10 * head.beyond, -7 * head.beyond
    return element(
        "svg",
        element("path", class_=head.kind, d=f"M{tip} 0L{back} -10L{back} 10Z"),
        x=_pct(head.at_pct),
        y=_em(head.y_em),
        width=_em(head.radius_em),
        height=_em(head.radius_em),
        viewBox="0 0 10 10",
        overflow="visible",
    )


def _words(words: Words) -> SafeString:
    return element(
        "text",
        words.figure,
        element("tspan", f" {words.word}", class_="word") if words.word else "",
        class_=words.kind,
        x=_pct(words.at_pct),
        dx=_em(words.dx_em * words.side),
        y=_em(words.y_em),
        text_anchor="start" if words.side > 0 else "end",
    )


def _pct(value: float) -> str:
    return f"{number(value)}%"


def _em(value: float) -> str:
    return f"{number(value)}em"


# ---- the key line: what the marks of a rule mean, in the marks themselves ----

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
