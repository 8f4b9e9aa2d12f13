"""Dated events of an appliance, such as a change that moves its emissions, and the check that each asks for."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from fleet.intervals.dates import add_months, as_date, spoken
from fleet.intervals.due import Check, Due
from fleet.intervals.facts import Facts

Rule = Mapping[str, Any]

# With "_on" it is the name of a fact.
EVENT = re.compile("[a-z][a-z0-9_]{0,56}")


def is_event(name: object) -> bool:
    """Whether facts can say on which days it happened."""
    return isinstance(name, str) and EVENT.fullmatch(name) is not None


def days_of(event: str, facts: Facts) -> tuple[date, ...]:
    """The days on which it happened, in order: facts["<event>_on"], a day, or several in a list or with commas.

    What is no day is as good as not recorded.

    >>> days_of("permit", {"permit_on": "2026-03-01, 2025-01-31"})
    (datetime.date(2025, 1, 31), datetime.date(2026, 3, 1))
    """
    recorded = facts.get(f"{event}_on")
    entries = recorded.split(",") if isinstance(recorded, str) else recorded
    if not isinstance(entries, Sequence):
        entries = (entries,)
    return tuple(sorted(day for day in map(_day, entries) if day))


def _day(entry: object) -> date | None:
    try:
        return as_date(entry.strip() if isinstance(entry, str) else entry)
    except ValueError:
        return None


def event_words(rule: Rule) -> str:
    return str(rule.get("event", "event")).replace("_", " ")


def again_after_events(
    rule: Rule, checks: Sequence[Check], start: date | None, today: date | None, facts: Facts, due: Due
) -> Due:
    """`again_after` {event, months} : the next check is due at the latest so many months after each such event.

    Only a check on the event's day or later is one after it. An event after `today` is planned, not happened; one
    whose day for the check lies before `start` is no matter of this duty.
    due : what the rule gives without that; the earlier of both stands.
    """
    asked = rule.get("again_after")
    if not asked or (due.due is None and due.cannot_tell):
        return due
    months, last = asked["months"], checks[-1].day if checks else None
    open_since = [
        day
        for day in days_of(asked["event"], facts)
        if (today is None or day <= today)
        and (last is None or last < day)
        and (start is None or add_months(day, months) >= start)
    ]
    if not open_since:
        return due
    by = add_months(open_since[0], months)
    said = f"{months} months after {event_words(asked)} on {spoken(open_since[0])} is {spoken(by)}"
    if due.due is None or by <= due.due:
        words = f"{said}; without it: {due.words}"
        return replace(due, due=by, earliest_keep=None, words=words, cannot_tell="", certain_by=None,
                       extension_until=None)  # fmt: skip
    if due.cannot_tell:
        return replace(due, words=f"{due.words}; {said}", certain_by=min(by, due.certain_by or by))
    return due
