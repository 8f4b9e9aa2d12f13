"""One function for each kind of interval: (rule, checks, facts) -> Due.

`checks` is never empty here, in date order; with no check on record the start date stands in.
Sources are those of the rules themselves; only the arithmetic is here.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from fleet.coded import Coded, coded
from fleet.intervals.dates import add_months, as_date, quarter, quarter_bounds, recorded_day
from fleet.intervals.due import Check, Due
from fleet.intervals.events import days_of, is_event
from fleet.intervals.run_hours import hours_limb
from fleet.intervals.windows import Spans, month_spans, months_of, occurrences, read_windows
from fleet.predicates import Facts

Rule = Mapping[str, Any]
Kind = Callable[[Rule, Sequence[Check], Facts], Due]

ONE_DAY = timedelta(days=1)
# From January to December of one year.
LAST_MONTH_APART = 11
EXTENSION = "one_off_alignment_extension_months"


def positive(rule: Rule, name: str) -> int:
    """The whole number above zero that the rule must carry under `name`; ValueError otherwise."""
    value = rule.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value <= 0:
        raise ValueError(f"{rule.get('type')}: {name} must be a whole number above zero, not {value!r}")
    return value


def event_of(rule: Rule) -> str:
    return str(rule.get("event", "event"))


def max_months(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """No more than N months after the previous check: same day number, clamped, that day included."""
    months, last = positive(rule, "months"), checks[-1].day
    due = add_months(last, months)
    return Due(due, steps=(coded("months_on", last_on=last, months=months, due_on=due),), counted=last)


def corresponding_date_keep(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Same day number N months on; a check in the window that ends with the deadline keeps the date.

    The window of deadline D runs from (D - early_window_months) + 1 day to D, both included: "the two months ending
    with the deadline date", read strictly. A check in it counts as made on D. Earlier or later checks restart the
    count from their own day (Gas Safety (Installation and Use) Regulations 1998, reg. 36A(1), (4)).

    `one_off_alignment_extension_months` : once per appliance a check that aligns its date with others of the premises
    is in time up to the end of the months beginning with the deadline, and restarts from its own day (reg. 36A(2)-(3)).
    facts["alignment_extension_used_on"] : the day of the check that used it; the rule's `alignment_extension_used`
    says the same of the latest check. One appliance has one such day, so it can't be used twice.
    """
    months, deadline, counted = positive(rule, "months"), None, checks[0].day
    if positive(rule, "early_window_months") >= months:
        # Else a check on the very next day would already put the date off by a whole period.
        raise ValueError(f"{rule['type']}: early_window_months must be below months, {months}")
    for check in checks[1:]:
        deadline = add_months(counted, months)
        kept = window_start(deadline, rule) <= check.day <= deadline
        counted = deadline if kept else check.day
    due, last, used_on = add_months(counted, months), checks[-1].day, _extension_used_on(rule, checks, facts)
    latest_allowed = None if deadline is None or used_on != last else _extension_end(rule, deadline)
    code = "months_on" if counted == last else "months_on_as_counted"
    said = coded(code, last_on=last, counted_on=counted, months=months, due_on=due)
    return Due(
        due,
        earliest_keep=window_start(due, rule),
        steps=(said, _keeps_from(due, rule)),
        on_time=None if deadline is None else last <= (latest_allowed or deadline),
        latest_allowed=latest_allowed,
        extension_until=None if used_on or EXTENSION not in rule else _extension_end(rule, due),
        counted=last,
    )


def window_start(deadline: date, rule: Rule) -> date:
    """First day of the months that end with the deadline."""
    return add_months(deadline, -positive(rule, "early_window_months")) + ONE_DAY


def _keeps_from(due: date, rule: Rule) -> Coded:
    opens = window_start(due, rule)
    return coded("keeps_from", opens_on=opens, window_months=rule["early_window_months"], outside_on=opens - ONE_DAY)


def _extension_used_on(rule: Rule, checks: Sequence[Check], facts: Facts) -> date | None:
    if rule.get("alignment_extension_used"):
        return checks[-1].day
    return recorded_day(facts.get("alignment_extension_used_on"))


def _extension_end(rule: Rule, deadline: date) -> date:
    return add_months(deadline, rule.get(EXTENSION, 2)) - ONE_DAY


