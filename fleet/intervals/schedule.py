"""From a typed rule and the checks on record to the next due date."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from fleet.intervals.dates import add_months, as_date, is_weekend, recorded_day, spoken, years_between
from fleet.intervals.due import Check, Due, read_checks
from fleet.intervals.events import again_after_events
from fleet.intervals.flues import others_on_the_flue, strictest
from fleet.intervals.kinds import KINDS, Rule, days_after_event
from fleet.intervals.once import once
from fleet.predicates import Facts, Select, day_in, holds, missing_facts, split

NO_FACTS: Facts = {}
COMPARED = {"_ge": "at least", "_gt": "over", "_le": "at most", "_lt": "under"}
DAYS_COMPARED = {"_ge": "from", "_gt": "after", "_le": "up to", "_lt": "before"}


def next_due(
    rule: Rule,
    history: Iterable[object],
    *,
    start: object = None,
    today: object = None,
    facts: Facts = NO_FACTS,
) -> Due:
    """When the next check is due by `rule`.

    rule : typed interval, as in the limit sets: {"type": ..., its numbers, "first", "variants", "grace", and
        "select" (only there), "again_after" (events that ask for a check), "shared_flue"}.
    history : checks made, as dates, ISO strings or {"date", "run_hours"}; any order.
    start : local date from which the clock runs while no check is on record (commissioning, or the event).
    today : the day of planning. Later entries of `history` don't count; with `start` it gives the age.
    facts : what variants ask for (fuel, output_kw, age_years, ...), "run_hours" readings,
        "consecutive_passes", "out_of_use" periods {"from", "to"} (to None: still out of use), days such as
        "burner_inspection_done_on", "alignment_extension_used_on" and those of events ("installation_on"), and
        "on_one_flue", name and facts of each other appliance on its flue.

    Dates are local and inclusive. A due date on a weekend stays where it is. ValueError for a rule that
    can't be read. With several `variants` the last one that holds wins (they run from general to special);
    where a fact is missing the earliest of the possible dates is given and `cannot_tell` names the fact.

    >>> next_due({"type": "max_months", "months": 13}, ["2024-01-31"]).due
    datetime.date(2025, 2, 28)
    """
    start_day = None if start is None else as_date(start)
    day = None if today is None else as_date(today)
    known = with_age(facts, start_day, day)
    checks = read_checks(history, day)
    applies = holds(_select(rule), known) if "select" in rule else True
    if applies is False:
        only = select_said(rule["select"])
        return Due(None, words=f"It is asked for only where {only}; recorded is otherwise, so nothing falls due.")
    due = _due_on_the_flue(rule, checks, start_day, known)
    due = again_after_events(rule, checks, day, known, due)
    if applies is None:
        due = _if_it_applies(due, missing_facts(_select(rule), known))
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
    doubt = f"{', '.join(missing)} not recorded: whether it is asked for at all can't be told"
    return replace(due, cannot_tell="; ".join(filter(None, (doubt, due.cannot_tell))), certain_by=None)


def _bound_for_certain(due: Due, today: date | None) -> Due:
    """Once the earliest day that it can be has passed, the day by which it is due in any case counts."""
    undecided = due.cannot_tell and due.due and due.certain_by
    if not undecided or today is None or due.due is None or due.certain_by is None or today <= due.due:
        return due
    said = f"{due.words}; {due.cannot_tell}; in any case by {spoken(due.certain_by)}"
    return replace(due, due=due.certain_by, words=said, cannot_tell="", certain_by=None)


def _due_by_variant(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    candidates, doubt = _applicable(rule, facts)
    return _earliest([_due_by(candidate, checks, start, facts) for candidate in candidates], doubt)


def with_age(facts: Facts, start: date | None, today: date | None) -> Facts:
    """The facts with the age on the day of planning, where the start is known and no age is recorded."""
    if start is None or today is None or "age_years" in facts:
        return facts
    return {**facts, "age_years": years_between(start, today)}


def _applicable(rule: Rule, facts: Facts) -> tuple[list[Rule], str]:
    """The rules that may apply (one when the facts decide) and the doubt left between them."""
    base = {name: value for name, value in rule.items() if name != "variants"}
    candidates: list[Rule] = [base]
    missing: tuple[str, ...] = ()
    for variant in rule.get("variants", ()):
        answer = holds(_select(variant), facts)
        if answer is None:
            candidates.append({**base, **variant})
            missing += missing_facts(variant["select"], facts)
        elif answer:
            candidates, missing = [{**base, **variant}], ()
    names = ", ".join(dict.fromkeys(missing))
    return candidates, f"{names} not recorded: the earliest possible date is given" if names else ""


def _select(part: Mapping[str, Any]) -> Mapping[str, object]:
    select = part.get("select")
    if not isinstance(select, Mapping):
        raise ValueError("typed predicates are needed under 'select'")
    return select


def _earliest(dues: Sequence[Due], doubt: str) -> Due:
    first = min(dues, key=lambda due: due.due or date.max)
    if len({due.due for due in dues}) == 1 or not doubt:
        return first
    last_days = [due.certain_by if due.cannot_tell else due.due for due in dues]
    by = None if None in last_days else max(day for day in last_days if day)
    return replace(first, cannot_tell="; ".join(filter(None, (doubt, first.cannot_tell))), certain_by=by)


def _due_by(rule: Rule, checks: Sequence[Check], start: date | None, facts: Facts) -> Due:
    kind = str(rule.get("type"))
    if kind == "none":
        return Due(None, words="This rule sets no interval")
    if kind == "days_after_event":
        return _after_event(rule, checks, start)
    if kind == "once":
        return once(rule, checks, start, facts)
    if kind not in KINDS:
        raise ValueError(f"unknown kind of interval: {kind!r}")
    if not checks:
        return _first_due(rule, start, facts)
    due = _after_restart(rule, KINDS[kind](rule, checks, facts), facts)
    return _with_parts_that_may_wait(rule, due, checks[-1].day, facts)


def _first_due(rule: Rule, start: date | None, facts: Facts) -> Due:
    """With no check on record: the rule's own `first`, else the rule counted from the start date."""
    if start is None:
        return Due(None, words="No check on record and no start date", cannot_tell="no start date recorded")
    if first := rule.get("first"):
        return _due_by_variant(first, (), start, facts)
    due = _due_by(rule, (Check(start, is_start=True),), None, facts)
    return replace(due, counted=None, words=f"No check on record, counted from the start: {due.words}")


