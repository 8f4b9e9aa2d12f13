"""What would become of a due date if a check were made on some day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.intervals.dates import as_date, spoken
from fleet.intervals.due import Due, read_checks
from fleet.intervals.kinds import Rule
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
    words : all that in plain sentences.

    What rests on a date that is missing or can't be told is None.
    """

    day: date
    before: Due
    after: Due
    in_time: bool | None
    serves: bool | None
    days_lost: int | None
    words: str

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
    before : the date that stands, where the caller has reckoned it.

    ValueError for a day before the last check on record: what has been done since can't be undone.

    >>> rule = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
    >>> what_if(rule, ["2018-02-10"], "2019-01-05").words
    'In time: due by 10 Feb 2019. The date is kept: the next check is then due by 10 Feb 2020.'
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
    words = " ".join(filter(None, (_in_time_words(planned, standing), _after_words(standing, after, days_lost))))
    return WhatIf(planned, standing, after, in_time, serves, days_lost, words)


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


def _in_time_words(day: date, standing: Due) -> str:
    if standing.due is None:
        return f"No date stands: {standing.cannot_tell}." if standing.cannot_tell else standing.words
    if standing.cannot_tell:
        side = "In time" if day <= standing.due else "Whether it is in time can't be told"
        return f"{side}: due on {spoken(standing.due)} at the earliest; {standing.cannot_tell}."
    if day <= standing.due:
        return f"In time: due by {spoken(standing.due)}."
    late = f"{_days((day - standing.due).days)} late: due by {spoken(standing.due)}"
    if standing.extension_until and day <= standing.extension_until:
        until = spoken(standing.extension_until)
        return f"{late}; in time only as the one check that aligns it with another appliance there (until {until})."
    return f"{late}."


def _after_words(standing: Due, after: Due, days_lost: int | None) -> str:
    if after.due is None:
        told = after.words if after.words != standing.words else ""
        return f"The date after it can't be told: {after.cannot_tell}." if after.cannot_tell else told
    if after.cannot_tell:
        why = "" if after.cannot_tell == standing.cannot_tell else f"; {after.cannot_tell}"
        return f"The next check is then due on {spoken(after.due)} at the earliest{why}."
    then = f"the next check is then due by {spoken(after.due)}"
    if after.due == standing.due and not standing.cannot_tell:
        return f"It doesn't count for that date, which stays: {spoken(after.due)}."
    if days_lost is None:
        return f"{then[0].upper()}{then[1:]}."
    if days_lost > 0:
        return f"It gives up {_days(days_lost)}: {then}, not {spoken(after.due + timedelta(days=days_lost))}."
    if days_lost < 0:
        return f"The rhythm moves back by {_days(-days_lost)}: {then}."
    return f"The date is kept: {then}."


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
