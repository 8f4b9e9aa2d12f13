"""The drift of one quantity at one rate, as plain data and as sentences, from its forecast."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext, gettext_lazy, ngettext

from fleet.models import Forecast, Revisit
from fleet.presentation.days import long_day
from fleet.presentation.due_rule import DueRule, due_words, revisit_rule
from fleet.presentation.figures import figure, from_to, limits_words
from fleet.presentation.reading_rule import Pin, ReadingRule, Wall
from fleet.presentation.readings import ends_of
from fleet.presentation.words import at_rate
from fleet.quantities import GASES, READING_QUANTITIES

DRIFTING = GASES | {"co": gettext_lazy("CO air-free"), "temp_rise": gettext_lazy("Flue above intake air")}


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
    """What is expected on a day: half of the outcomes within low50 and high50, 90 of 100 within low90 and high90."""

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


# ---- from a forecast ----


def drift_chart(forecast: Forecast, revisit: Revisit | None, today: date, walls: Sequence[Wall] = ()) -> DriftChart:
    """One series with its band and limits, or the ceiling that it nears, outcomes to come and the due date."""
    chart = DriftChart(
        label=series_words(forecast),
        unit=forecast.unit,
        decimals=0,
        visits=[_drift_visit(each) for each in forecast.series],
        today=today,
        upper=forecast.upper,
        course=[_outcome(each) for each in forecast.course],
        due=_chart_due(forecast, revisit, today),
        correction=gettext(
            "Values freed of what the analyser and the day put in; the table beneath has them as read, too."
        ),
    )
    if forecast.has_only_a_ceiling:
        return chart
    return replace(
        chart,
        unit=gettext("% dry"),
        decimals=READING_QUANTITIES[forecast.quantity].decimals,
        lower=max((wall.at for wall in walls if wall.beyond == "lower"), default=None),
        upper=min((wall.at for wall in walls if wall.beyond == "upper"), default=None),
        band_lower=forecast.lower,
        band_upper=forecast.upper,
        target=forecast.target,
        correction=gettext("Values corrected to 20 °C intake air; the table beneath has them as read, too."),
    )


def series_words(forecast: Forecast) -> str:
    return at_rate(str(DRIFTING[forecast.quantity]), forecast.rate)


def band_words(forecast: Forecast) -> str:
    """The band of a gas: 9.1 to 9.7 %."""
    lower, upper = (None if each is None else round(each, 2) for each in (forecast.lower, forecast.upper))
    return f"{limits_words(lower, upper)} %"


def _drift_visit(entry: Mapping[str, Any]) -> DriftVisit:
    names = ("found", "left", "found_raw", "left_raw")
    return DriftVisit(date.fromisoformat(entry["date"]), *(entry[name] for name in names))


def _outcome(point: Mapping[str, Any]) -> Outcome:
    names = ("low90", "low50", "median", "high50", "high90")
    return Outcome(date.fromisoformat(point["date"]), *(point[name] for name in names))


def outcome_on(forecast: Forecast, when: date) -> Outcome | None:
    """What is expected on a day, by straight lines between the stored ones; the last one for a day beyond them."""
    course = [_outcome(each) for each in forecast.course]
    if not course or when <= course[0].on:
        return course[0] if course else None
    for before, after in pairwise(course):
        if when <= after.on:
            return _between(before, after, (when - before.on) / (after.on - before.on), when)
    return course[-1]


def _between(before: Outcome, after: Outcome, share: float, when: date) -> Outcome:
    names = ("low90", "low50", "median", "high50", "high90")
    values = (getattr(before, name) * (1 - share) + getattr(after, name) * share for name in names)
    return Outcome(when, *values)


def expected_rule(forecast: Forecast, expected: Outcome) -> ReadingRule:
    """What was left last, and what is expected by then with 90 of 100 outcomes, against the band."""
    last: Mapping[str, Any] = next((each for each in reversed(forecast.series)), {})
    left = last.get("left") or last.get("found")
    lower, upper = forecast.lower, forecast.upper
    ends = [each for each in (lower, upper, left, expected.low90, expected.high90) if each is not None]
    low, high = ends_of(ends, from_zero=False)
    spread = (expected.low90, expected.high90)
    return ReadingRule(
        series_words(forecast),
        "%",
        low,
        high,
        READING_QUANTITIES[forecast.quantity].decimals,
        band_lower=lower,
        band_upper=upper,
        target=forecast.target,
        found=[Pin(expected.median, gettext("expected"), spread=spread)],
        left=[Pin(left, gettext("last"))] if left is not None else [],
    )


def _chart_due(forecast: Forecast, revisit: Revisit | None, today: date) -> DueRule | None:
    if revisit is None:
        return None
    return revisit_rule(revisit, today, horizon=forecast.horizon_on, last_visit=forecast.last_visit_on)
