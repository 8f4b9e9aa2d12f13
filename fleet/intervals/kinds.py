"""The kinds of interval, a class each: what it holds and when it is due. Sources are those of the rules themselves."""

import calendar
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import ClassVar

from fleet.coded import Coded, coded, wrong
from fleet.intervals.dates import add_months, day_in_two, month_spans, quarter, quarter_bounds, recorded_day, spans_near
from fleet.intervals.due import Check, Due, Rule
from fleet.intervals.events import days_of
from fleet.intervals.run_hours import hours_limb
from fleet.intervals.shapes import DAY, EVENT_NAME, Schema, faults, fields, several, whole
from fleet.predicates import Facts

ONE_DAY = timedelta(days=1)
# From January to December of one year, and one without 29 February.
LAST_MONTH_APART, NO_LEAP_YEAR = 11, 2023
EXTENSION = "one_off_alignment_extension_months"
DAYS_MAX = 36_600
# No due date may leave the calendar.
MONTHS, DAYS, HOURS, MONTH, DAY_OF_MONTH = whole(1200), whole(DAYS_MAX), whole(876_600), whole(12), whole(31)
EVENT_TEXT: Schema = {"type": "string", "maxLength": 100}


class Kind:
    """What a rule of one `type` holds and asks for.

    holds : what it reads of a rule, by name.
    needs : those without which it can't be calculated with; several alternatives, of which the first is asked for.
    also : what JSON Schema can say of them together.
    is_rhythm : whether each check asks for the next. Then `checks` is never empty, and with none on record the start
        date stands in; else the start date, where there is one, stands before the checks.
    """

    type: ClassVar[str]
    holds: ClassVar[Mapping[str, Schema]] = {}
    needs: ClassVar[tuple[tuple[str, ...], ...]] = ((),)
    also: ClassVar[Schema] = {}
    is_rhythm: ClassVar[bool] = True

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        """What its fields must be together, each within its own bounds: the name of the one to blame, and why."""
        yield from ()

    def said(self, rule: Rule) -> Coded:
        """The rule itself, by a code of the table `intervals`."""
        return coded(self.type, **{name: rule[name] for name in self.holds if name in rule})

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        """When the next check is due by a rule without faults; checks in date order."""
        raise NotImplementedError


class MaxMonths(Kind):
    """No more than N months after the previous check: same day number, clamped, that day included."""

    type, holds, needs = "max_months", {"months": MONTHS}, (("months",),)

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        months, last = rule["months"], checks[-1].day
        due = add_months(last, months)
        return Due(due, steps=(coded("months_on", last_on=last, months=months, due_on=due),), counted=last)


class CorrespondingDateKeep(Kind):
    """Same day number N months on; a check in the window that ends with the deadline keeps the date.

    The window of deadline D runs from (D - early_window_months) + 1 day to D, both included: "the two months ending
    with the deadline date", read strictly. A check in it counts as made on D. Earlier or later checks restart the
    count from their own day (Gas Safety (Installation and Use) Regulations 1998, reg. 36A(1), (4)).

    `one_off_alignment_extension_months` : once per appliance a check that aligns its date with others of the premises
    is in time up to the end of the months beginning with the deadline, and restarts from its own day (reg. 36A(2)-(3)).
    facts["alignment_extension_used_on"] : the day of the check that used it; the rule's `alignment_extension_used`
    says that it is used up as well.
    """

    type = "corresponding_date_keep"
    holds = {"months": MONTHS, "early_window_months": MONTHS, EXTENSION: MONTHS}
    needs = (("months", "early_window_months"),)

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        # Else a check on the very next day would already put the date off by a whole period.
        yield from _below_months(rule, "early_window_months")

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        months, counted, last = rule["months"], checks[0].day, checks[-1].day
        for check in checks[1:]:
            deadline = add_months(counted, months)
            counted = deadline if _window_start(deadline, rule) <= check.day <= deadline else check.day
        due = add_months(counted, months)
        opens = _window_start(due, rule)
        code = "months_on" if counted == last else "months_on_as_counted"
        window = rule["early_window_months"]
        is_used = rule.get("alignment_extension_used") or recorded_day(facts.get("alignment_extension_used_on"))
        return Due(
            due,
            earliest_keep=opens,
            steps=(
                coded(code, last_on=last, counted_on=counted, months=months, due_on=due),
                coded("keeps_from", opens_on=opens, window_months=window, outside_on=opens - ONE_DAY),
            ),
            extension_until=None if is_used or EXTENSION not in rule else add_months(due, rule[EXTENSION]) - ONE_DAY,
            counted=last,
        )


