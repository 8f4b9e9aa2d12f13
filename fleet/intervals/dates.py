"""Calendar arithmetic on local dates, and windows that come round every year: no times, no zones, no clock."""

import calendar
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import Any

Spans = Sequence[tuple[date, date]]

# Days beyond are slips of the pen: years after them would leave the calendar.
EARLIEST_YEAR, LATEST_YEAR = 1900, 2200
LAST_OF_MONTH = 31
# Four years in a row have a 29 February among them.
TRIAL_YEARS = range(2023, 2029)


def as_date(value: object) -> date:
    """The local date in `value`, an ISO string or a date; ValueError for anything else.

    A datetime is refused: only its zone says which local day it fell on, and that is the caller's to know.
    """
    if isinstance(value, str):
        return date.fromisoformat(value)
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    raise ValueError(f"a local date is needed, not {value!r}")


def read_date(value: object) -> date | None:
    """The local date in a recorded fact; what is no date is as good as not recorded."""
    try:
        return as_date(value)
    except ValueError:
        return None


def is_in_reach(day: date) -> bool:
    """Whether the day lies in the years that are calculated with, 1900 to 2200."""
    return EARLIEST_YEAR <= day.year <= LATEST_YEAR


def recorded_day(value: object) -> date | None:
    """The local date in a recorded fact that a rule counts from; one out of reach is as good as not recorded."""
    day = read_date(value)
    return day if day and is_in_reach(day) else None


def add_months(day: date, months: int) -> date:
    """The corresponding date `months` later: same day number, else the month's last day.

    >>> add_months(date(2024, 1, 31), 13)
    datetime.date(2025, 2, 28)
    """
    index = day.year * 12 + day.month - 1 + months
    year, month = index // 12, index % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def years_between(start: date, day: date) -> float:
    """Age in years on `day`, a whole number exactly on each anniversary of `start`."""
    whole = day.year - start.year
    if add_months(start, 12 * whole) > day:
        whole -= 1
    birthday, following = add_months(start, 12 * whole), add_months(start, 12 * (whole + 1))
    return whole + (day - birthday).days / (following - birthday).days


def quarter(day: date) -> int:
    """The calendar quarter, 1 to 4."""
    return (day.month + 2) // 3


def quarter_bounds(year: int, number: int) -> tuple[date, date]:
    """First and last day of a calendar quarter."""
    last_month = 3 * number
    return date(year, last_month - 2, 1), date(year, last_month, calendar.monthrange(year, last_month)[1])


def is_weekend(day: date) -> bool:
    """Whether the date is a Saturday or a Sunday."""
    return day.weekday() >= calendar.SATURDAY


def window_span(window: Mapping[str, Any], year: int) -> tuple[date, date]:
    """First and last day of that stretch of every year, from one month and day to another, that opens in `year`.

    Without days it runs from the first of its first month to the end of its last; a day that a month lacks means the
    month's last.

    >>> window_span({"from_month": 9, "to_month": 4}, 2026)
    (datetime.date(2026, 9, 1), datetime.date(2027, 4, 30))
    """
    opens = window["from_month"], window.get("from_day", 1)
    closes = window["to_month"], window.get("to_day", LAST_OF_MONTH)
    return _day(year, *opens), _day(year + (closes < opens), *closes)


def day_in_two(windows: Sequence[Mapping[str, Any]]) -> date | None:
    """A day that two of the windows have in common."""
    spans = sorted(window_span(window, year) for year in TRIAL_YEARS for window in windows)
    return next((opens for (_opens, closes), (opens, _closes) in pairwise(spans) if opens <= closes), None)


def spans_near(windows: Sequence[Mapping[str, Any]], day: date) -> Spans:
    """First and last day of each window, in order, from before the day to after those that follow it."""
    years = range(day.year - 1, day.year + 3)
    return sorted(window_span(window, year) for year in years for window in windows)


def month_spans(months: Iterable[int], year: int) -> Spans:
    """First and last day of each of these months."""
    return [(_day(year, month, 1), _day(year, month, LAST_OF_MONTH)) for month in months]


def _day(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))
