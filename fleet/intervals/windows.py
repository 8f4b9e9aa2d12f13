"""Windows that come round every year: from one month and day to another, over New Year too."""

import calendar
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

Spans = Sequence[tuple[date, date]]

LAST_OF_MONTH = 31
# Four years in a row have a 29 February among them.
TRIAL_YEARS = range(2023, 2029)


@dataclass(frozen=True)
class Window:
    """A stretch of every year, both ends included; a day that a month lacks means the month's last."""

    from_month: int
    from_day: int
    to_month: int
    to_day: int

    @classmethod
    def read(cls, entry: Mapping[str, Any]) -> "Window":
        """From a rule: without days it runs from the first of its first month to the end of its last."""
        return cls(entry["from_month"], entry.get("from_day", 1), entry["to_month"], entry.get("to_day", LAST_OF_MONTH))

    def opened_in(self, year: int) -> tuple[date, date]:
        """First and last day of the one that opens in `year`.

        >>> Window(9, 1, 4, 31).opened_in(2026)
        (datetime.date(2026, 9, 1), datetime.date(2027, 4, 30))
        """
        closes_next_year = (self.to_month, self.to_day) < (self.from_month, self.from_day)
        return _day(year, self.from_month, self.from_day), _day(year + closes_next_year, self.to_month, self.to_day)


def read_windows(rule: Mapping[str, Any]) -> tuple[Window, ...]:
    """The windows of a rule; ValueError where it has none, or where two have a day in common."""
    entries = rule.get("windows")
    if not isinstance(entries, Sequence) or isinstance(entries, str) or not entries:
        raise ValueError(f"{rule.get('type')}: windows must be a list of at least one, not {entries!r}")
    windows = tuple(Window.read(entry) for entry in entries)
    for (_opens, closes), (opens, _closes) in pairwise(occurrences(windows, TRIAL_YEARS)):
        if opens <= closes:
            raise ValueError(f"{rule.get('type')}: two windows have {opens:%d %b} in common; each day belongs to one")
    return windows


def occurrences(windows: Iterable[Window], years: Iterable[int]) -> Spans:
    """First and last day of each that opens in these years, in order."""
    return sorted(window.opened_in(year) for year in years for window in windows)


def months_of(rule: Mapping[str, Any]) -> tuple[int, ...]:
    """The months that a rule names, in order; ValueError where it names none."""
    named = rule.get("named_months")
    if not isinstance(named, Sequence) or isinstance(named, str) or not named:
        raise ValueError(f"{rule.get('type')}: named_months must be a list of at least one, not {named!r}")
    return tuple(sorted(set(named)))


def month_spans(months: Iterable[int], year: int) -> Spans:
    """First and last day of each of these months."""
    return [(_day(year, month, 1), _day(year, month, LAST_OF_MONTH)) for month in months]


def _day(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))
