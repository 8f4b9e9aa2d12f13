"""How a due date comes about, what is in doubt about it, and what a check on some day would do to it, in sentences."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet.assess.due.record_fields import CONDITIONAL, RecordField, record_fields, required_field_lists
from fleet.coded import Coded
from fleet.intervals import Due, WhatIf
from fleet.models import Visit
from fleet.predicates import Select, day_in, split
from fleet.presentation.codes import code_words
from fleet.presentation.days import day as day_words
from fleet.presentation.days import long_day, month_name
from fleet.presentation.questions import oddity_words
from fleet.presentation.words import listed, within_ours

# What each step says; where it adds to those before it, `before` is what they have said.
STEPS = {
    "months_on": gettext_lazy("%(last_on)s plus %(months)s is %(due_on)s"),
    "months_on_as_counted": gettext_lazy("%(last_on)s, counted as %(counted_on)s, plus %(months)s is %(due_on)s"),
    "keeps_from": gettext_lazy(
        "%(before)s; from %(opens_on)s a check keeps that date (%(window_months)s that end with it, read strictly: "
        "%(outside_on)s lies outside)"
    ),
    "calendar_year_plus": gettext_lazy(
        "Calendar year %(last_year)s plus %(every)s is %(year)s: %(latest_on)s at the latest"
    ),
    "quarter_ends": gettext_lazy("Last check %(last_on)s; quarter %(quarter)s of %(year)s ends %(due_on)s"),
    "year_was_checked": gettext_lazy(
        "Calendar year %(year)s was checked on %(last_on)s; the next is due by %(due_on)s"
    ),
    "times_made": gettext_lazy(
        "%(made)s of %(times)s made in %(year)s, the last on %(last_on)s: the next falls between %(opens_on)s and "
        "%(due_on)s"
    ),
    "months_or_hours_later": gettext_lazy(
        "%(last_on)s plus %(months)s is %(limb_on)s, or %(hours)s run hours, whichever is later"
    ),
    "months_or_hours_first": gettext_lazy(
        "%(last_on)s plus %(months)s is %(limb_on)s, or %(hours)s run hours, whichever is first"
    ),
    "hours_used_up": gettext_lazy("%(before)s: the hours were used up by %(due_on)s"),
    "last": gettext_lazy("%(last_on)s"),
    "last_in_no_window": gettext_lazy("%(last_on)s lies in no window and serves none"),
    "last_in_no_named_month": gettext_lazy("%(last_on)s lies in no named month and serves none"),
    "one_in_window": gettext_lazy("%(before)s; one check is asked for from %(opens_on)s to %(due_on)s"),
    "one_in_months": gettext_lazy("%(before)s; one check is asked for in %(named_months)s %(year)s, by %(due_on)s"),
    "months_after_event": gettext_lazy("%(months)s after %(event)s on %(event_on)s is %(due_on)s"),
    "days_after_event": gettext_lazy("%(days)s after %(event)s on %(event_on)s is %(due_on)s"),
    "done_after_event": gettext_lazy("Done on %(done_on)s, after %(event)s on %(event_on)s"),
    "no_event_day": gettext_lazy("No date of %(event)s recorded"),
    "once_by": gettext_lazy("Asked for once, by %(due_on)s"),
    "once_after_event": gettext_lazy("Asked for once: %(months)s after %(event)s on %(event_on)s is %(due_on)s"),
    "counts_from": gettext_lazy("%(before)s; a check counts from %(opens_on)s, %(opens_months)s after it"),
    "once_done": gettext_lazy("Done on %(done_on)s; it was asked for once, so nothing more falls due"),
    "asked_only_where": gettext_lazy(
        "It is asked for only where %(select)s; the register says otherwise, so nothing falls due"
    ),
    "no_interval": gettext_lazy("This rule sets no interval"),
    "no_check_and_no_start": gettext_lazy("No check on record and no start date"),
    "counted_from_start": gettext_lazy("No check on record, counted from the start: %(before)s"),
    "idle_since": gettext_lazy("%(before)s, but out of use since %(idle_on)s"),
    "days_after_restart": gettext_lazy("%(before)s: %(days)s after restart is %(due_on)s"),
    "may_wait": gettext_lazy("%(before)s; %(part)s may wait for a shutdown until %(due_on)s"),
    "in_any_case": gettext_lazy("%(before)s; %(doubts)s; in any case by %(due_on)s"),
    "event_asks_sooner": gettext_lazy(
        "%(months)s after %(event)s on %(event_on)s is %(asked_on)s; without it: %(before)s"
    ),
    "event_asks_too": gettext_lazy("%(before)s; %(months)s after %(event)s on %(event_on)s is %(due_on)s"),
    "strictest_on_its_flue": gettext_lazy("%(before)s; the strictest of the %(count)s on its flue"),
    "by_another_on_its_flue": gettext_lazy("%(before)s; by %(name)s, the strictest of the %(count)s on its flue"),
    "by_a_stricter_on_its_flue": gettext_lazy(
        "%(before)s; by %(name)s, the strictest of the %(count)s on its flue (by its own facts alone %(own_on)s)"
    ),
    "on_a_weekend": gettext_lazy("%(before)s (a weekend day: the date stays)"),
    "which_is_on_a_weekend": gettext_lazy("%(before)s (%(weekend_on)s is a weekend day: the date stays)"),
    "stands_still": gettext_lazy(
        "Out of use since %(idle_on)s: nothing is due until its restart. Without that: %(before)s"
    ),
    "due_on_restart": gettext_lazy("It was out of use from %(idle_on)s, so it is due on its restart, %(due_on)s"),
    # By when a defect is to be repaired.
    "as_recorded": gettext_lazy("as recorded at the visit"),
    "by_set": gettext_lazy("by %(set)s: %(days)s after %(found_on)s is %(due_on)s"),
    "by_own_choice": gettext_lazy("by the contractor's own choice: %(days)s after %(found_on)s is %(due_on)s"),
    # By when a record is to be delivered.
    "days_after_check": gettext_lazy("By %(set)s: %(days)s after the check"),
    "days_after_visit": gettext_lazy("By %(set)s: %(days)s after the visit"),
    "so_it_is_due": gettext_lazy("%(before)s on %(since_on)s is %(due_on)s"),
    "before_tenancy": gettext_lazy(
        "By %(set)s: before the tenancy that begins on %(begins_on)s, the record of %(visit_on)s"
    ),
    "so_by": gettext_lazy("%(before)s, so by %(due_on)s"),
    "so_again_by": gettext_lazy("%(before)s; corrected on %(corrected_on)s, so again by %(due_on)s"),
    "failed": gettext_lazy("%(said)s"),
    "not_the_newest": gettext_lazy("What was sent is not the newest record that counts, which is that of %(visit_on)s"),
    "corrected": gettext_lazy("The record was corrected on %(corrected_on)s after it was sent"),
    "not_asked_for": gettext_lazy("Nothing asks for it any more"),
    "tenancy_called_off": gettext_lazy("The tenancy was called off: %(said)s"),
    "no_evidence": gettext_lazy("Counts from a record that is no evidence: %(why)s"),
}
DOUBTS = {
    "no_event_day": gettext_lazy("no date of %(event)s recorded"),
    "no_start": gettext_lazy("no start date recorded"),
    "until_restart": gettext_lazy("out of use: due %(days)s after restart"),
    "earliest_possible": gettext_lazy("%(facts)s not recorded: the earliest possible date is given"),
    "whether_asked_for": gettext_lazy("%(facts)s not recorded: whether it is asked for at all can't be told"),
    "no_run_hour_reading": gettext_lazy("no run-hour reading on the day of the last check and since"),
    "run_hours_used": gettext_lazy(
        "%(used_h)s of %(hours)s run hours used on %(read_on)s: take a new run-hour reading"
    ),
    "counter_fell": gettext_lazy("the run-hour counter fell from %(from_h)s to %(to_h)s on %(read_on)s"),
}
FACT_UNITS = {"_kw": "kW", "_mw": "MW", "_mmbtu_h": "MMBtu/h", "_btu_h": "Btu/h", "_years": "years"}
COMPARED = {
    "_ge": gettext_lazy("at least %s"),
    "_gt": gettext_lazy("over %s"),
    "_le": gettext_lazy("at most %s"),
    "_lt": gettext_lazy("under %s"),
}
DAYS_COMPARED = {
    "_ge": gettext_lazy("from %s"),
    "_gt": gettext_lazy("after %s"),
    "_le": gettext_lazy("up to %s"),
    "_lt": gettext_lazy("before %s"),
}


def date_words(steps: Iterable[Coded]) -> str:
    """How a date comes about, as sentences; empty for no steps. What takes up nothing begins a new sentence."""
    said = ""
    for code, figures in steps:
        template = str(STEPS[code])
        step = template % {**_shown(figures), "before": said}
        said = step if not said or "%(before)s" in template else f"{_closed(said)} {step}"
    return _closed(said)


def _closed(said: str) -> str:
    return said if not said or said.endswith((".", "!", "?", "…")) else f"{said}."


def doubt_words(doubts: Iterable[Coded]) -> str:
    """Why a date isn't certain, as half a sentence; empty where it is."""
    return "; ".join(_doubt(code, figures) for code, figures in doubts)


