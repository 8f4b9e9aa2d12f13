"""Figures and days as pages show them."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext

from reports.figures import figure

__all__ = ["day", "figure", "from_to", "long_day", "weekday", "weekday_without_year"]


def day(when: date, beside: date | None = None) -> str:
    """A short day; the year is left out where it is that of `beside`."""
    is_same_year = beside is not None and when.year == beside.year
    return date_format(when, "j M" if is_same_year else "j M Y")


def long_day(when: date) -> str:
    return date_format(when, "j F Y")


def weekday(when: date) -> str:
    return date_format(when, "l j F Y")


def weekday_without_year(when: date) -> str:
    return date_format(when, "l j F")


def from_to(lower: str | None, upper: str | None) -> str:
    """A range in words, open at either end."""
    if lower is not None and upper is not None:
        return gettext("%(lower)s to %(upper)s") % {"lower": lower, "upper": upper}
    if lower is not None:
        return gettext("from %(lower)s") % {"lower": lower}
    return gettext("up to %(upper)s") % {"upper": upper}
