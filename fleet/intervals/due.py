"""What a due-date rule answers, and what it counts from."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.coded import Coded
from fleet.intervals.dates import as_date

Rule = Mapping[str, Any]


@dataclass(frozen=True)
class Check:
    """One check on record: its local date and, where read, the run hours on that day.

    is_start : no check at all, but the start date that stands in for one.
    """

    day: date
    run_hours: float | None = None
    is_start: bool = False


@dataclass(frozen=True)
class Due:
    """When the next check falls due, its arithmetic, and any doubt.

    due : last day on which it is still in time (inclusive); None where the rule asks for nothing or
        nothing can be said. Under `cannot_tell` it is the earliest day it can be: never call it overdue.
    earliest_keep : first day whose check keeps the rhythm, None where the rule has no such day.
    steps : how the date comes about, each a code with its figures; a later one adds to what those before it say.
    cannot_tell : why the date isn't certain, coded as well; empty when it is.
    extension_until : last day to which a once-only extension, not used yet, could stretch `due`.
    certain_by : under `cannot_tell`, the last day on which it is due whatever the missing fact says; None without one.
    may_wait : parts of the work that may wait for the next shutdown, each with its own last day.
    counted : the day of the newest check that served the rule: it counts from there, or had asked for it. None where
        none did: each came before anything was asked for or outside its window, or nothing is asked for at all.
    """

    due: date | None
    earliest_keep: date | None = None
    steps: tuple[Coded, ...] = ()
    cannot_tell: tuple[Coded, ...] = ()
    extension_until: date | None = None
    certain_by: date | None = None
    may_wait: tuple[tuple[str, date], ...] = ()
    counted: date | None = None


def read_checks(history: Iterable[object], today: date | None) -> tuple[Check, ...]:
    """The checks in date order; those dated after `today` are planned, not made, and don't count."""
    checks = sorted((_read_check(entry) for entry in history), key=lambda check: check.day)
    return tuple(check for check in checks if today is None or check.day <= today)


def _read_check(entry: object) -> Check:
    if not isinstance(entry, Mapping):
        return Check(as_date(entry))
    run_hours = entry.get("run_hours")
    return Check(as_date(entry["date"]), None if run_hours is None else float(run_hours))
