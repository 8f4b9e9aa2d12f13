"""The drift of one quantity at one rate, as plain data and as sentences."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext, ngettext

from fleet.web.due_rule import DueRule, due_words
from fleet.web.figures import figure, from_to, long_day


@dataclass(frozen=True)
class DriftVisit:
    """What one visit found and left, either of which may not have been read [chart's unit].

    found_as_read, left_as_read : before any correction, where the chart draws corrected values.
    """

    on: date
    found: float | None
    left: float | None
    found_as_read: float | None = None
    left_as_read: float | None = None

    @property
    def first(self) -> float:
        """What the drift led to; NaN where nothing was read."""
        return _first_given(self.found, self.left)

    @property
    def last(self) -> float:
        """What the drift goes on from; NaN where nothing was read."""
        return _first_given(self.left, self.found)


@dataclass(frozen=True)
class Outcome:
    """What is expected on a day: half of the outcomes within low50 and high50, 90 of 100 within low90 and
    high90."""

    on: date
    low90: float
    low50: float
    median: float
    high50: float
    high90: float

    def __post_init__(self) -> None:
        if not self.low90 <= self.low50 <= self.median <= self.high50 <= self.high90:
            raise ValueError(f"outcomes of {self.on} must rise from low90 to high90")


@dataclass(frozen=True)
class DriftChart:
    """One quantity at one rate through the years.

    label, unit, decimals : what is measured, in what, and how its figures are written.
    visits : in any order; one with neither reading is left out of the drawing.
    lower, upper : limits; band_lower, band_upper, target : where it should be; None where there is none.
    course : outcomes by day, in the order of days; empty where nothing is forecast.
    due : the due date under the days.
    correction : in words, what the values drawn were corrected for; empty where they are drawn as read.
    """

    label: str
    unit: str
    decimals: int
    visits: Sequence[DriftVisit]
    today: date
    lower: float | None = None
    upper: float | None = None
    band_lower: float | None = None
    band_upper: float | None = None
    target: float | None = None
    course: Sequence[Outcome] = ()
    due: DueRule | None = None
    correction: str = ""

    def __post_init__(self) -> None:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(f"the limits must rise, not go from {self.lower} to {self.upper}")

    @property
    def is_empty(self) -> bool:
        return not self.read_visits and not self.course

    @property
    def read_visits(self) -> list[DriftVisit]:
        """The visits with a reading, in the order of days."""
        read = (visit for visit in self.visits if not math.isnan(visit.first))
        return sorted(read, key=lambda visit: visit.on)


def drift_words(chart: DriftChart) -> str:
    """What the chart shows, as sentences."""
    name = f"{chart.label}, {chart.unit}" if chart.unit else chart.label
    sentences = [f"{name}.", *_visits_in_words(chart), *_course_in_words(chart)]
    return " ".join([*sentences, due_words(chart.due)] if chart.due else sentences)


def _visits_in_words(chart: DriftChart) -> Iterator[str]:
    visits = chart.read_visits
    if not visits:
        yield gettext("No visit with this reading yet.")
        return
    count = ngettext("%(count)s visit", "%(count)s visits", len(visits)) % {"count": len(visits)}
    first, last = long_day(visits[0].on), long_day(visits[-1].on)
    span = first if first == last else from_to(first, last)
    yield f"{count}, {span}."
    yield gettext("Last reading %(figure)s.") % {"figure": figure(visits[-1].last, chart.decimals)}


def _course_in_words(chart: DriftChart) -> Iterator[str]:
    if chart.course:
        last = chart.course[-1]
        yield gettext("On %(day)s 90 of 100 outcomes lie within %(range)s, half of all within %(half)s.") % {
            "day": long_day(last.on),
            "range": from_to(figure(last.low90, chart.decimals), figure(last.high90, chart.decimals)),
            "half": from_to(figure(last.low50, chart.decimals), figure(last.high50, chart.decimals)),
        }


def _first_given(one: float | None, other: float | None) -> float:
    return next((value for value in (one, other) if value is not None), math.nan)
