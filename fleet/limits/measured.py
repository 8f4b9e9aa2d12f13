"""What a reading says on a limit's basis: the value, its qualifier and its uncertainty."""

import math

from fleet.limits.card import Card, FuelConstants
from fleet.limits.cases import Case, qualifier
from fleet.limits.quantities import Measure

Value = float | str | None


def measured(measure: Measure, case: Case, card: Card) -> tuple[Value, str, float | None]:
    """A reading's value on a row's basis, its qualifier, and the expanded uncertainty of the value.

    Without a usable O2 (or CO2) a concentration is "at_least" what it would be in undiluted gas. Uncertain are the
    figure itself and the O2 or CO2 that scaled it, each by the analyser's recorded accuracy.
    """
    raw = case.get(measure.field)
    if raw is None or isinstance(raw, str):
        return raw, "=", None
    by, said = measure.scaled_by, qualifier(case, measure.field)
    span, bound = _span(measure, case, card.fuel)
    value = 0.0 if bound and said == "less_than" else raw * measure.factor / span
    if measure.whole:
        value = float(math.floor(value + 0.5))
    if bound or case["too_dilute"]:
        return value, "at_least" if bound and said != "more_than" else said, None
    own = _expanded(measure.field, raw, card)
    other = 0.0 if by is None else _expanded(by, case[by], card)
    if own is None or other is None:
        return value, said, None
    own, other = own * measure.factor / span, value * other / span
    return value, said, math.sqrt(own * own + other * other)


def _span(measure: Measure, case: Case, fuel: FuelConstants) -> tuple[float, bool]:
    """What a figure is divided by, and whether that is only its largest, for want of a usable O2 or CO2."""
    by, in_air = measure.scaled_by, measure.o2_in_air_pct
    if by is None:
        return 1.0, False
    known = None if case["too_dilute"] else case[by]
    span = known if known is None or in_air is None else in_air - known
    if span is None or not span > 0:
        return fuel.co2_max_pct if in_air is None else in_air, True
    return span, False


def _expanded(field: str, value: float, card: Card) -> float | None:
    accuracy = card.analyser.accuracy.get(field)
    return None if accuracy is None else accuracy.at(value)
