"""Typed predicates on facts about an appliance: true, false, or not to be told from what is recorded.

The `limits` room reads the same form; the two rooms stand side by side and neither imports the other,
so a test holds both readings to the same table of cases.
"""

import math
import re
from collections.abc import Mapping
from datetime import date

from fleet.intervals.dates import read_date, spoken

Select = Mapping[str, object]
Facts = Mapping[str, object]

SUFFIXES = ("_ge", "_gt", "_le", "_lt")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
COMPARED = {"_ge": "at least", "_gt": "over", "_le": "at most", "_lt": "under"}
DAYS_COMPARED = {"_ge": "from", "_gt": "after", "_le": "up to", "_lt": "before"}


def holds(select: Select, facts: Facts) -> bool | None:
    """Whether every predicate holds: False when one fails, None when none fails but one can't be told.

    select : name -> wanted value. A name ending _ge, _gt, _le or _lt compares numbers, or days where the
        wanted value is one (2009-10-01); a list means any of its entries; "not_x" means any value but x;
        anything else means equal. Of yes or no a word tells nothing.
    facts : name -> recorded value, names in any case; a missing name or None is not recorded.
    """
    answers = [_one_holds(name, wanted, facts) for name, wanted in select.items()]
    if False in answers:
        return False
    return None if None in answers else True


def missing_facts(select: Select, facts: Facts) -> tuple[str, ...]:
    """Names of the facts that `select` asks for and nobody has recorded, or not so that it can be told."""
    undecided = (name for name, wanted in select.items() if _one_holds(name, wanted, facts) is None)
    return tuple(dict.fromkeys(_split(name)[0] for name in undecided))


def _one_holds(name: str, wanted: object, facts: Facts) -> bool | None:
    fact_name, comparison = _split(name)
    value = _recorded(fact_name, facts)
    if value is None:
        return None
    if comparison and (day := day_in(wanted)):
        known_day = day_in(value) if isinstance(value, str) else read_date(value)
        return None if known_day is None else _compares(known_day.toordinal(), comparison, day.toordinal())
    if comparison:
        known = figure(value)
        return None if known is None else _compares(known, comparison, float(str(wanted)))
    if isinstance(wanted, bool) and not isinstance(value, bool):
        return None
    if isinstance(wanted, (list, tuple)):
        return value in wanted
    if isinstance(wanted, str) and wanted.startswith("not_"):
        return value != wanted.removeprefix("not_")
    return value == wanted


def _split(name: str) -> tuple[str, str]:
    lowered = name.lower()
    suffix = next((suffix for suffix in SUFFIXES if lowered.endswith(suffix)), "")
    return lowered.removesuffix(suffix), suffix


def _recorded(name: str, facts: Facts) -> object:
    return next((value for key, value in facts.items() if key.lower() == name), None)


def day_in(wanted: object) -> date | None:
    """The day that a predicate compares with; None where it is none, and then it must be a number."""
    return read_date(wanted) if isinstance(wanted, str) and DAY.fullmatch(wanted) else None


def select_said(select: Select) -> str:
    """The predicates in plain words.

    >>> select_said({"low_use": True, "output_kw_gt": 25, "installation_on_lt": "2009-10-01"})
    'low use is yes, output kw is over 25, installation on is before 1 Oct 2009'
    """
    return ", ".join(_one_said(name, wanted) for name, wanted in select.items())


def _one_said(name: str, wanted: object) -> str:
    fact_name, comparison = _split(name)
    if comparison:
        day = day_in(wanted)
        said = f"{DAYS_COMPARED[comparison]} {spoken(day)}" if day else f"{COMPARED[comparison]} {wanted}"
    elif isinstance(wanted, bool):
        said = "yes" if wanted else "no"
    else:
        choices = wanted if isinstance(wanted, (list, tuple)) else [wanted]
        said = " or ".join(str(each) for each in choices)
    return f"{fact_name} is {said}".replace("_", " ")


def figure(value: object) -> float | None:
    """The fact as a number; words where a number belongs are as good as nothing recorded."""
    try:
        number = float(str(value))
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _compares(value: float, comparison: str, wanted: float) -> bool:
    return {
        "_ge": value >= wanted,
        "_gt": value > wanted,
        "_le": value <= wanted,
        "_lt": value < wanted,
    }[comparison]
