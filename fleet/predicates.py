"""Typed predicates on facts about an appliance: what a limit or an interval is for, and what is still unrecorded."""

import math
import re
from collections.abc import Mapping
from datetime import date, datetime

Select = Mapping[str, object]
Facts = Mapping[str, object]

SUFFIXES = ("_ge", "_gt", "_le", "_lt")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def undecided(select: Select, facts: Facts) -> dict[str, object] | None:
    """The predicates that the facts can't decide, {} when all hold, None when one fails.

    select : name -> wanted value. A name ending _ge, _gt, _le or _lt compares numbers, or days where the
        wanted value is one (2009-10-01); a list means any of its entries; "not_x" means any value but x;
        anything else means equal. Of yes or no a word tells nothing.
    facts : name -> recorded value, names in any case; a missing name or None is not recorded.
    """
    answers = {name.lower(): one_holds(name.lower(), wanted, facts) for name, wanted in select.items()}
    if False in answers.values():
        return None
    return {name.lower(): wanted for name, wanted in select.items() if answers[name.lower()] is None}


def holds(select: Select, facts: Facts) -> bool | None:
    """Whether every predicate holds: False when one fails, None when none fails but one can't be told."""
    still_open = undecided(select, facts)
    return False if still_open is None else None if still_open else True


def missing_facts(select: Select, facts: Facts) -> tuple[str, ...]:
    """Names of the facts that `select` asks for and nobody has recorded, or not so that it can be told."""
    names = (name.lower() for name, wanted in select.items() if one_holds(name.lower(), wanted, facts) is None)
    return tuple(dict.fromkeys(fact_name(name) for name in names))


def one_holds(name: str, wanted: object, facts: Facts) -> bool | None:
    """Whether one predicate, its name in small letters, holds; None when its fact isn't recorded."""
    fact, suffix = split(name)
    value = recorded(fact, facts)
    if value is None:
        return None
    if suffix and (day := day_in(wanted)):
        known = value if isinstance(value, date) and not isinstance(value, datetime) else day_in(value)
        return None if known is None else _compares(known.toordinal(), suffix, day.toordinal())
    if suffix:
        number = figure(value)
        return None if number is None else _compares(number, suffix, float(str(wanted)))
    if isinstance(wanted, bool) and not isinstance(value, bool):
        return None
    if isinstance(wanted, (list, tuple)):
        return value in wanted
    if isinstance(wanted, str) and wanted.startswith("not_"):
        return value != wanted.removeprefix("not_")
    return value == wanted


def split(name: str) -> tuple[str, str]:
    """The fact that a predicate's name in small letters asks for, and its comparison or ""."""
    return (name[:-3], name[-3:]) if name.endswith(SUFFIXES) else (name, "")


def fact_name(name: str) -> str:
    """The fact that a predicate's name asks for."""
    return split(name)[0]


def recorded(name: str, facts: Facts) -> object:
    """The recorded value of a fact, whatever the case of its name."""
    return next((value for key, value in facts.items() if key.lower() == name.lower()), None)


def day_in(value: object) -> date | None:
    """The day that a text says as 2009-10-01; None where it says none."""
    try:
        return date.fromisoformat(value) if isinstance(value, str) and DAY.fullmatch(value) else None
    except ValueError:
        return None


def figure(value: object) -> float | None:
    """The fact as a number; words where a number belongs are as good as nothing recorded."""
    try:
        number = float(str(value))
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _compares(value: float, suffix: str, wanted: float) -> bool:
    return {"_ge": value >= wanted, "_gt": value > wanted, "_le": value <= wanted, "_lt": value < wanted}[suffix]
