"""From a typed rule and the checks on record to the next due date."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from fleet.coded import Coded, coded
from fleet.intervals.dates import add_months, as_date, is_weekend, recorded_day, years_between
from fleet.intervals.due import Check, Due, Rule, read_checks
from fleet.intervals.events import again_after_events
from fleet.intervals.kinds import KINDS
from fleet.predicates import Facts, holds, missing_facts

NO_FACTS: Facts = {}
# Steps that say what those before them say at their own end.
_LEADING = frozenset({"counted_from_start", "event_asks_sooner"})


def next_due(
    rule: Rule, history: Iterable[object], *, start: object = None, today: object = None, facts: Facts = NO_FACTS
) -> Due:
    """When the next check is due by `rule`.

    rule : typed interval in which `faults` finds none: {"type": ..., its numbers, "first", "variants", "grace", and
        "select" (only there), "again_after" (events that ask for a check), "shared_flue"}.
    history : checks made, as dates, ISO strings or {"date", "run_hours"}; any order.
    start : local date from which the clock runs while no check is on record (commissioning, or the event).
    today : the day of planning. Later entries of `history` don't count; with `start` it gives the age.
    facts : what variants ask for (fuel, output_kw, age_years, ...), "run_hours" readings,
        "consecutive_passes", "out_of_use" periods {"from", "to"} (to None: still out of use), days such as
        "burner_inspection_done_on", "alignment_extension_used_on" and those of events ("installation_on"), and
        "on_one_flue", name and facts of each other appliance on its flue.

    Dates are local and inclusive. A due date on a weekend stays where it is. With several `variants` the last one that
    holds wins (they run from general to special); where a fact is missing the earliest of the possible dates is given
    and `cannot_tell` names the fact.

    >>> next_due({"type": "max_months", "months": 13}, ["2024-01-31"]).due
    datetime.date(2025, 2, 28)
    """
    start_day = None if start is None else as_date(start)
    day = None if today is None else as_date(today)
    known = with_age(facts, start_day, day)
    checks = read_checks(history, day)
    applies = holds(rule.get("select", {}), known)
    if applies is False:
        return Due(None, steps=(coded("asked_only_where", select=dict(rule["select"])),))
    due = _due_on_the_flue(rule, checks, start_day, known)
    due = again_after_events(rule, checks, day, known, due)
    if applies is None:
        due = _if_it_applies(due, missing_facts(rule["select"], known))
    return _about_weekend(_bound_for_certain(due, day))


def _due_on_the_flue(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    """`shared_flue` "strictest" : the strictest interval among the appliances on one flue goes for each of them."""
    own = _due_by_variant(rule, checks, start, facts)
    if rule.get("shared_flue") != "strictest":
        return own
    others = [(name, _due_by_variant(rule, checks, start, known)) for name, known in others_on_the_flue(facts)]
    return strictest(own, others)


def _if_it_applies(due: Due, missing: Sequence[str]) -> Due:
    """Whether it is asked for at all rests on a fact that nobody has recorded: there is no day that is certain."""
    if due.due is None and not due.cannot_tell:
        return due
    doubt = coded("whether_asked_for", facts=list(missing))
    return replace(due, cannot_tell=(doubt, *due.cannot_tell), certain_by=None)


def _bound_for_certain(due: Due, today: date | None) -> Due:
    """Once the earliest day that it can be has passed, the day by which it is due in any case counts."""
    if not due.cannot_tell or due.certain_by is None or due.due is None or today is None or today <= due.due:
        return due
    said = coded("in_any_case", doubts=due.cannot_tell, due_on=due.certain_by)
    return replace(due, due=due.certain_by, steps=(*due.steps, said), cannot_tell=(), certain_by=None)


def _due_by_variant(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    candidates, doubt = _applicable(rule, facts)
    return _earliest([_due_by(candidate, checks, start, facts) for candidate in candidates], doubt)


def with_age(facts: Facts, start: date | None, today: date | None) -> Facts:
    """The facts with the age on the day of planning, where the start is known and no age is recorded."""
    if start is None or today is None or "age_years" in facts:
        return facts
    return {**facts, "age_years": years_between(start, today)}


def _applicable(rule: Rule, facts: Facts) -> tuple[list[Rule], tuple[Coded, ...]]:
    """The rules that may apply (one when the facts decide) and the doubt left between them."""
    base = {name: value for name, value in rule.items() if name != "variants"}
    candidates: list[Rule] = [base]
    missing: tuple[str, ...] = ()
    for variant in rule.get("variants", ()):
        answer = holds(variant["select"], facts)
        if answer is None:
            candidates.append({**base, **variant})
            missing += missing_facts(variant["select"], facts)
        elif answer:
            candidates, missing = [{**base, **variant}], ()
    return candidates, (coded("earliest_possible", facts=list(dict.fromkeys(missing))),) if missing else ()


def _earliest(dues: Sequence[Due], doubt: tuple[Coded, ...]) -> Due:
    first = min(dues, key=lambda due: due.due or date.max)
    if len({due.due for due in dues}) == 1 or not doubt:
        return first
    last_days = [due.certain_by if due.cannot_tell else due.due for due in dues]
    by = None if None in last_days else max(day for day in last_days if day)
    return replace(first, cannot_tell=(*doubt, *first.cannot_tell), certain_by=by)


def _due_by(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    kind = KINDS[rule["type"]]
    if not kind.is_rhythm:
        return kind.due(rule, checks if start is None else (Check(start, is_start=True), *checks), facts)
    if not checks:
        return _first_due(rule, start, facts)
    due = _after_restart(rule, kind.due(rule, checks, facts), facts)
    return _with_parts_that_may_wait(rule, due, checks[-1].day, facts)


def _first_due(rule: Rule, start: date | None, facts: Facts) -> Due:
    """With no check on record: the rule's own `first`, else the rule counted from the start date."""
    if start is None:
        return Due(None, steps=(coded("no_check_and_no_start"),), cannot_tell=(coded("no_start"),))
    if first := rule.get("first"):
        return _due_by_variant(first, (), start, facts)
    due = _due_by(rule, (Check(start, is_start=True),), None, facts)
    return replace(due, counted=None, steps=(*due.steps, coded("counted_from_start")))