def _window_start(deadline: date, rule: Rule) -> date:
    """First day of the months that end with the deadline."""
    return add_months(deadline, -rule["early_window_months"]) + ONE_DAY


def _below_months(rule: Rule, name: str) -> Iterator[tuple[str, Coded]]:
    if rule.get(name, 0) >= rule["months"]:
        yield name, wrong("below_months", rule[name], months=rule["months"])


class CalendarYears(Kind):
    """Once in every Nth calendar year: any day of year(last) + N, at the latest 31 December."""

    type, holds, needs = "calendar_years", {"every": whole(100)}, (("every",),)

    def said(self, rule: Rule) -> Coded:
        return coded("calendar_year") if rule["every"] == 1 else super().said(rule)

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        every, last = rule["every"], checks[-1].day
        year = last.year + every
        latest = date(year, 12, 31)
        said = coded("calendar_year_plus", last_year=last.year, every=every, year=year, latest_on=latest)
        return Due(latest, earliest_keep=date(year, 1, 1), steps=(said,), counted=last)


class ByDayEachYear(Kind):
    """Once every calendar year, by a fixed day and month that each year has."""

    type, holds, needs = "by_day_each_year", {"month": MONTH, "day": DAY_OF_MONTH}, (("month", "day"),)
    also = {
        "allOf": [
            {"if": {"properties": {"month": {"enum": months}}}, "then": {"properties": {"day": {"maximum": last}}}}
            for months, last in (([4, 6, 9, 11], 30), ([2], 28))
        ]
    }

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        last = calendar.monthrange(NO_LEAP_YEAR, rule["month"])[1]
        if rule["day"] > last:
            yield "day", wrong("whole_between", rule["day"], low=1, high=last)

    def said(self, rule: Rule) -> Coded:
        return coded(self.type, day_and_month=[rule["day"], rule["month"]])

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        last = checks[-1].day
        due = date(last.year + 1, rule["month"], rule["day"])
        said = coded("year_was_checked", year=last.year, last_on=last, due_on=due)
        return Due(due, earliest_keep=date(due.year, 1, 1), steps=(said,), counted=last)


class TimesPerYear(Kind):
    """K times a calendar year, not closer than the shortest gap nor further apart than the longest.

    The next is due early enough for those still to come in its year to follow it at the shortest gap.
    """

    type, holds = "times_per_year", {"times": whole(366), "min_gap_months": MONTHS, "max_gap_months": MONTHS}
    needs = (("times", "min_gap_months", "max_gap_months"),)

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        times, least, most = rule["times"], rule["min_gap_months"], rule["max_gap_months"]
        if least > most or (times - 1) * least > LAST_MONTH_APART:
            yield "min_gap_months", wrong("room_in_the_year", least, times=times, apart=most)

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        times, least, last = rule["times"], rule["min_gap_months"], checks[-1].day
        earliest, gap_end = add_months(last, least), add_months(last, rule["max_gap_months"])
        made = sum(check.day.year == last.year for check in checks)
        is_short = made < times and earliest.year == last.year
        year, to_come = (last.year, times - made) if is_short else (last.year + 1, times)
        due = max(earliest, min(gap_end, add_months(date(year, 12, 31), -least * (to_come - 1))))
        counts = {"made": made, "times": times, "year": last.year}
        said = coded("times_made", **counts, last_on=last, opens_on=earliest, due_on=due)
        return Due(due, earliest_keep=earliest, steps=(said,), counted=last)


class MonthsOrHoursLater(Kind):
    """N months or H run hours after the last check, whichever comes later.

    facts["run_hours"] : readings {date, run_hours} of the hour counter; facts["consecutive_passes"] : a
    count that may switch the rule to the longer limbs of `relax_after_passes`.
    """

    type, holds, needs = "months_or_hours_later", {"months": MONTHS, "hours": HOURS}, (("months", "hours"),)

    def said(self, rule: Rule) -> Coded:
        return _limbs_said(rule)

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        date_limb, hours, said = _limbs(rule, checks[-1], facts)
        limb = hours_limb(checks[-1], hours, facts)
        return Due(max(date_limb, limb.earliest), steps=(said,), cannot_tell=limb.doubt, counted=checks[-1].day)


