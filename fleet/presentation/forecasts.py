"""What a forecast says: how it has moved, what its model does, by when the chance is used up; and early warnings."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.foresight.ceilings import CO, TEMP_RISE
from fleet.assess.foresight.forecasts import Told, told_figures
from fleet.models import Forecast
from fleet.presentation.codes import label_words
from fleet.presentation.days import said_day
from fleet.presentation.figures import chance_words, figure, limit_figure, with_unit
from fleet.presentation.verdicts import keeps_words, set_words
from fleet.presentation.words import at_rate
from fleet.quantities import GASES

NAMES = GASES | {CO: "CO air-free", TEMP_RISE: "the flue's rise above the intake air"}
KEEPS = {CO: 1.0, TEMP_RISE: 0.5}
KEEPS_PCT = 0.01


def forecast_sentence(forecast: Forecast) -> str:
    """In one sentence, from the forecast's own figures."""
    return forecast_words(told_figures(forecast))


def forecast_words(told: Told) -> str:
    return f"{_pace_words(told)}; {_reach_words(told)}."


def quantity_words(quantity: str, rate: str) -> str:
    """A quantity at a rate, as the sentence names it."""
    return at_rate(NAMES[quantity], rate)


def _pace_words(told: Told) -> str:
    quantity, visits, pace = told.quantity, told.visits, told.pace
    words = {
        "what": quantity_words(quantity, told.rate),
        "pace": _figure(quantity, abs(pace)),
        "visits": visits,
        "model": _model_words(quantity, pace, told.model_pace),
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
        return f"{figure(pace, 0)} %"
    return f"{figure(pace, 1)} K" if quantity == TEMP_RISE else _("%s points") % figure(pace, 2)


def _model_words(quantity: str, pace: float, usual: float | None) -> str:
    """The model's own pace; with its sign where it goes the other way."""
    if usual is None:
        return ""
    decimals, unit = {CO: (0, " %"), TEMP_RISE: (1, "")}.get(quantity, (2, ""))
    shown = figure(abs(usual), decimals)
    sign = "" if usual * pace >= 0 or not float(shown) else "−" if usual < 0 else "+"
    return _(" (this appliance's model: %s)") % f"{sign}{shown}{unit}"


def _reach_words(told: Told) -> str:
    words = {
        "chance": chance_words(told.accepted_risk),
        "limit": _limit_words(told),
        "day": said_day(told.horizon_on or ""),
    }
    if told.is_due:
        return _("a chance of %(chance)s of being beyond %(limit)s already") % words
    if told.horizon_on:
        return _("a chance of %(chance)s of reaching %(limit)s by %(day)s") % words
    return _("a chance of less than %(chance)s of reaching a limit within three years") % words


def _limit_words(told: Told) -> str:
    if told.limit:
        return _("%(upper)s %(unit)s (%(limit)s)") % {
            "upper": figure(told.upper, 0),
            "unit": told.unit,
            "limit": ceiling_words(told.limit),
        }
    if told.is_lower and told.lower is not None:
        return _("the lower limit of %s %%") % limit_figure(round(told.lower, 2), 0)
    return _("the upper limit of %s %%") % limit_figure(round(told.upper, 2), 0)


def ceiling_words(limit: Mapping[str, Any] | None) -> str:
    """The limit that a ceiling stands in; empty where there is none."""
    if limit is None:
        return ""
    kept = with_unit(keeps_words(limit["keeps"]), limit["unit"])
    return f"{set_words(limit['set_name'])}: {label_words(limit['label'])} {kept}"


def drift_words(figures: Mapping[str, Any]) -> str:
    """A drift flag's sentence of its figures: what the forecast says, and the chance before the visit that is due."""
    shown = {
        "said": forecast_words(Told(**figures["forecast"])),
        "day": said_day(figures["planned"]),
        "chance": chance_words(figures["chance"]),
    }
    return _("%(said)s By the visit due %(day)s it is %(chance)s.") % shown


def warning_words(figures: Mapping[str, Any]) -> str:
    """An early warning of `assess.foresight.checks.warnings_of`: it asks for a second reading and judges nothing."""
    z = figures["z"]
    words = {
        "what": quantity_words(figures["quantity"], figures["rate"]),
        "far": "" if z is None else figure(abs(z), 1),
        "side": _("above") if z is not None and z > 0 else _("below"),
    }
    said = {
        "doubtful": _(
            "%(what)s was read %(far)s times the usual error %(side)s what was expected, a doubtful reading rather "
            "than a change: repeat the reading."
        ),
        "step": _("%(what)s has probably changed at one go since the visit before: repeat the reading."),
        "far": _("%(what)s was read %(far)s times the usual error %(side)s what was expected: repeat the reading."),
        "same_side": _(
            "%(what)s was read well %(side)s what was expected at two visits running: repeat the reading; something "
            "has changed."
        ),
    }
    return said[figures["cause"]] % words
