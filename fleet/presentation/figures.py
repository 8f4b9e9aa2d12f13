"""Figures and units as pages, paper and sentences show them: the one way a number is written, and a chance."""

import math
from decimal import Decimal

from django.utils.translation import gettext as _

from fleet.models.judgements import Derived
from fleet.numerals import MOST_DECIMALS, decimals_shown, figure, figure_apart, limit_figure
from fleet.quantities import READING_QUANTITIES, Quantity, column_unit
from fleet.units import convert

NONE = "–"
# An uncertainty of 1 or 2 is shown with a second figure: rounding would take up to half of it.
TWO_FIGURES_BELOW = 2.95
UNIT_WORDS = {
    "1": "",
    "degC": "°C",
    "vol%": "%",
    "mg/m3": "mg/m³",
    "mg/Nm3": "mg/Nm³",
    "ppmv": "ppm",
    "ppmvd": "ppm",
    "smoke spot 0-9": "on the smoke scale",
}
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


def derived(figures: Derived, name: str) -> str:
    """A derived figure by its name, or a dash."""
    value = getattr(figures, name)
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
    if qualifier == "not_measured":
        return _("not read")
    if qualifier == "sensor_fault":
        return _("fault")
    if value is None:
        return NONE
    shown = figure(float(convert(Decimal(repr(value)), column_unit(quantity), quantity.unit)), quantity.decimals)
    return qualified(shown, qualifier)


def qualified(shown: str, qualifier: str) -> str:
    words = {"more_than": _("more than %s"), "less_than": _("less than %s"), "at_least": _("at least %s")}
    return words[qualifier] % shown if qualifier in words else shown


def read_with_unit(quantity: Quantity, value: float | None, qualifier: str = "=") -> str:
    shown = read_figure(quantity, value, qualifier)
    return shown if value is None else with_unit(shown, quantity.unit)


def from_to(lower: str | None, upper: str | None) -> str:
    """A range in words, open at either end."""
    if lower is not None and upper is not None:
        return _("%(lower)s to %(upper)s") % {"lower": lower, "upper": upper}
    if lower is not None:
        return _("from %(lower)s") % {"lower": lower}
    return _("up to %(upper)s") % {"upper": upper}


def limits_words(lower: float | None, upper: float | None) -> str:
    """A range of limits, each with its own decimals, open at either end.

    >>> limits_words(9.108, 9.4), limits_words(None, 250.0)
    ('9.108 to 9.4', 'up to 250')
    """
    return from_to(*(None if each is None else limit_figure(each, 0) for each in (lower, upper)))


def chance_words(chance: float) -> str:
    """A chance in per cent, never rounded to none or to certainty.

    >>> chance_words(0.604), chance_words(0.0001), chance_words(0.9999)
    ('60 %', 'under 1 %', 'over 99 %')
    """
    if chance < 0.01:
        return _("under 1 %")
    return _("over 99 %") if chance > 0.99 else f"{figure(100 * chance, 0)} %"