class MonthsOrHoursFirst(Kind):
    """N months or H run hours after the last check, whichever comes first; the facts as for whichever is later.

    The months decide for certain where the hours can't be used up sooner, even running day and night.
    """

    type, holds, needs = "months_or_hours_first", MonthsOrHoursLater.holds, MonthsOrHoursLater.needs

    def said(self, rule: Rule) -> Coded:
        return _limbs_said(rule)

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        date_limb, hours, said = _limbs(rule, checks[-1], facts)
        limb = hours_limb(checks[-1], hours, facts)
        hours_may_decide = limb.earliest < date_limb
        used_up = (coded("hours_used_up", due_on=limb.reached),) if hours_may_decide and limb.reached else ()
        doubt = limb.doubt if hours_may_decide else ()
        by, due = date_limb if doubt else None, min(date_limb, limb.earliest)
        return Due(due, steps=(said, *used_up), cannot_tell=doubt, certain_by=by, counted=checks[-1].day)


def _limbs_said(rule: Rule) -> Coded:
    limbs = {"months": rule["months"], "hours": rule["hours"]}
    if not (relaxed := rule.get("relax_after_passes")):
        return coded(rule["type"], **limbs)
    then = {"passes": relaxed["passes"], "then_months": relaxed["months"], "then_hours": relaxed["hours"]}
    return coded(f"{rule['type']}_relaxed", **limbs, **then)


def _limbs(rule: Rule, last: Check, facts: Facts) -> tuple[date, int, Coded]:
    """The date limb, the run hours of the other, and both as a step of the rule's own code."""
    relaxed, passes = rule.get("relax_after_passes"), facts.get("consecutive_passes")
    asked = relaxed if relaxed and isinstance(passes, int) and passes >= relaxed["passes"] else rule
    months, hours = asked["months"], asked["hours"]
    date_limb = add_months(last.day, months)
    return date_limb, hours, coded(rule["type"], last_on=last.day, months=months, limb_on=date_limb, hours=hours)


class InEachWindow(Kind):
    """One check in each window of every year: a season, two windows, ...; a window may run over New Year.

    windows : each {from_month, to_month}, with from_day and to_day where it isn't whole months. A check outside every
    window serves none. Neither does a start date: a rule that begins within a window asks for a check in it.
    """

    type, needs = "in_each_window", (("windows",),)
    _ends = {"from_month": MONTH, "from_day": DAY_OF_MONTH, "to_month": MONTH, "to_day": DAY_OF_MONTH}
    holds = {"windows": several(fields(_ends, "from_month", "to_month"), 12)}

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        if day := day_in_two(rule["windows"]):
            yield "windows", coded("day_in_two_windows", month=day.month, day=day.day)

    def said(self, rule: Rule) -> Coded:
        return coded(self.type if len(rule["windows"]) == 1 else "in_each_of_windows", windows=rule["windows"])

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        last, windows = checks[-1], rule["windows"]
        spans = spans_near(windows, last.day)
        serving = (each.day for each in reversed(checks) if _lies_in(spans_near(windows, each.day), each))
        opens, closes = next(span for span in spans if span[1] > last.day and not _is_served([span], checks))
        return Due(
            closes,
            earliest_keep=max(opens, last.day),
            steps=(_last_in(spans, last, "last_in_no_window"), coded("one_in_window", opens_on=opens, due_on=closes)),
            counted=next(serving, None),
        )


class InNamedMonths(Kind):
    """Once every calendar year, in one of the months of `named_months`; a check in another month serves no year."""

    type, holds, needs = "in_named_months", {"named_months": several(MONTH, 12)}, (("named_months",),)

    def said(self, rule: Rule) -> Coded:
        return coded(self.type, named_months=sorted(set(rule["named_months"])))

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        months, last = sorted(set(rule["named_months"])), checks[-1]
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


def _is_served(spans: Sequence[tuple[date, date]], checks: Sequence[Check]) -> bool:
    return any(_lies_in(spans, check) for check in checks)


def _lies_in(spans: Sequence[tuple[date, date]], check: Check) -> bool:
    return not check.is_start and any(opens <= check.day <= closes for opens, closes in spans)


def _last_in(spans: Sequence[tuple[date, date]], last: Check, elsewhere: str) -> Coded:
    """The last check; as a step of the code `elsewhere` where it lay outside what counts."""
    return coded("last" if last.is_start or _lies_in(spans, last) else elsewhere, last_on=last.day)