def _doubt(code: str, figures: Mapping[str, Any]) -> str:
    said = str(DOUBTS[code]) % _shown(figures)
    return f"{figures['of']}: {said}" if "of" in figures else said


def undecided_words(name: str, due: date | None, doubts: Sequence[Coded]) -> str:
    """How a required check is told whose date is not certain; empty where it is."""
    if not doubts:
        return ""
    said = {"name": name, "why": doubt_words(doubts)}
    if due is None:
        return _("%(name)s: no date; %(why)s") % said
    return _("%(name)s: as early as %(day)s; %(why)s") % {**said, "day": long_day(due)}


def no_evidence_words(why: Sequence[Coded]) -> str:
    """Said beside a date: it counts from a check, but the record of that check proves nothing; empty where it does."""
    return date_words([("no_evidence", {"why": why})]) if why else ""


def not_counted_words(visited_on: date | None, why: Iterable[Coded]) -> str:
    """A visit was made, and yet the required check stands; empty where the last visit counted it."""
    said = "; ".join(_why_not(code, figures) for code, figures in why)
    if visited_on is None or not said:
        return ""
    return _("Visited on %(day)s, doesn't count: %(why)s.") % {"day": day_words(visited_on), "why": said}


def _why_not(code: str, figures: Mapping[str, Any]) -> str:
    if code == "not_tested":
        outcome = str(Visit.Outcome(figures["outcome"]).label)
        return f"{outcome}: {within_ours(figures['reason'])}" if figures["reason"] else outcome
    if code == "fields_lacking":
        known = record_fields()
        lacking = (known[name].words for name in figures["names"] if name in known)
        return _("its record lacks %s") % "; ".join(lacking)
    return _("no reading of its own flue could be judged for CO")


