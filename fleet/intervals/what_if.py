"""What would become of a due date if a check were made on some day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fleet.intervals.dates import as_date
from fleet.intervals.due import Due, Rule, read_checks
from fleet.intervals.schedule import NO_FACTS, next_due, with_age
from fleet.predicates import Facts


@dataclass(frozen=True)
class WhatIf:
    """A check on `day`, held against the date that stands and against a check on that date itself.

    before, after : the date that stands, and the one after a check on `day`.
    in_time : whether `day` is no later than the date that stands; None where that date can't be told, or where a
        once-only extension might still make it so.
    serves : whether the check moves the date at all; outside its window or year it doesn't.
    days_lost : by how many days the date after it lies before the one that a check on the last day would have given;
        below zero it lies after that one.
    keeps_rhythm : whether it is the same date.

    What rests on a date that is missing or can't be told is None.
    """

    day: date
    before: Due
    after: Due
    in_time: bool | None
    serves: bool | None
    days_lost: int | None

    @property
    def keeps_rhythm(self) -> bool | None:
        return None if self.days_lost is None else self.days_lost == 0


def what_if(
    rule: Rule,
    history: Iterable[object],
    day: object,
    *,
    start: object = None,
    facts: Facts = NO_FACTS,
    before: Due | None = None,
) -> WhatIf:
    """What a check on `day` would do to the next due date by `rule`.

    rule, history, start, facts : as `next_due` takes them; the age is that on `day`.
    before : the date that stands, where the caller has calculated it.

    ValueError for a day before the last check on record: what has been done since can't be undone.

    >>> rule = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
    >>> what_if(rule, ["2018-02-10"], "2019-01-05").after.due
    datetime.date(2020, 2, 10)
    """
    planned = as_date(day)
    checks = list(history)
    made = read_checks(checks, None)
    if made and made[-1].day > planned:
        raise ValueError(f"day is {planned}; a check is on record on {made[-1].day}, so it must not be before that")
    known = with_age(facts, None if start is None else as_date(start), planned)
    standing = before or next_due(rule, checks, start=start, facts=known)
    after = next_due(rule, [*checks, planned], start=start, facts=known)
    days_lost = _days_lost(rule, checks, standing, after, known)
    in_time, serves = _in_time(planned, standing), _serves(standing, after)
    return WhatIf(planned, standing, after, in_time, serves, days_lost)


def _days_lost(rule: Rule, checks: list[object], standing: Due, after: Due, facts: Facts) -> int | None:
    if standing.due is None or standing.cannot_tell:
        return None
    on_last_day = next_due(rule, [*checks, standing.due], facts=facts)
    if after.due is None or on_last_day.due is None or after.cannot_tell:
        return None
    return (on_last_day.due - after.due).days


def _in_time(day: date, standing: Due) -> bool | None:
    if standing.due is None:
        return None
    if day <= standing.due:
        return True
    may_be_in_time = standing.cannot_tell or (standing.extension_until and day <= standing.extension_until)
    return None if may_be_in_time else False


def _serves(standing: Due, after: Due) -> bool | None:
    if standing.due is None or standing.cannot_tell or after.cannot_tell:
        return None
    return after.due != standing.due
