"""One function for each kind of interval: (rule, checks, facts) -> Due.

`checks` is never empty here, in date order; with no check on record the start date stands in.
Sources are those of the rules themselves; only the arithmetic is here.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from fleet.intervals.dates import add_months, quarter, quarter_bounds, spoken
from fleet.intervals.due import Check, Due, read_checks
from fleet.intervals.facts import Facts

Rule = Mapping[str, Any]
Kind = Callable[[Rule, Sequence[Check], Facts], Due]

ONE_DAY = timedelta(days=1)


def positive(rule: Rule, name: str) -> int:
    """The whole number above zero that the rule must carry under `name`; ValueError otherwise."""
    value = rule.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value <= 0:
        raise ValueError(f"{rule.get('type')}: {name} must be a whole number above zero, not {value!r}")
    return value


def max_months(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """No more than N months after the previous check: same day number, clamped, that day included."""
    months, last = positive(rule, "months"), checks[-1].day
    due = add_months(last, months)
    return Due(due, words=f"{spoken(last)} plus {months} months is {spoken(due)}")


def corresponding_date_keep(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Same day number N months on; a check in the window that ends with the deadline keeps the date.

    The window of deadline D runs from (D - early_window_months) + 1 day to D, both included; a check in it
    counts as made on D. Earlier or later checks restart the count from their own day
    (Gas Safety (Installation and Use) Regulations 1998, reg. 36A(1), (4)).
    `alignment_extension_used` says that the latest check used the once-only extension: it is in time up to
    the end of the months beginning with the deadline, and restarts from its own day (reg. 36A(2)-(3)).
    """
    months, deadline, counted = positive(rule, "months"), None, checks[0].day
    for check in checks[1:]:
        deadline = add_months(counted, months)
        kept = window_start(deadline, rule) <= check.day <= deadline
        counted = deadline if kept else check.day
    due = add_months(counted, months)
    last = checks[-1].day
    latest_allowed = _extension_end(rule, deadline)
    made = f"{spoken(counted)}" if counted == last else f"{spoken(last)}, counted as {spoken(counted)},"
    return Due(
        due,
        earliest_keep=window_start(due, rule),
        words=f"{made} plus {months} months is {spoken(due)}; from {spoken(window_start(due, rule))} "
        "a check keeps that date",
        on_time=None if deadline is None else last <= (latest_allowed or deadline),
        latest_allowed=latest_allowed,
    )


def window_start(deadline: date, rule: Rule) -> date:
    """First day of the months that end with the deadline."""
    return add_months(deadline, -positive(rule, "early_window_months")) + ONE_DAY


def _extension_end(rule: Rule, deadline: date | None) -> date | None:
    if deadline is None or not rule.get("alignment_extension_used"):
        return None
    return add_months(deadline, rule.get("one_off_alignment_extension_months", 2)) - ONE_DAY


def calendar_years(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Once in every Nth calendar year: any day of year(last) + N, at the latest 31 December."""
    every, last = positive(rule, "every"), checks[-1].day
    year = last.year + every
    words = f"Calendar year {last.year} plus {every} is {year}: {spoken(date(year, 12, 31))} at the latest"
    return Due(date(year, 12, 31), earliest_keep=date(year, 1, 1), words=words)


def same_quarter_each_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """The same calendar quarter of every calendar year: the rule's `quarter`, else the first check's."""
    number, last = rule.get("quarter") or quarter(checks[0].day), checks[-1].day
    year = last.year + (quarter(last) >= number)
    first_day, last_day = quarter_bounds(year, number)
    words = f"Last check {spoken(last)}; quarter {number} of {year} ends {spoken(last_day)}"
    return Due(last_day, earliest_keep=first_day, words=words)


def by_day_each_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Once every calendar year, by a fixed day and month."""
    last = checks[-1].day
    due = date(last.year + 1, positive(rule, "month"), positive(rule, "day"))
    words = f"Calendar year {last.year} was checked on {spoken(last)}; the next is due by {spoken(due)}"
    return Due(due, earliest_keep=date(due.year, 1, 1), words=words)


def times_per_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """K times a calendar year, not closer than the shortest gap nor further apart than the longest."""
    last = checks[-1].day
    earliest = add_months(last, positive(rule, "min_gap_months"))
    gap_end = add_months(last, positive(rule, "max_gap_months"))
    year_end = date(last.year, 12, 31)
    made = sum(check.day.year == last.year for check in checks)
    short = made < positive(rule, "times") and earliest <= year_end
    due = min(gap_end, year_end) if short else gap_end
    words = (
        f"{made} of {rule['times']} made in {last.year}, the last on {spoken(last)}: the next falls between "
        f"{spoken(earliest)} and {spoken(due)}"
    )
    return Due(due, earliest_keep=earliest, words=words)


def months_or_hours_later(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """N months or H run hours after the last check, whichever comes later.

    facts["run_hours"] : readings {date, run_hours} of the hour counter; facts["consecutive_passes"] : a
    count that may switch the rule to the longer limbs of `relax_after_passes`.
    """
    rule = _relaxed(rule, facts)
    months, hours, last = positive(rule, "months"), positive(rule, "hours"), checks[-1]
    date_limb = add_months(last.day, months)
    words = f"{spoken(last.day)} plus {months} months is {spoken(date_limb)}, or {hours} run hours, whichever is later"
    hours_day, doubt = _hours_limb(last, hours, facts)
    due = date_limb if hours_day is None else max(date_limb, hours_day)
    return Due(due, words=words, cannot_tell=doubt, hours_limb=hours, later_of=True)


def _relaxed(rule: Rule, facts: Facts) -> Rule:
    relaxed = rule.get("relax_after_passes")
    passes = facts.get("consecutive_passes")
    if relaxed and isinstance(passes, int) and passes >= relaxed["passes"]:
        return {**rule, "months": relaxed["months"], "hours": relaxed["hours"]}
    return rule


def _hours_limb(last: Check, hours: int, facts: Facts) -> tuple[date | None, str]:
    """The day of the hours limb or the earliest it can be, and the doubt that is left."""
    recorded = facts.get("run_hours")
    readings = read_checks(recorded, None) if isinstance(recorded, Sequence) else ()
    later = [(r.day, r.run_hours) for r in readings if r.run_hours is not None and r.day >= last.day]
    if last.run_hours is None or not later:
        return None, "no run-hour reading on the day of the last check and since: cannot tell"
    target = last.run_hours + hours
    reached = next((day for day, run_hours in later if run_hours >= target), None)
    if reached:
        return reached, ""
    day, run_hours = later[-1]
    earliest = day + timedelta(days=math.ceil((target - run_hours) / 24))
    used = run_hours - last.run_hours
    return earliest, f"{used:g} of {hours} run hours used on {spoken(day)}: take a new run-hour reading"


def days_after_event(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """N days (or calendar months) after an event; the event's day comes as the only entry of `checks`."""
    event = checks[0].day
    months = rule.get("months")
    due = add_months(event, months) if months else event + timedelta(days=positive(rule, "days"))
    length = f"{months} months" if months else f"{rule['days']} days"
    name = str(rule.get("event", "event")).replace("_", " ")
    return Due(due, words=f"{length} after {name} on {spoken(event)} is {spoken(due)}")


KINDS: Mapping[str, Kind] = {
    "max_months": max_months,
    "corresponding_date_keep": corresponding_date_keep,
    "calendar_years": calendar_years,
    "same_quarter_each_year": same_quarter_each_year,
    "by_day_each_year": by_day_each_year,
    "times_per_year": times_per_year,
    "months_or_hours_later": months_or_hours_later,
}