def _after_event(rule: Rule, checks: Sequence[Check], event: date | None) -> Due:
    name = str(rule.get("event", "event")).replace("_", " ")
    if event is None:
        return Due(None, words=f"No date of {name} recorded", cannot_tell=f"no date of {name} recorded")
    done = next((check.day for check in checks if check.day >= event), None)
    if done:
        return Due(None, words=f"Done on {spoken(done)}, after {name} on {spoken(event)}", counted=done)
    return days_after_event(rule, (Check(event),), {})


def _after_restart(rule: Rule, due: Due, facts: Facts) -> Due:
    """Where the set allows it, a plant out of use on its due day is due N days after its restart."""
    grace = rule.get("grace", {}).get("if_not_operating_on_due_date")
    period = _idle_period(due.due, facts) if grace else None
    if grace is None or period is None:
        return due
    idle_from, restart = period
    since = f"{due.words}, but out of use since {spoken(idle_from)}"
    if restart is None:
        doubt = f"out of use: due {grace['days']} days after restart"
        return replace(due, due=None, words=since, cannot_tell=doubt)
    moved = restart + timedelta(days=grace["days"])
    return replace(due, due=moved, words=f"{since}: {grace['days']} days after restart is {spoken(moved)}")


def _with_parts_that_may_wait(rule: Rule, due: Due, last: date, facts: Facts) -> Due:
    """`component_defer_months` : parts that may wait for the next shutdown, so many months after they were last done.

    Done at the last check, unless facts["..._done_on"] has another day.
    """
    parts = [
        (name, add_months(recorded_day(facts.get(f"{name}_done_on")) or last, months))
        for name, months in rule.get("component_defer_months", {}).items()
    ]
    said = [f"{name.replace('_', ' ')} may wait for a shutdown until {spoken(day)}" for name, day in parts]
    return replace(due, words="; ".join([due.words, *said]), may_wait=tuple(parts))


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
        return replace(due, words=f"{due.words}.")
    day = "" if due.words.endswith(spoken(due.due)) else f"{spoken(due.due)} is "
    return replace(due, words=f"{due.words} ({day}a weekend day: the date stays).")


def select_said(select: Select) -> str:
    """The predicates in plain words.

    >>> select_said({"low_use": True, "output_kw_gt": 25, "installation_on_lt": "2009-10-01"})
    'low use is yes, output kw is over 25, installation on is before 1 Oct 2009'
    """
    return ", ".join(_one_said(name, wanted) for name, wanted in select.items())


def _one_said(name: str, wanted: object) -> str:
    fact, comparison = split(name.lower())
    if comparison:
        day = day_in(wanted)
        said = f"{DAYS_COMPARED[comparison]} {spoken(day)}" if day else f"{COMPARED[comparison]} {wanted}"
    elif isinstance(wanted, bool):
        said = "yes" if wanted else "no"
    else:
        choices = wanted if isinstance(wanted, (list, tuple)) else [wanted]
        said = " or ".join(str(each) for each in choices)
    return f"{fact} is {said}".replace("_", " ")
