"""What a forecast says: how it has moved, what its model does, by when the chance is used up; and early warnings."""

import math
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.foresight.ceilings import CO, TEMP_RISE
from fleet.models import Forecast

NAMES = {"co2": "CO₂", "o2": "O₂", CO: "CO air-free", TEMP_RISE: "the flue's rise above the intake air"}
_ONE_IN = {2: "two", 4: "four", 5: "five", 10: "ten", 20: "twenty", 50: "fifty", 100: "a hundred"}
KEEPS = {CO: 1.0, TEMP_RISE: 0.5}
KEEPS_PCT = 0.01


def forecast_sentence(forecast: Forecast) -> str:
    """In one sentence, from the forecast's own figures."""
    return f"{_pace_words(forecast)}; {_reach_words(forecast)}."[:500]


def quantity_words(quantity: str, rate: str) -> str:
    """A quantity at a rate, as the sentence names it."""
    return _("%(quantity)s at %(rate)s fire") % {"quantity": NAMES[quantity], "rate": rate}


def _pace_words(forecast: Forecast) -> str:
    quantity, visits, pace = forecast.quantity, forecast.visits_used, forecast.outlook["pace"]
    words = {
        "what": quantity_words(quantity, forecast.rate),
        "pace": _figure(quantity, abs(pace)),
        "visits": visits,
        "model": _model_words(quantity, pace, forecast.outlook["model_pace"]),
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


def _model_words(quantity: str, pace: float, usual: float | None) -> str:
    """The model's own pace; with its sign where it goes the other way."""
    if usual is None:
        return ""
    sign = "" if usual * pace >= 0 else "−" if usual < 0 else "+"
    decimals = {CO: 0, TEMP_RISE: 1}.get(quantity, 2)
    unit = " %" if quantity == CO else ""
    return _(" (this model: %s)") % f"{sign}{abs(usual):.{decimals}f}{unit}"


def _reach_words(forecast: Forecast) -> str:
    words = {
        "chance": chance_of(forecast.accepted_chance),
        "limit": _limit_words(forecast),
        "day": f"{forecast.horizon_on:%Y-%m-%d}" if forecast.horizon_on else "",
    }
    if forecast.outlook["is_due"]:
        return _("%(chance)s of being beyond %(limit)s already") % words
    if forecast.horizon_on:
        return _("%(chance)s of reaching %(limit)s by %(day)s") % words
    return _("less than %(chance)s of reaching a limit within three years") % words


def _limit_words(forecast: Forecast) -> str:
    if forecast.limit_words:
        return _("%(upper).0f %(unit)s (%(limit)s)") % {
            "upper": forecast.upper,
            "unit": forecast.unit,
            "limit": forecast.limit_words,
        }
    if forecast.outlook["is_lower"]:
        return _("the lower limit, %s %%") % f"{forecast.lower:g}"
    return _("the upper limit, %s %%") % f"{forecast.upper:g}"


def chance_of(chance: float) -> str:
    """
    >>> chance_of(0.1), chance_of(0.08)
    ('one chance in ten', '8 chances in 100')
    """
    times = round(1.0 / chance)
    if times in _ONE_IN and math.isclose(1.0 / times, chance, rel_tol=1e-9):
        return _("one chance in %s") % _(_ONE_IN[times])
    return _("%s chances in 100") % f"{100 * chance:g}"


def warning_words(figures: Mapping[str, Any]) -> str:
    """An early warning of `assess.foresight.checks.warnings_of`: it asks for a second reading and judges nothing."""
    z = figures["z"]
    words = {
        "what": quantity_words(figures["quantity"], figures["rate"]),
        "far": "" if z is None else f"{abs(z):.1f}",
        "side": _("above") if z is not None and z > 0 else _("below"),
    }
    said = {
        "doubtful": _(
            "%(what)s was read %(far)s times its usual error %(side)s what was expected, more likely a doubtful "
            "reading than a change: repeat the reading."
        ),
        "step": _("%(what)s has more likely than not changed at one go since the visit before: repeat the reading."),
        "far": _("%(what)s was read %(far)s times its usual error %(side)s what was expected: repeat the reading."),
        "same side": _(
            "%(what)s was read well %(side)s what was expected at two visits running: repeat the reading; something "
            "has changed."
        ),
    }
    return said[figures["cause"]] % words
