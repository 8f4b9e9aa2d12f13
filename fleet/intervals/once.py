"""Asked for once: one check by a day, or so many months after an event, and never again."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from fleet.intervals.dates import add_months, as_date, months_words, spoken
from fleet.intervals.due import Check, Due
from fleet.intervals.events import days_of, event_words, is_event
from fleet.intervals.kinds import positive
from fleet.predicates import Facts

Rule = Mapping[str, Any]


def once(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    """One check by the rule's day `by`; without one, so many `months` after its `event`.

    The event's day is facts["<event>_on"]; of several the latest counts. `from_months` : so many months after the
    event is the first day on which the check counts, where the day rests on the event.
    start : where the duty begins; what was done before it is another matter. One check discharges it for good.
    """
    due, opens, words = _by_day(rule) if "by" in rule else _after_event(rule, facts)
    if due is None:
        return Due(None, words=words, cannot_tell=words[0].lower() + words[1:])
    counts_from = max((day for day in (opens, start) if day), default=None)
    done = next((check.day for check in checks if counts_from is None or check.day >= counts_from), None)
    if done:
        return Due(
            None, words=f"Done on {spoken(done)}; it was asked for once, so nothing more falls due", counted=done
        )
    return Due(due, earliest_keep=opens, words=words)


def _by_day(rule: Rule) -> tuple[date | None, date | None, str]:
    day = as_date(rule["by"])
    return day, None, f"Asked for once, by {spoken(day)}"


def _after_event(rule: Rule, facts: Facts) -> tuple[date | None, date | None, str]:
    """The last day, the first one that counts, and how they come about."""
    months, name = positive(rule, "months"), event_words(rule)
    if not is_event(rule.get("event")):
        raise ValueError(f"{rule['type']}: event must be the name of one, such as installation, where there is no by")
    opens_after = positive(rule, "from_months") if "from_months" in rule else 0
    if opens_after >= months:
        raise ValueError(f"{rule['type']}: from_months must be below months, {months}")
    day = max(days_of(rule["event"], facts), default=None)
    if day is None:
        return None, None, f"No date of {name} recorded"
    due = add_months(day, months)
    words = f"Asked for once: {months_words(months)} after {name} on {spoken(day)} is {spoken(due)}"
    if not opens_after:
        return due, None, words
    opens = add_months(day, opens_after)
    return due, opens, f"{words}; a check counts from {spoken(opens)}, {months_words(opens_after)} after it"
