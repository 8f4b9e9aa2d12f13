"""Figures, units, days and times as paper shows them."""

import math
import re
from collections.abc import Mapping
from datetime import date, datetime, tzinfo
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.quantities import READING_QUANTITIES, Quantity, column_unit
from fleet.units import convert

NARROW_SPACE = "\u202f"
NONE = "–"
MOST_DECIMALS = 6
_ISO_DAY = re.compile(r"\b(\d{4})-(\d{2})-(\d{2})\b")
# An uncertainty of 1 or 2 is shown with a second figure: rounding would take up to half of it.
TWO_FIGURES_BELOW = 2.95
UNIT_WORDS = {"1": "", "degC": "°C", "vol%": "%", "mg/m3": "mg/m³", "mg/Nm3": "mg/Nm³", "ppmv": "ppm", "ppmvd": "ppm"}
# Figures that follow from readings: shown with the decimals of what they follow from, or with these.
DERIVED_DECIMALS = {
    "excess_air_ratio": 2,
    "co_co2_ratio": 4,
    "efficiency_pct_net": 1,
    "efficiency_pct_gross": 1,
    "flue_loss_pct": 1,
    "input_kw_net": 1,
    "input_kw_gross": 1,
    "input_share_pct": 0,
    "sensible_loss_pct_net": 1,
    "latent_loss_pct_gross": 1,
    "unburnt_loss_pct_net": 2,
    "condensed_pct": 0,
    "condensate_kg_per_kwh_gross": 3,
    "dew_point_c": 1,
    "co_mg_per_kwh_net": 0,
    "co_mg_per_kwh_gross": 0,
    "nox_ppm_air_free": 0,
    "nox_mg_per_kwh_gross": 0,
    "o2_pct": READING_QUANTITIES["o2"].decimals,
    "co2_pct": READING_QUANTITIES["co2"].decimals,
    "co_ppm_air_free": READING_QUANTITIES["co"].decimals,
}


def figure(value: float, decimals: int) -> str:
    """The figure at this many decimals, thousands apart from 10 000 on, with a true minus sign.

    >>> figure(9.3, 2)
    '9.30'
    >>> figure(-3.0, 0)
    '−3'
    """
    plain = f"{abs(value):,.{decimals}f}" if abs(value) >= 10_000 else f"{abs(value):.{decimals}f}"
    is_negative = value < 0 and float(plain.replace(",", "")) != 0
    return ("−" if is_negative else "") + plain.replace(",", NARROW_SPACE)


def figure_apart(value: float, decimals: int, limits: list[float]) -> str:
    """The figure with as many more decimals as it takes not to look like a limit that it isn't.

    >>> figure_apart(250.4, 0, [250.0])
    '250.4'
    >>> figure_apart(260.4, 0, [250.0])
    '260'
    """
    for more in range(decimals, MOST_DECIMALS):
        if all(limit == value or figure(value, more) != figure(limit, more) for limit in limits):
            return figure(value, more)
    return figure(value, MOST_DECIMALS)


def limit_figure(value: float, decimals: int) -> str:
    """A limit at the decimals of its readings, or with its own where it has more.

    >>> limit_figure(0.004, 0)
    '0.004'
    """
    exact = (n for n in range(decimals, MOST_DECIMALS) if round(value, n) == value)
    return figure(value, next(exact, MOST_DECIMALS))


def derived(figures: Mapping[str, float | None], name: str) -> str:
    """A derived figure by its name, or a dash."""
    value = figures.get(name)
    return NONE if value is None else figure(value, DERIVED_DECIMALS[name])


def decimals_for(uncertainty: float) -> int:
    """So many that one or two figures of an uncertainty are seen: one where it begins with 3 or more.

    >>> decimals_for(0.32), decimals_for(0.0192), decimals_for(24.0)
    (1, 3, 0)
    """
    size = math.floor(math.log10(uncertainty))
    first = uncertainty / 10.0**size
    return max(0, min(MOST_DECIMALS, (0 if first >= TWO_FIGURES_BELOW else 1) - size))


def unit_words(unit: str) -> str:
    return UNIT_WORDS.get(unit, unit)


def with_unit(shown: str, unit: str) -> str:
    return f"{shown} {unit_words(unit)}".strip()


def read_figure(quantity: Quantity, value: float | None, qualifier: str = "=") -> str:
    """A reading in the unit that the quantity is offered in first, without that unit: "more than 2 000"."""
    if qualifier == "not measured":
        return _("not read")
    if qualifier == "sensor fault":
        return _("fault")
    if value is None:
        return NONE
    shown = figure(float(convert(Decimal(repr(value)), column_unit(quantity), quantity.unit)), quantity.decimals)
    return qualified(shown, qualifier)


def qualified(shown: str, qualifier: str) -> str:
    words = {"more than": _("more than %s"), "less than": _("less than %s"), "at least": _("at least %s")}
    return words[qualifier] % shown if qualifier in words else shown


def read_with_unit(quantity: Quantity, value: float | None, qualifier: str = "=") -> str:
    shown = read_figure(quantity, value, qualifier)
    return shown if value is None else with_unit(shown, quantity.unit)


def chemical(words: str) -> str:
    """Gases with their figures set low, as the trade writes them."""
    return words.replace("CO2", "CO₂").replace("O2", "O₂")


def signs(words: str) -> str:
    """A sentence of the judgement as paper prints it."""
    return chemical(words).replace("<=", "≤").replace(">=", "≥")


def said(sentence: str) -> str:
    """A stored sentence as pages and paper say it: days in words, gases and signs as the trade has them, a full stop.

    >>> said("O2 was outside (limit <= 4 %) on 2027-01-07")
    'O₂ was outside (limit ≤ 4 %) on 7 January 2027.'
    """
    spoken = signs(_ISO_DAY.sub(_spoken, sentence)).strip()
    return spoken if not spoken or spoken.endswith((".", "!", "?", "…")) else f"{spoken}."


def _spoken(found: re.Match[str]) -> str:
    try:
        return day(date(*(int(part) for part in found.groups())))
    except ValueError:
        return found.group(0)


def day(when: date) -> str:
    return date_format(when, "j F Y")


def weekday(when: date) -> str:
    return date_format(when, "l j F Y")


def clock_time(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).strftime("%H:%M")


def offset(moment: datetime, zone: tzinfo) -> str:
    """The distance from UTC at that moment: "UTC+1", "UTC−3:30"."""
    gap = moment.astimezone(zone).utcoffset()
    minutes = round(gap.total_seconds() / 60) if gap else 0
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'−' if minutes < 0 else '+'}{hours}" + (f":{rest:02d}" if rest else "")


def day_and_time(moment: datetime, zone: tzinfo) -> str:
    return f"{day(moment.astimezone(zone).date())}, {clock_time(moment, zone)} {offset(moment, zone)}"


def listed(words: list[str]) -> str:
    """One, two and more in a sentence."""
    if len(words) < 2:
        return "".join(words)
    return _("%(some)s and %(last)s") % {"some": ", ".join(words[:-1]), "last": words[-1]}