def calendar_years(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Once in every Nth calendar year: any day of year(last) + N, at the latest 31 December."""
    every, last = positive(rule, "every"), checks[-1].day
    year = last.year + every
    latest = date(year, 12, 31)
    said = coded("calendar_year_plus", last_year=last.year, every=every, year=year, latest_on=latest)
    return Due(latest, earliest_keep=date(year, 1, 1), steps=(said,), counted=last)


def same_quarter_each_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """The same calendar quarter of every calendar year: the rule's `quarter`, else the first check's.

    A check in another quarter counts only where that of its year or the year before was missed.
    """
    number, last = rule.get("quarter") or quarter(checks[0].day), checks[-1].day
    year = last.year + (quarter(last) >= number)
    first_day, last_day = quarter_bounds(year, number)
    said = coded("quarter_ends", last_on=last, quarter=number, year=year, due_on=last_day)
    return Due(last_day, earliest_keep=first_day, steps=(said,), counted=_newest_for_quarter(number, checks))


def _newest_for_quarter(number: int, checks: Sequence[Check]) -> date:
    counted, served_year = checks[0].day, 0
    for day in (check.day for check in checks):
        # The year whose quarter the check leaves for the next one to serve.
        year = day.year + (quarter(day) >= number)
        if quarter(day) == number or year > served_year:
            counted, served_year = day, year
    return counted


def by_day_each_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Once every calendar year, by a fixed day and month."""
    last = checks[-1].day
    due = date(last.year + 1, positive(rule, "month"), positive(rule, "day"))
    said = coded("year_was_checked", year=last.year, last_on=last, due_on=due)
    return Due(due, earliest_keep=date(due.year, 1, 1), steps=(said,), counted=last)


def times_per_year(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """K times a calendar year, not closer than the shortest gap nor further apart than the longest.

    The next is due early enough for those still to come in its year to follow it at the shortest gap.
    """
    times, least, most = positive(rule, "times"), positive(rule, "min_gap_months"), positive(rule, "max_gap_months")
    if least > most or (times - 1) * least > LAST_MONTH_APART:
        raise ValueError(
            f"{rule['type']}: min_gap_months must leave room for {times} a year, {most} months apart at most"
        )
    last = checks[-1].day
    earliest, gap_end = add_months(last, least), add_months(last, most)
    made = sum(check.day.year == last.year for check in checks)
    is_short = made < times and earliest.year == last.year
    year, to_come = (last.year, times - made) if is_short else (last.year + 1, times)
    latest = add_months(date(year, 12, 31), -least * (to_come - 1))
    due = max(earliest, min(gap_end, latest))
    counts = {"made": made, "times": times, "year": last.year}
    said = coded("times_made", **counts, last_on=last, opens_on=earliest, due_on=due)
    return Due(due, earliest_keep=earliest, steps=(said,), counted=last)


def months_or_hours_later(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """N months or H run hours after the last check, whichever comes later.

    facts["run_hours"] : readings {date, run_hours} of the hour counter; facts["consecutive_passes"] : a
    count that may switch the rule to the longer limbs of `relax_after_passes`.
    """
    date_limb, hours, said = _limbs(_relaxed(rule, facts), checks[-1], "months_or_hours_later")
    limb = hours_limb(checks[-1], hours, facts)
    due = max(date_limb, limb.earliest)
    return Due(due, steps=(said,), cannot_tell=limb.doubt, hours_limb=hours, later_of=True, counted=checks[-1].day)


def months_or_hours_first(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """N months or H run hours after the last check, whichever comes first; the facts as for whichever is later.

    The months decide for certain where the hours can't be used up sooner, even running day and night.
    """
    date_limb, hours, said = _limbs(_relaxed(rule, facts), checks[-1], "months_or_hours_first")
    limb = hours_limb(checks[-1], hours, facts)
    hours_may_decide = limb.earliest < date_limb
    used_up = (coded("hours_used_up", due_on=limb.reached),) if hours_may_decide and limb.reached else ()
    doubt = limb.doubt if hours_may_decide else ()
    by = date_limb if doubt else None
    due = min(date_limb, limb.earliest)
    return Due(due, steps=(said, *used_up), cannot_tell=doubt, hours_limb=hours, certain_by=by, counted=checks[-1].day)


def _limbs(rule: Rule, last: Check, code: str) -> tuple[date, int, Coded]:
    """The date limb, the run hours of the other, and both as a step of that code."""
    months, hours = positive(rule, "months"), positive(rule, "hours")
    date_limb = add_months(last.day, months)
    return date_limb, hours, coded(code, last_on=last.day, months=months, limb_on=date_limb, hours=hours)


def _relaxed(rule: Rule, facts: Facts) -> Rule:
    relaxed = rule.get("relax_after_passes")
    passes = facts.get("consecutive_passes")
    if relaxed and isinstance(passes, int) and passes >= relaxed["passes"]:
        return {**rule, "months": relaxed["months"], "hours": relaxed["hours"]}
    return rule


def in_each_window(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """One check in each window of every year: a season, two windows, ...; a window may run over New Year.

    windows : each {from_month, to_month}, with from_day and to_day where it isn't whole months. A check outside every
    window serves none. Neither does a start date: a rule that begins within a window asks for a check in it.
    """
    last, windows = checks[-1], read_windows(rule)
    spans = occurrences(windows, range(last.day.year - 1, last.day.year + 3))
    serving = (each.day for each in reversed(checks) if _lies_in(occurrences(windows, _years_about(each)), each))
    opens, closes = next(span for span in spans if span[1] > last.day and not _is_served([span], checks))
    return Due(
        closes,
        earliest_keep=max(opens, last.day),
        steps=(_last_in(spans, last, "last_in_no_window"), coded("one_in_window", opens_on=opens, due_on=closes)),
        counted=next(serving, None),
    )


def _years_about(check: Check) -> range:
    """Years in which a window that holds the check may have opened."""
    return range(check.day.year - 1, check.day.year + 1)


def in_named_months(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """Once every calendar year, in one of the months of `named_months`; a check in another month serves no year."""
    months, last = months_of(rule), checks[-1]
    this_year = month_spans(months, last.day.year)
    is_over = this_year[-1][1] <= last.day or _is_served(this_year, checks)
    spans = month_spans(months, last.day.year + 1) if is_over else this_year
    closes = spans[-1][1]
    steps = (
        _last_in(this_year, last, "last_in_no_named_month"),
        coded("one_in_months", named_months=months, year=closes.year, due_on=closes),
    )
    first_open = next(opens for opens, end in spans if end > last.day)
    serving = (each.day for each in reversed(checks) if each.day.month in months and not each.is_start)
    return Due(closes, earliest_keep=max(first_open, last.day), steps=steps, counted=next(serving, None))


def _is_served(spans: Spans, checks: Sequence[Check]) -> bool:
    return any(_lies_in(spans, check) for check in checks)


def _lies_in(spans: Spans, check: Check) -> bool:
    return not check.is_start and any(opens <= check.day <= closes for opens, closes in spans)


def _last_in(spans: Spans, last: Check, elsewhere: str) -> Coded:
    """The last check; as a step of the code `elsewhere` where it lay outside what counts."""
    return coded("last" if last.is_start or _lies_in(spans, last) else elsewhere, last_on=last.day)


def days_after_event(rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
    """N days (or calendar months) after an event; the event's day comes as the only entry of `checks`."""
    event = checks[0].day
    months = rule.get("months")
    due = add_months(event, months) if months else event + timedelta(days=positive(rule, "days"))
    code, length = (
        ("months_after_event", {"months": months}) if months else ("days_after_event", {"days": rule["days"]})
    )
    return Due(due, steps=(coded(code, **length, event=event_of(rule), event_on=event, due_on=due),))


KINDS: Mapping[str, Kind] = {
    "max_months": max_months,
    "corresponding_date_keep": corresponding_date_keep,
    "calendar_years": calendar_years,
    "same_quarter_each_year": same_quarter_each_year,
    "by_day_each_year": by_day_each_year,
    "times_per_year": times_per_year,
    "months_or_hours_later": months_or_hours_later,
    "months_or_hours_first": months_or_hours_first,
    "in_each_window": in_each_window,
    "in_named_months": in_named_months,
}


# ---- asked for once: one check by a day, or so many months after an event, and never again ----


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
