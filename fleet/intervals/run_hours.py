"""When a number of run hours is used up, as far as readings of the hour counter tell."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from fleet.coded import Coded, coded
from fleet.intervals.dates import read_date
from fleet.intervals.due import Check
from fleet.predicates import Facts, figure

HOURS_A_DAY = 24
ONE_DAY = timedelta(days=1)

NO_READING = (coded("no_run_hour_reading"),)

Reading = tuple[date, float]


@dataclass(frozen=True)
class HoursLimb:
    """The day by which the hours were used up, or what can be said of it.

    reached : day of the first reading that shows them used up; between two readings nobody knows the day.
    earliest : the earliest day it can be, running day and night since the last reading; never the check's own day.
    doubt : why the day isn't known, coded; empty when it is.
    """

    reached: date | None
    earliest: date
    doubt: tuple[Coded, ...]


def hours_limb(last: Check, hours: int, facts: Facts) -> HoursLimb:
    """When `hours` run hours after the last check are used up.

    facts["run_hours"] : readings {date, run_hours} of the counter. One on the day of the last check stands in where
    the check itself has none. Readings after the counter fell (replaced, or set back) say nothing.
    """
    readings, fell = _until_the_counter_fell(_from(last, facts))
    at_check = last.run_hours if last.run_hours is not None else _on(last.day, readings)
    if at_check is None:
        return HoursLimb(None, _earliest(last.day, last.day, hours), NO_READING)
    later = [reading for reading in readings if reading[0] > last.day]
    target = at_check + hours
    if reached := next((day for day, run_hours in later if run_hours >= target), None):
        return HoursLimb(reached, reached, ())
    day, run_hours = later[-1] if later else (last.day, at_check)
    earliest = _earliest(last.day, day, target - run_hours)
    if fell or not later:
        return HoursLimb(None, earliest, fell or NO_READING)
    used = coded("run_hours_used", used_h=run_hours - at_check, hours=hours, read_on=day)
    return HoursLimb(None, earliest, (used,))


def _earliest(check_day: date, day: date, hours_left: float) -> date:
    return max(day + timedelta(days=math.floor(hours_left / HOURS_A_DAY)), check_day + ONE_DAY)


def _from(last: Check, facts: Facts) -> list[Reading]:
    """The readings since the last check and its own, in order; what is no reading is as good as not recorded."""
    recorded = facts.get("run_hours")
    entries = recorded if isinstance(recorded, Sequence) and not isinstance(recorded, str) else ()
    known = [reading for reading in map(_reading, entries) if reading and reading[0] >= last.day]
    own = [] if last.run_hours is None else [(last.day, last.run_hours)]
    return sorted(known + own)


def _reading(entry: object) -> Reading | None:
    day = read_date(entry.get("date")) if isinstance(entry, Mapping) else None
    run_hours = figure(entry.get("run_hours")) if isinstance(entry, Mapping) else None
    return None if day is None or run_hours is None else (day, run_hours)


def _on(day: date, readings: Sequence[Reading]) -> float | None:
    return next((run_hours for when, run_hours in readings if when == day), None)


def _until_the_counter_fell(readings: Sequence[Reading]) -> tuple[Sequence[Reading], tuple[Coded, ...]]:
    for place, (before, after) in enumerate(pairwise(readings), start=1):
        if after[1] < before[1]:
            return readings[:place], (coded("counter_fell", from_h=before[1], to_h=after[1], read_on=after[0]),)
    return readings, ()
