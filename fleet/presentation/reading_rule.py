"""A reading on the rule: plausible range, band with its target, limits, what was found and what was left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext

from fleet.presentation.figures import figure, from_to, qualified
from fleet.presentation.rule_layout import Caption, Line, PinMark, RuleSide, lay
from fleet.presentation.strips import Strip

Side = Literal["lower", "upper"]
Qualifier = Literal["=", "more_than", "less_than", "at_least"]


@dataclass(frozen=True)
class Pin:
    """A value on a rule, in the rule's unit.

    word : what it is, where "found" and "left" don't say it ("before", "expected", "while firing").
    text : the value as it was read, at its own resolution; None writes it at the rule's decimals.
    qualifier : all but "=" stand at the line's end with an arrow: the true value lies beyond.
    spread : from and to, where the value is a forecast that may as well be anywhere between.
    """

    at: float
    word: str = ""
    text: str | None = None
    qualifier: Qualifier = "="
    spread: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.at):
            raise ValueError(f"a pin needs a number, not {self.at}")


@dataclass(frozen=True)
class Wall:
    """A limit, in the rule's unit; `beyond` is the side that is out of it.

    is_sure : False where it isn't known whether the limit applies or is kept: then nothing is hatched beyond it.
    """

    at: float
    beyond: Side
    is_sure: bool = True


@dataclass(frozen=True)
class ReadingRule:
    """One quantity at one rate.

    label, unit : what is measured, in what; said, not drawn.
    low, high : the plausible range, which the line covers [unit].
    decimals : of the figures that carry no text of their own.
    band_lower, band_upper, target : where it should be [unit]; an open end of the band runs to the line end.
    walls, found, left : any number of each; none where nothing is set or nothing was read.
    """

    label: str
    unit: str
    low: float
    high: float
    decimals: int
    band_lower: float | None = None
    band_upper: float | None = None
    target: float | None = None
    walls: Sequence[Wall] = ()
    found: Sequence[Pin] = ()
    left: Sequence[Pin] = ()

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"the range must rise, not go from {self.low} to {self.high}")
        if self.band_lower is not None and self.band_upper is not None and self.band_lower > self.band_upper:
            raise ValueError(f"the band must rise, not go from {self.band_lower} to {self.band_upper}")


def reading_strip(rule: ReadingRule, *, is_small: bool = False, width_em: float | None = None) -> Strip:
    """The rule as marks; `width_em` as for `lay`."""
    walls = [wall for wall in rule.walls if rule.low < wall.at < rule.high]
    line = Line(
        stretch=_stretch(rule),
        beyond=_beyond(rule),
        walls=[_pct(rule, wall.at) for wall in walls if wall.is_sure],
        unsure=[_pct(rule, wall.at) for wall in walls if not wall.is_sure],
        notch=_notch(rule),
    )
    limits = [_wall_caption(rule, wall) for wall in walls]
    above = RuleSide([_pin_mark(rule, pin, gettext("left")) for pin in rule.left], limits)
    below = RuleSide([_pin_mark(rule, pin, gettext("found")) for pin in rule.found], _band_ends(rule))
    return lay(line, above, below, reading_words(rule), is_small=is_small, width_em=width_em)


def reading_words(rule: ReadingRule) -> str:
    """All that the rule shows, as a sentence."""
    found = _pins_in_words(rule, rule.found, gettext("found"))
    left = _pins_in_words(rule, rule.left, gettext("left"))
    parts = [*found, *left] or [gettext("nothing read")]
    if _has_band(rule):
        parts.append(gettext("should be %(range)s") % {"range": _band_in_words(rule)})
    if rule.target is not None:
        parts.append(gettext("target %(figure)s") % {"figure": figure(rule.target, rule.decimals)})
    parts += [_wall_in_words(rule, wall) for wall in rule.walls]
    name = f"{rule.label}, {rule.unit}" if rule.unit else rule.label
    return f"{name}: {'; '.join(parts)}."


def _pct(rule: ReadingRule, value: float) -> float:
    return min(max(100 * (value - rule.low) / (rule.high - rule.low), 0.0), 100.0)


def _has_band(rule: ReadingRule) -> bool:
    return rule.band_lower is not None or rule.band_upper is not None


def _stretch(rule: ReadingRule) -> tuple[float, float] | None:
    if not _has_band(rule):
        return None
    lower = 0.0 if rule.band_lower is None else _pct(rule, rule.band_lower)
    upper = 100.0 if rule.band_upper is None else _pct(rule, rule.band_upper)
    return (lower, upper) if lower < upper else None


def _beyond(rule: ReadingRule) -> list[tuple[float, float]]:
    """Hatched from the narrowest limit of each side on."""
    sure = [wall for wall in rule.walls if wall.is_sure]
    lowest = max((_pct(rule, wall.at) for wall in sure if wall.beyond == "lower"), default=0.0)
    highest = min((_pct(rule, wall.at) for wall in sure if wall.beyond == "upper"), default=100.0)
    return [(start, end) for start, end in ((0.0, lowest), (highest, 100.0)) if start < end]


def _notch(rule: ReadingRule) -> float | None:
    if rule.target is None or not rule.low < rule.target < rule.high:
        return None
    return _pct(rule, rule.target)


def _wall_caption(rule: ReadingRule, wall: Wall) -> Caption:
    """Its figure stands on the hatched side."""
    shown = figure(wall.at, rule.decimals) + ("" if wall.is_sure else "?")
    return Caption(_pct(rule, wall.at), shown, -1 if wall.beyond == "lower" else 1)


def _band_ends(rule: ReadingRule) -> list[Caption]:
    """The figures of those ends that the line shows; an end at the line's own end says nothing."""
    ends = ((rule.band_lower, -1), (rule.band_upper, 1))
    return [
        Caption(_pct(rule, at), figure(at, rule.decimals), side)
        for at, side in ends
        if at is not None and rule.low < at < rule.high
    ]


