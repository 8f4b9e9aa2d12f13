"""Typed predicates on facts about an appliance: true, false, or not to be told from what is recorded.

The `limits` room reads the same form; the two rooms stand side by side and neither imports the other,
so a test holds both readings to the same table of cases.
"""

import math
from collections.abc import Mapping

Select = Mapping[str, object]
Facts = Mapping[str, object]

SUFFIXES = ("_ge", "_gt", "_le", "_lt")


def holds(select: Select, facts: Facts) -> bool | None:
    """Whether every predicate holds: False when one fails, None when none fails but one can't be told.

    select : name -> wanted value. A name ending _ge, _gt, _le or _lt compares numbers; a list means
        any of its entries; "not_x" means any value but x; anything else means equal.
    facts : name -> recorded value, names in any case; a missing name or None is not recorded.
    """
    answers = [_one_holds(name, wanted, facts) for name, wanted in select.items()]
    if False in answers:
        return False
    return None if None in answers else True


def missing_facts(select: Select, facts: Facts) -> tuple[str, ...]:
    """Names of the facts that `select` asks for and nobody has recorded."""
    names = (_split(name)[0] for name in select)
    return tuple(dict.fromkeys(name for name in names if _recorded(name, facts) is None))


def _one_holds(name: str, wanted: object, facts: Facts) -> bool | None:
    fact_name, comparison = _split(name)
    value = _recorded(fact_name, facts)
    if value is None:
        return None
    if comparison:
        known = figure(value)
        return None if known is None else _compares(known, comparison, float(str(wanted)))
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