def _after_restart(rule: Rule, due: Due, facts: Facts) -> Due:
    """Where the set allows it, a plant out of use on its due day is due N days after its restart."""
    grace = rule.get("grace", {}).get("if_not_operating_on_due_date")
    period = _idle_period(due.due, facts) if grace else None
    if grace is None or period is None:
        return due
    idle_from, restart = period
    since = (*due.steps, coded("idle_since", idle_on=idle_from))
    if restart is None:
        return replace(due, due=None, steps=since, cannot_tell=(coded("until_restart", days=grace["days"]),))
    moved = restart + timedelta(days=grace["days"])
    return replace(due, due=moved, steps=(*since, coded("days_after_restart", days=grace["days"], due_on=moved)))


def _with_parts_that_may_wait(rule: Rule, due: Due, last: date, facts: Facts) -> Due:
    """`component_defer_months` : parts that may wait for the next shutdown, so many months after they were last done.

    Done at the last check, unless facts["..._done_on"] has another day.
    """
    parts = [
        (name, add_months(recorded_day(facts.get(f"{name}_done_on")) or last, months))
        for name, months in rule.get("component_defer_months", {}).items()
    ]
    said = [coded("may_wait", part=name, due_on=day) for name, day in parts]
    return replace(due, steps=(*due.steps, *said), may_wait=tuple(parts))


def _idle_period(due: date | None, facts: Facts) -> tuple[date, date | None] | None:
    """The out-of-use period that covers the due day; the day of restart is a day of use."""
    periods = facts.get("out_of_use", ())
    if due is None or not isinstance(periods, Sequence) or isinstance(periods, str):
        return None
    for period in periods:
        begin = as_date(period["from"])
        end = None if period.get("to") is None else as_date(period["to"])
        if begin <= due and (end is None or due < end):
            return begin, end
    return None


def _about_weekend(due: Due) -> Due:
    if due.due is None or not is_weekend(due.due):
        return due
    last = next((figures for code, figures in reversed(due.steps) if code not in _LEADING), {})
    is_said = last.get("due_on") == due.due.isoformat()
    said = coded("on_a_weekend") if is_said else coded("which_is_on_a_weekend", weekend_on=due.due)
    return replace(due, steps=(*due.steps, said))


# ---- appliances on one flue ----

# Facts of the appliance's own record; all else is told of whichever appliance sets the interval.
OF_THE_RECORD = ("run_hours", "out_of_use", "consecutive_passes")


def others_on_the_flue(facts: Facts) -> Iterator[tuple[str, Facts]]:
    """Name and facts of each other appliance on it, from facts["on_one_flue"]: the appliance's own record stays."""
    others = facts.get("on_one_flue", ())
    own = {name: facts[name] for name in OF_THE_RECORD if name in facts}
    if isinstance(others, Sequence) and not isinstance(others, str):
        for name, known in others:
            assert isinstance(known, Mapping)
            yield str(name), {**known, **own}


def strictest(own: Due, others: Sequence[tuple[str, Due]]) -> Due:
    """The earliest of them, each calculated from the same checks. Where it isn't certain, neither is the answer."""
    if not others:
        return own
    asked = [("", own), *others]
    name, first = min(asked, key=lambda each: (each[1].due or date.max, bool(each[1].cannot_tell)))
    if first.due is None:
        return own
    count = len(asked)
    if not name:
        said = coded("strictest_on_its_flue", count=count)
    elif own.due and own.due != first.due:
        said = coded("by_a_stricter_on_its_flue", name=name, count=count, own_on=own.due)
    else:
        said = coded("by_another_on_its_flue", name=name, count=count)
    steps = (*first.steps, said)
    if not first.cannot_tell:
        return replace(first, steps=steps)
    last_days = [due.certain_by if due.cannot_tell else due.due for _name, due in asked]
    by = min((day for day in last_days if day), default=None)
    (code, figures), *others_too = first.cannot_tell
    doubt = coded(code, **figures, of=name) if name else (code, figures)
    return replace(first, steps=steps, cannot_tell=(doubt, *others_too), certain_by=by)