def _pin_mark(rule: ReadingRule, pin: Pin, word: str) -> PinMark:
    beyond = _lies_beyond(rule, pin)
    at_pct = {-1: 0.0, 0: _pct(rule, pin.at), 1: 100.0}[beyond]
    spread = None if pin.spread is None else (_pct(rule, pin.spread[0]), _pct(rule, pin.spread[1]))
    return PinMark(at_pct, _pin_figure(rule, pin), pin.word or word, beyond, spread)


def _lies_beyond(rule: ReadingRule, pin: Pin) -> int:
    if pin.qualifier in ("more_than", "at_least") or pin.at > rule.high:
        return 1
    return -1 if pin.qualifier == "less_than" or pin.at < rule.low else 0


def _pin_figure(rule: ReadingRule, pin: Pin) -> str:
    sign = {"=": "", "more_than": "> ", "less_than": "< ", "at_least": "≥ "}[pin.qualifier]
    return sign + (pin.text or figure(pin.at, rule.decimals))


def _pins_in_words(rule: ReadingRule, pins: Sequence[Pin], word: str) -> list[str]:
    shown = [pin.text or figure(pin.at, rule.decimals) for pin in pins]
    return [f"{pin.word or word} {qualified(text, pin.qualifier)}" for pin, text in zip(pins, shown, strict=True)]


def _band_in_words(rule: ReadingRule) -> str:
    lower, upper = (None if end is None else figure(end, rule.decimals) for end in (rule.band_lower, rule.band_upper))
    return from_to(lower, upper)


def _wall_in_words(rule: ReadingRule, wall: Wall) -> str:
    shown = {"figure": figure(wall.at, rule.decimals)}
    if not wall.is_sure:
        return gettext("limit of %(figure)s: whether it applies or is kept can't be told") % shown
    if wall.beyond == "lower":
        return gettext("limit: not under %(figure)s") % shown
    return gettext("limit: not over %(figure)s") % shown
