"""How a due date comes about, what is in doubt about it, and what a check on some day would do to it, in sentences."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.assess.due.record_fields import CONDITIONAL, RecordField, record_fields, required_field_lists
from fleet.coded import Coded
from fleet.intervals import Due, WhatIf
from fleet.models import Visit
from fleet.predicates import day_in, split
from fleet.presentation.codes import code_words
from fleet.presentation.days import long_day, month_name
from fleet.presentation.questions import oddity_words
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed, within_ours

# What each step says; where it adds to those before it, `before` is what they have said.
STEPS = sentences("due_steps")
DOUBTS = sentences("due_doubts")
FACT_UNITS = {"_kw": "kW", "_mw": "MW", "_mmbtu_h": "MMBtu/h", "_btu_h": "Btu/h", "_years": "years"}
COMPARED = sentences("compared")
DAYS_COMPARED = sentences("days_compared")


def date_words(steps: Iterable[Coded]) -> str:
    """How a date comes about, as sentences; empty for no steps. What takes up nothing begins a new sentence."""
    said = ""
    for code, figures in steps:
        at_once = f"{code}_at_once"
        template = str(STEPS[at_once if figures.get("days") == 0 and at_once in STEPS else code])
        step = template % {**shown_figures(figures), "before": said}
        said = step if not said or "%(before)s" in template else f"{_closed(said)} {step}"
    return _closed(said)


def _closed(said: str) -> str:
    return said if not said or said.endswith((".", "!", "?", "…")) else f"{said}."


def doubt_words(doubts: Iterable[Coded]) -> str:
    """Why a date isn't certain, as half a sentence; empty where it is."""
    return "; ".join(_doubt(code, figures) for code, figures in doubts)


def _doubt(code: str, figures: Mapping[str, Any]) -> str:
    said = str(DOUBTS[code]) % shown_figures(figures)
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
    return _("Visited on %(day)s, doesn't count: %(why)s.") % {"day": long_day(visited_on), "why": said}


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


def shown_figures(figures: Mapping[str, Any]) -> dict[str, str]:
    """Each figure as its name says that it is to be read."""
    return {name: _one_shown(name, value) for name, value in figures.items()}


def _one_shown(name: str, value: Any) -> str:
    """By what its name says it is: a day, months, hours read, ..."""
    if name in _OF_THEIR_OWN:
        return _OF_THEIR_OWN[name](value)
    if name.endswith("_on"):
        return long_day(date.fromisoformat(value))
    if name.endswith("months"):
        return months_words(value)
    return f"{value:g}" if name.endswith("_h") else str(value)


def months_words(count: int) -> str:
    return str(ngettext("%d month", "%d months", count) % count)


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


def select_words(select: Mapping[str, Any]) -> str:
    """For which appliances.

    >>> select_words({"fuel": ["natural_gas", "lpg"], "output_kW_gt": 25, "condensing": False})
    'fuel natural gas or LPG, output over 25 kW, not condensing'
    >>> select_words({"low_use": True, "installation_on_lt": "2009-10-01"})
    'low use, day of installation before 1 October 2009'
    """
    return ", ".join(_predicate(name, wanted) for name, wanted in select.items())


def _predicate(name: str, wanted: Any) -> str:
    fact, comparison = split(name.lower())
    words, unit = fact_and_unit(fact)
    if comparison:
        day = day_in(wanted)
        said = DAYS_COMPARED[comparison] % long_day(day) if day else COMPARED[comparison] % f"{wanted}{unit}"
        return f"{words} {said}"
    if isinstance(wanted, bool):
        return words if wanted else _("not %s") % words
    choices = wanted if isinstance(wanted, (list, tuple)) else [wanted]
    return f"{words} {_(' or ').join(code_words(str(each)) for each in choices)}"


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
    said = {"due": long_day(standing.due), "doubt": doubt}
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
        return aligns % {**said, "until": long_day(standing.extension_until)}
    return _("%(late)s late: due by %(due)s.") % said


def _after_words(answer: WhatIf) -> str:
    standing, after, lost = answer.before, answer.after, answer.days_lost
    if after.due is None:
        if after.cannot_tell:
            return _("The date after it can't be told: %s.") % doubt_words(after.cannot_tell)
        return date_words(after.steps) if after.steps != standing.steps else ""
    said = {"due": long_day(after.due)}
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
        said |= {"lost": _days(lost), "otherwise": long_day(after.due + timedelta(days=lost))}
        return _("It gives up %(lost)s: the next check is then due by %(due)s, not %(otherwise)s.") % said
    if lost < 0:
        said["back"] = _days(-lost)
        return _("The rhythm moves back by %(back)s: the next check is then due by %(due)s.") % said
    return _("The date is kept: the next check is then due by %(due)s.") % said