@dataclass(frozen=True)
class Missing:
    """A field that a check lacks: its name, in words, by which list it is asked for, and where it was looked for."""

    name: str
    words: str
    why: str
    found: str


def missing_of(required_fields: str, names: Iterable[str]) -> tuple[Missing, ...]:
    """What a check lacks, in full."""
    known, lists = record_fields(), required_field_lists()
    title = lists[required_fields].title if required_fields in lists else ""
    return tuple(_missing(known[name], required_fields, title) for name in names if name in known)


def _missing(each: RecordField, required_fields: str, title: str) -> Missing:
    why = _("%(list)s asks for it") % {"list": title}
    if each.needed.get(required_fields) == CONDITIONAL and each.condition_words:
        why = f"{why} {each.condition_words}"
    return Missing(each.name, each.words, why, _("looked for: %s") % each.how)


def _shown(figures: Mapping[str, Any]) -> dict[str, str]:
    return {name: _one_shown(name, value) for name, value in figures.items()}


def _one_shown(name: str, value: Any) -> str:
    """By what its name says it is: a day, months, hours read, ..."""
    if name in _OF_THEIR_OWN:
        return _OF_THEIR_OWN[name](value)
    if name.endswith("_on"):
        return day_words(date.fromisoformat(value))
    if name.endswith("months"):
        return str(ngettext("%d month", "%d months", value) % value)
    return f"{value:g}" if name.endswith("_h") else str(value)


def _days(count: int) -> str:
    return str(ngettext("%d day", "%d days", count) % count)


_OF_THEIR_OWN: dict[str, Callable[[Any], str]] = {
    "days": _days,
    "event": code_words,
    "part": code_words,
    "facts": lambda facts: listed([fact_words(each) for each in facts]),
    "why": lambda why: " ".join(oddity_words(code, figures) for code, figures in why),
    "doubts": doubt_words,
    "select": lambda select: select_words(select),
    "named_months": lambda months: _(" or ").join(month_name(each) for each in months),
}


