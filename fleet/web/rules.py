"""The rule: what could be, where it should be, where it must stop, what was found and what was left.

The line is what could be, the stretch on it where it should be (notched at the target), an upright wall
where it must stop, hatching is beyond the wall. A pin below the line, open, is what was found or is
expected; a pin above it, filled, is what was left or is planned. Plain data in; out comes one labelled SVG
that fits any width."""

from django.utils.safestring import SafeString

from fleet.web.due_rule import DueRule, due_strip, due_words
from fleet.web.reading_rule import Pin, ReadingRule, Wall, reading_strip, reading_words
from fleet.web.strip import Strip, strip_svg

__all__ = [
    "DueRule",
    "Pin",
    "ReadingRule",
    "Wall",
    "due_strip",
    "due_words",
    "reading_strip",
    "reading_words",
    "rule_svg",
    "small_rule_svg",
]


def rule_svg(rule: ReadingRule | DueRule) -> SafeString:
    """The rule with its figures."""
    return strip_svg(_strip(rule, is_small=False))


def small_rule_svg(rule: ReadingRule | DueRule) -> SafeString:
    """The rule without figures, for a row that says them beside it."""
    return strip_svg(_strip(rule, is_small=True), is_small=True)


def _strip(rule: ReadingRule | DueRule, *, is_small: bool) -> Strip:
    if isinstance(rule, DueRule):
        return due_strip(rule, is_small=is_small)
    return reading_strip(rule, is_small=is_small)
