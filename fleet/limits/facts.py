"""Typed predicates on facts about an appliance: what a limit is for, and what is still unrecorded.

The `intervals` room reads the same form; the two rooms stand side by side and neither imports the other,
so a test holds both readings to the same table of cases.
"""

import math
import re
from collections.abc import Mapping
from datetime import date

Facts = Mapping[str, object]

SUFFIXES = ("_ge", "_gt", "_le", "_lt")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def undecided(select: Mapping[str, object], facts: Facts) -> dict[str, object] | None:
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


def one_holds(name: str, wanted: object, facts: Facts) -> bool | None:
    """Whether one predicate holds; None when its fact isn't recorded."""
    value = recorded(fact_name(name), facts)
    if value is None:
        return None
    if fact_name(name) != name and (day := _day(wanted)):
        known = _day(value)
        return None if known is None else _compares(known.toordinal(), name[-3:], day.toordinal())
    if fact_name(name) != name:
        figure = _figure(value)
        return None if figure is None else _compares(figure, name[-3:], float(str(wanted)))
    if isinstance(wanted, bool) and not isinstance(value, bool):
        return None
    if isinstance(wanted, (list, tuple)):
        return value in wanted
    if isinstance(wanted, str) and wanted.startswith("not_"):
        return value != wanted.removeprefix("not_")
    return value == wanted


def fact_name(name: str) -> str:
    """The fact that a predicate's name asks for."""
    return name[:-3] if name.endswith(SUFFIXES) else name


def recorded(name: str, facts: Facts) -> object:
    """The recorded value of a fact, whatever the case of its name."""
    return next((value for key, value in facts.items() if key.lower() == name.lower()), None)


def _day(value: object) -> date | None:
    """The local date in a fact or a predicate; None where it is none."""
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(value) if isinstance(value, str) and DAY.fullmatch(value) else None
    except ValueError:
        return None


def _figure(value: object) -> float | None:
    """The fact as a number; words where a number belongs are as good as nothing recorded."""
    try:
        figure = float(str(value))
    except ValueError:
        return None
    return figure if math.isfinite(figure) else None


def _compares(value: float, suffix: str, wanted: float) -> bool:
    return {
        "_ge": value >= wanted,
        "_gt": value > wanted,
        "_le": value <= wanted,
        "_lt": value < wanted,
    }[suffix]