def select_words(select: Select) -> str:
    """The predicates in plain words.

    >>> select_words({"low_use": True, "output_kw_gt": 25, "installation_on_lt": "2009-10-01"})
    'low use is yes, output is over 25 kW, day of installation is before 1 Oct 2009'
    """
    return ", ".join(_one_said(name, wanted) for name, wanted in select.items())


def _one_said(name: str, wanted: object) -> str:
    fact, comparison = split(name.lower())
    words, unit = fact_and_unit(fact)
    if comparison:
        day = day_in(wanted)
        said = DAYS_COMPARED[comparison] % day_words(day) if day else COMPARED[comparison] % f"{wanted}{unit}"
    elif isinstance(wanted, bool):
        said = _("yes") if wanted else _("no")
    else:
        choices = wanted if isinstance(wanted, (list, tuple)) else [wanted]
        said = _(" or ").join(code_words(str(each)) for each in choices)
    return _("%(fact)s is %(said)s") % {"fact": words, "said": said}


def fact_words(name: str) -> str:
    """A fact of an appliance in words.

    >>> fact_words("low_use"), fact_words("output_kw"), fact_words("installation_on")
    ('low use', 'output', 'day of installation')
    """
    return fact_and_unit(name.lower())[0]


def fact_and_unit(name: str) -> tuple[str, str]:
    """The fact without the unit at its name's end, in words, and that unit."""
    for ending, unit in FACT_UNITS.items():
        if name.endswith(ending):
            return code_words(name.removesuffix(ending)), f" {unit}"
    return code_words(name), ""


# ---- what if ----


def what_if_words(answer: WhatIf) -> str:
    """Whether a check on that day is in time, and what becomes of the date after it."""
    return " ".join(filter(None, (_in_time_words(answer.day, answer.before), _after_words(answer))))


def _in_time_words(day: date, standing: Due) -> str:
    doubt = doubt_words(standing.cannot_tell)
    if standing.due is None:
        return _("No date stands: %s.") % doubt if doubt else date_words(standing.steps)
    said = {"due": day_words(standing.due), "doubt": doubt}
    if doubt and day <= standing.due:
        return _("In time: due on %(due)s at the earliest; %(doubt)s.") % said
    if doubt:
        return _("Whether it is in time can't be told: due on %(due)s at the earliest; %(doubt)s.") % said
    if day <= standing.due:
        return _("In time: due by %(due)s.") % said
    said["late"] = _days((day - standing.due).days)
    if standing.extension_until and day <= standing.extension_until:
        aligns = _(
            "%(late)s late: due by %(due)s; in time only as the one check that aligns it with another appliance there "
            "(until %(until)s)."
        )
        return aligns % {**said, "until": day_words(standing.extension_until)}
    return _("%(late)s late: due by %(due)s.") % said


def _after_words(answer: WhatIf) -> str:
    standing, after, lost = answer.before, answer.after, answer.days_lost
    if after.due is None:
        if after.cannot_tell:
            return _("The date after it can't be told: %s.") % doubt_words(after.cannot_tell)
        return date_words(after.steps) if after.steps != standing.steps else ""
    said = {"due": day_words(after.due)}
    if after.cannot_tell:
        if after.cannot_tell == standing.cannot_tell:
            return _("The next check is then due on %(due)s at the earliest.") % said
        said["doubt"] = doubt_words(after.cannot_tell)
        return _("The next check is then due on %(due)s at the earliest; %(doubt)s.") % said
    if after.due == standing.due and not standing.cannot_tell:
        return _("It doesn't count for that date, which stays: %(due)s.") % said
    if lost is None:
        return _("The next check is then due by %(due)s.") % said
    if lost > 0:
        said |= {"lost": _days(lost), "otherwise": day_words(after.due + timedelta(days=lost))}
        return _("It gives up %(lost)s: the next check is then due by %(due)s, not %(otherwise)s.") % said
    if lost < 0:
        said["back"] = _days(-lost)
        return _("The rhythm moves back by %(back)s: the next check is then due by %(due)s.") % said
    return _("The date is kept: the next check is then due by %(due)s.") % said
