"""What a forecast says, in one sentence: how it has moved, what this model does, and by when the chance is used up."""

import math
from datetime import date
from typing import NamedTuple

from django.utils.translation import gettext as _

from fleet.services.ceilings import CO, TEMP_RISE
from fleet.services.series import Series

NAMES = {"co2": "CO₂", "o2": "O₂", CO: "CO air-free", TEMP_RISE: "the flue's rise above the intake air"}
UNITS = {CO: "ppm", TEMP_RISE: "K"}
_ONE_IN = {2: "two", 4: "four", 5: "five", 10: "ten", 20: "twenty", 50: "fifty", 100: "a hundred"}
KEEPS = {CO: 1.0, TEMP_RISE: 0.5}
KEEPS_PCT = 0.01


class Outlook(NamedTuple):
    """pace, model_pace : drift a year on the scale it drifts on; model_pace None where no fit has seen this model.

    horizon_on : the day on which the accepted chance is used up, None beyond what can be said.
    is_due     : it is used up already.    is_lower : the lower limit is the nearer one.
    """

    pace: float
    model_pace: float | None
    horizon_on: date | None
    is_due: bool
    is_lower: bool
    accepted_chance: float


def sentence(series: Series, seen: Outlook) -> str:
    return f"{_pace_words(series, seen)}; {_reach_words(series, seen)}."[:500]


def quantity_words(quantity: str, rate: str) -> str:
    """A quantity at a rate, as the sentence names it."""
    return _("%(quantity)s at %(rate)s fire") % {"quantity": NAMES[quantity], "rate": rate}


def pace_figure(quantity: str, pace: float) -> float:
    """Drift a year as one says it: points of gas, per cent of CO, K."""
    return 100.0 * math.expm1(pace) if quantity == CO else pace


def _pace_words(series: Series, seen: Outlook) -> str:
    quantity, visits = series.quantity, len(series.entries)
    pace = pace_figure(quantity, seen.pace)
    words = {
        "what": quantity_words(quantity, series.rate),
        "pace": _figure(quantity, abs(pace)),
        "visits": visits,
        "model": _model_words(quantity, pace, seen.model_pace),
    }
    keeps, falls = abs(pace) < KEEPS.get(quantity, KEEPS_PCT), pace < 0
    if visits < 2:
        if keeps:
            return _("%(what)s is expected to keep its level%(model)s") % words
        expected = _("%(what)s is expected to fall %(pace)s a year%(model)s")
        return (expected if falls else _("%(what)s is expected to rise %(pace)s a year%(model)s")) % words
    if keeps:
        return _("%(what)s has kept its level over %(visits)d visits%(model)s") % words
    fallen = _("%(what)s has fallen %(pace)s a year over %(visits)d visits%(model)s")
    return (fallen if falls else _("%(what)s has risen %(pace)s a year over %(visits)d visits%(model)s")) % words


def _figure(quantity: str, pace: float) -> str:
    if quantity == CO:
        return f"{pace:.0f} %"
    return f"{pace:.1f} K" if quantity == TEMP_RISE else _("%s points") % f"{pace:.2f}"


def _model_words(quantity: str, pace: float, model_pace: float | None) -> str:
    """The model's own pace; with its sign where it goes the other way."""
    if model_pace is None:
        return ""
    usual = pace_figure(quantity, model_pace)
    sign = "" if usual * pace >= 0 else "−" if usual < 0 else "+"
    decimals = {CO: 0, TEMP_RISE: 1}.get(quantity, 2)
    unit = " %" if quantity == CO else ""
    return _(" (this model: %s)") % f"{sign}{abs(usual):.{decimals}f}{unit}"


def _reach_words(series: Series, seen: Outlook) -> str:
    words = {
        "chance": chance_of(seen.accepted_chance),
        "limit": _limit_words(series, is_lower=seen.is_lower),
        "day": f"{seen.horizon_on:%Y-%m-%d}" if seen.horizon_on else "",
    }
    if seen.is_due:
        return _("%(chance)s of being beyond %(limit)s already") % words
    if seen.horizon_on:
        return _("%(chance)s of reaching %(limit)s by %(day)s") % words
    return _("less than %(chance)s of reaching a limit within three years") % words


def _limit_words(series: Series, *, is_lower: bool) -> str:
    corridor = series.corridor
    if series.quantity in UNITS:
        upper = math.expm1(corridor.upper) if series.quantity == CO else corridor.upper
        return _("%(upper).0f %(unit)s (%(limit)s)") % {
            "upper": upper,
            "unit": UNITS[series.quantity],
            "limit": corridor.words,
        }
    if is_lower:
        return _("the lower limit, %s %%") % f"{corridor.lower:g}"
    return _("the upper limit, %s %%") % f"{corridor.upper:g}"


def chance_of(chance: float) -> str:
    """
    >>> chance_of(0.1), chance_of(0.08)
    ('one chance in ten', '8 chances in 100')
    """
    times = round(1.0 / chance)
    if times in _ONE_IN and math.isclose(1.0 / times, chance, rel_tol=1e-9):
        return _("one chance in %s") % _(_ONE_IN[times])
    return _("%s chances in 100") % f"{100 * chance:g}"