class SameQuarterEachYear(Kind):
    """The same calendar quarter of every calendar year: the rule's `quarter`, else the first check's.

    A check in another quarter counts only where that of its year or the year before was missed.
    """

    type, holds = "same_quarter_each_year", {"quarter": whole(4)}

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
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


class DaysAfterEvent(Kind):
    """N days (or calendar months) after an event, whose day is the start date, until there is a check after it."""

    type, holds = "days_after_event", {"days": DAYS, "months": MONTHS, "event": EVENT_TEXT}
    needs, is_rhythm = (("days",), ("months",)), False

    def said(self, rule: Rule) -> Coded:
        length = "months" if rule.get("months") else "days"
        return coded(f"{length}_after_event", event=rule.get("event", "the_event"), **{length: rule[length]})

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        start, made = from_start(checks)
        name, months = rule.get("event", "event"), rule.get("months")
        if start is None:
            unknown = (coded("no_event_day", event=name),)
            return Due(None, steps=unknown, cannot_tell=unknown)
        if done := next((check.day for check in made if check.day >= start), None):
            return Due(None, steps=(coded("done_after_event", done_on=done, event=name, event_on=start),), counted=done)
        due = add_months(start, months) if months else start + timedelta(days=rule["days"])
        length = {"months": months} if months else {"days": rule["days"]}
        code = "months_after_event" if months else "days_after_event"
        return Due(due, steps=(coded(code, **length, event=name, event_on=start, due_on=due),))


def from_start(checks: Sequence[Check]) -> tuple[date | None, Sequence[Check]]:
    """The start date that stands before the checks, and the checks."""
    return (checks[0].day, checks[1:]) if checks and checks[0].is_start else (None, checks)


class Once(Kind):
    """One check by the rule's day `by`; without one, so many `months` after its `event`; and never again.

    The event's day is facts["<event>_on"]; of several the latest counts. `from_months` : so many months after the
    event is the first day on which the check counts, where the day rests on the event. What was done before the start
    date, where the required check begins, is another matter. One check counts for it for good.
    """

    type, holds = "once", {"by": DAY, "months": MONTHS, "from_months": MONTHS, "event": EVENT_TEXT}
    needs, is_rhythm = (("event", "months"), ("by",)), False
    also = {"if": {"not": {"required": ["by"]}}, "then": {"properties": {"event": EVENT_NAME}}}

    def between(self, rule: Rule) -> Iterator[tuple[str, Coded]]:
        if "by" not in rule:
            yield from faults(rule["event"], EVENT_NAME, "event").items()
            yield from _below_months(rule, "from_months")

    def said(self, rule: Rule) -> Coded:
        if "by" in rule:
            return coded("once_by", due_on=rule["by"])
        code = "once_between" if rule.get("from_months") else "once_after_event"
        return coded(code, months=rule["months"], from_months=rule.get("from_months", 0), event=rule["event"])

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        start, made = from_start(checks)
        due, opens, steps = _once_by(rule, facts)
        if due is None:
            return Due(None, steps=steps, cannot_tell=steps)
        counts_from = max((day for day in (opens, start) if day), default=None)
        done = next((check.day for check in made if counts_from is None or check.day >= counts_from), None)
        if done:
            return Due(None, steps=(coded("once_done", done_on=done),), counted=done)
        return Due(due, earliest_keep=opens, steps=steps)


def _once_by(rule: Rule, facts: Facts) -> tuple[date | None, date | None, tuple[Coded, ...]]:
    """The last day, the first one that counts, and how they come about."""
    if "by" in rule:
        by = date.fromisoformat(rule["by"])
        return by, None, (coded("once_by", due_on=by),)
    months, opens_after = rule["months"], rule.get("from_months")
    day = max(days_of(rule["event"], facts), default=None)
    if day is None:
        return None, None, (coded("no_event_day", event=rule["event"]),)
    due = add_months(day, months)
    said = coded("once_after_event", months=months, event=rule["event"], event_on=day, due_on=due)
    if not opens_after:
        return due, None, (said,)
    opens = add_months(day, opens_after)
    return due, opens, (said, coded("counts_from", opens_on=opens, opens_months=opens_after))


class NoInterval(Kind):
    """Nothing is asked for."""

    type, is_rhythm = "none", False

    def due(self, rule: Rule, checks: Sequence[Check], facts: Facts) -> Due:
        return Due(None, steps=(coded("no_interval"),))


KINDS: Mapping[str, Kind] = {each.type: each() for each in Kind.__subclasses__()}
