"""Dated events of an appliance, such as a change that moves its emissions, and the check that each asks for."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from fleet.coded import coded
from fleet.intervals.dates import add_months, recorded_day
from fleet.intervals.due import Check, Due, Rule
from fleet.predicates import Facts

# With "_on" it is the name of a fact.
EVENT = re.compile("[a-z][a-z0-9_]{0,56}")


def is_event(name: object) -> bool:
    """Whether facts can say on which days it happened."""
    return isinstance(name, str) and EVENT.fullmatch(name) is not None


def days_of(event: str, facts: Facts) -> tuple[date, ...]:
    """The days on which it happened, in order: facts["<event>_on"], a day, or several in a list or with commas.

    What is no day, or none from 1900 to 2200, is as good as not recorded.

    >>> days_of("permit", {"permit_on": "2026-03-01, 2025-01-31"})
    (datetime.date(2025, 1, 31), datetime.date(2026, 3, 1))
    """
    recorded = facts.get(f"{event}_on")
    entries = recorded.split(",") if isinstance(recorded, str) else recorded
    if not isinstance(entries, Sequence):
        entries = (entries,)
    return tuple(sorted(day for day in map(_day, entries) if day))


def _day(entry: object) -> date | None:
    return recorded_day(entry.strip() if isinstance(entry, str) else entry)


def again_after_events(rule: Rule, checks: Sequence[Check], today: date | None, facts: Facts, due: Due) -> Due:
    """`again_after` {event, months} : the next check is due at the latest so many months after each such event.

    Only a check on the event's day or later is one after it; until there is one, the event asks for it, also where it
    lies before the required check began. An event after `today` is planned, not happened.
    due : what the rule gives without that; the earlier of both stands, and the event's where the rule can give none.
    """
    asked = rule.get("again_after")
    if not asked:
        return due
    happened = [day for day in days_of(asked["event"], facts) if today is None or day <= today]
    answers = [next((check.day for check in checks if check.day >= day), None) for day in happened]
    due = replace(due, counted=max((day for day in (due.counted, *answers) if day), default=None))
    unanswered = next((day for day, answer in zip(happened, answers, strict=True) if answer is None), None)
    if unanswered is None:
        return due
    months = asked["months"]
    by = add_months(unanswered, months)
    figures = {"months": months, "event": asked["event"], "event_on": unanswered}
    if due.due is None or by <= due.due:
        steps = (*due.steps, coded("event_asks_sooner", **figures, asked_on=by))
        return replace(due, due=by, earliest_keep=None, steps=steps, cannot_tell=(), certain_by=None,
                       extension_until=None)  # fmt: skip
    if due.cannot_tell:
        steps = (*due.steps, coded("event_asks_too", **figures, due_on=by))
        return replace(due, steps=steps, certain_by=min(by, due.certain_by or by))
    return due
