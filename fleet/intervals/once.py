"""Asked for once: one check by a day, or so many months after an event, and never again."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from fleet.coded import Coded, coded
from fleet.intervals.dates import add_months, as_date
from fleet.intervals.due import Check, Due
from fleet.intervals.events import days_of, is_event
from fleet.intervals.kinds import event_of, positive
from fleet.predicates import Facts

Rule = Mapping[str, Any]


def once(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    """One check by the rule's day `by`; without one, so many `months` after its `event`.

    The event's day is facts["<event>_on"]; of several the latest counts. `from_months` : so many months after the
    event is the first day on which the check counts, where the day rests on the event.
    start : where the required check begins; what was done before it is another matter. One check counts for it for
    good.
    """
    due, opens, steps = _by_day(rule) if "by" in rule else _after_event(rule, facts)
    if due is None:
        return Due(None, steps=steps, cannot_tell=steps)
    counts_from = max((day for day in (opens, start) if day), default=None)
    done = next((check.day for check in checks if counts_from is None or check.day >= counts_from), None)
    if done:
        return Due(None, steps=(coded("once_done", done_on=done),), counted=done)
    return Due(due, earliest_keep=opens, steps=steps)


def _by_day(rule: Rule) -> tuple[date | None, date | None, tuple[Coded, ...]]:
    day = as_date(rule["by"])
    return day, None, (coded("once_by", due_on=day),)


def _after_event(rule: Rule, facts: Facts) -> tuple[date | None, date | None, tuple[Coded, ...]]:
    """The last day, the first one that counts, and how they come about."""
    months, name = positive(rule, "months"), event_of(rule)
    if not is_event(rule.get("event")):
        raise ValueError(f"{rule['type']}: event must be the name of one, such as installation, where there is no by")
    opens_after = positive(rule, "from_months") if "from_months" in rule else 0
    if opens_after >= months:
        raise ValueError(f"{rule['type']}: from_months must be below months, {months}")
    day = max(days_of(rule["event"], facts), default=None)
    if day is None:
        return None, None, (coded("no_event_day", event=name),)
    due = add_months(day, months)
    said = coded("once_after_event", months=months, event=name, event_on=day, due_on=due)
    if not opens_after:
        return due, None, (said,)
    opens = add_months(day, opens_after)
    return due, opens, (said, coded("counts_from", opens_on=opens, opens_months=opens_after))
