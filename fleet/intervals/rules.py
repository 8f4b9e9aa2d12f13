"""Whether a typed rule can be calculated with, whatever checks and facts come to be recorded."""

import math
import re
from collections.abc import Collection, Mapping
from typing import Any

from fleet.intervals.dates import EARLIEST_YEAR, LATEST_YEAR, is_in_reach
from fleet.intervals.events import is_event
from fleet.intervals.schedule import next_due
from fleet.predicates import SUFFIXES, day_in

MONTHS_MAX, DAYS_MAX = 1200, 36_600
# Each whole number that a rule can carry, from 1 up to this: no due date may leave the calendar.
HIGHEST = {
    "months": MONTHS_MAX,
    "early_window_months": MONTHS_MAX,
    "min_gap_months": MONTHS_MAX,
    "max_gap_months": MONTHS_MAX,
    "one_off_alignment_extension_months": MONTHS_MAX,
    "from_months": MONTHS_MAX,
    "days": DAYS_MAX,
    "every": 100,
    "times": 366,
    "hours": 876_600,
    "passes": 1000,
    "quarter": 4,
    "month": 12,
    "day": 31,
}
# The whole numbers of a window; a day that the month lacks means its last.
WINDOW_HIGHEST = {"from_month": 12, "from_day": 31, "to_month": 12, "to_day": 31}
WINDOWS_MAX = 12
COMPONENT = re.compile("[a-z][a-z0-9_]{0,59}")
SHARED_FLUE = ("strictest",)
ONLY_WHOLE = ("select", "again_after", "shared_flue")
VARIANTS_MAX = 100
EVENT_LENGTH_MAX = 100
# Their names stand in the sentence that says which facts are missing.
FACTS_LENGTH_MAX = 160
# A leap year's day: what comes a year later must do without 29 February.
TRIAL_DAY = "2024-01-31"


def check_rule(rule: object) -> None:
    """ValueError, naming what is wrong and what is allowed, for a rule that `next_due` couldn't always calculate with.

    Whole numbers lie within HIGHEST; `variants`, `first`, `grace`, `relax_after_passes`, `windows`, `named_months`,
    `component_defer_months`, `by`, `select`, `again_after` and `shared_flue` have their shapes; and the rule with each
    of its variants gives a date, with and without a check on record.

    >>> check_rule({"type": "max_months", "months": 12})
    >>> check_rule({"type": "max_months", "months": 9000})
    Traceback (most recent call last):
    ...
    ValueError: months is 9000; it must be a whole number from 1 to 1200
    """
    whole = _object(rule, "rule")
    _check_part(whole, "")
    _check_whole(whole)
    if "first" in whole:
        _check_first(whole["first"], "first")
    for path, variant in _checked_variants(whole, ""):
        if "first" in variant:
            _check_first(variant["first"], f"{path}.first")
    _calculate(whole)


def _check_whole(rule: Mapping[str, Any]) -> None:
    """What only the rule itself can carry: it goes for whatever variant applies."""
    if "select" in rule:
        select = _object(rule["select"], "select")
        _check_select(select, "select")
        _check_count(select, "select")
    if "again_after" in rule:
        asked = _object(rule["again_after"], "again_after")
        _check_needed(asked, ("event", "months"), "again_after")
        if not is_event(asked["event"]):
            said = "an event's name has small letters, figures and _ only, at most 57"
            raise ValueError(f"again_after.event is {_shown(asked['event'])}; {said}")
    if "shared_flue" in rule and rule["shared_flue"] not in SHARED_FLUE:
        raise ValueError(f"shared_flue is {_shown(rule['shared_flue'])}; it must be one of: {', '.join(SHARED_FLUE)}")


def _check_first(value: object, path: str) -> None:
    first = _object(value, path)
    _check_part(first, f"{path}.")
    for name in ("first", *ONLY_WHOLE):
        _refuse(first, name, path)
    for place, variant in _checked_variants(first, f"{path}."):
        # Choices within choices would multiply without end.
        _refuse(variant, "first", place)


def _checked_variants(part: Mapping[str, Any], path: str) -> list[tuple[str, Mapping[str, Any]]]:
    """Each variant with its path."""
    variants = _variants(part, path)
    for place, variant in variants:
        _check_variant(variant, place)
    _check_count({name for _place, variant in variants for name in variant["select"]}, f"{path}variants")
    return variants


def _check_count(names: Collection[str], path: str) -> None:
    if (length := len(", ".join(names))) > FACTS_LENGTH_MAX:
        said = f"their names have {length} characters together; {FACTS_LENGTH_MAX} at most"
        raise ValueError(f"{path} asks for too many facts: {said}")


def _check_variant(variant: Mapping[str, Any], path: str) -> None:
    _check_part(variant, f"{path}.")
    for name in ("variants", *(each for each in ONLY_WHOLE if each != "select")):
        _refuse(variant, name, path)
    _check_select(_object(variant.get("select"), f"{path}.select"), f"{path}.select")


def _check_select(select: Mapping[str, Any], path: str) -> None:
    for name, wanted in select.items():
        if name.lower().endswith(SUFFIXES) and not (_is_number(wanted) or day_in(wanted)):
            raise ValueError(f"{path}.{name} is {_shown(wanted)}; it must be a number, or a day such as 2009-10-01")


def _check_part(part: Mapping[str, Any], path: str) -> None:
    """What a rule, its `first` and a variant can carry alike."""
    _check_numbers(part, path)
    event = part.get("event", "")
    if not isinstance(event, str) or len(event) > EVENT_LENGTH_MAX:
        raise ValueError(f"{path}event is {_shown(event)}; it must be a name of at most {EVENT_LENGTH_MAX} characters")
    if "by" in part and not ((day := day_in(part["by"])) and is_in_reach(day)):
        years = f"from {EARLIEST_YEAR} to {LATEST_YEAR}"
        raise ValueError(f"{path}by is {_shown(part['by'])}; it must be a day {years}, such as 2027-09-30")
    if "relax_after_passes" in part:
        place = f"{path}relax_after_passes"
        _check_needed(_object(part["relax_after_passes"], place), ("passes", "months", "hours"), place)
    if "windows" in part:
        _check_windows(part["windows"], f"{path}windows")
    if "named_months" in part:
        _check_months(part["named_months"], f"{path}named_months")
    if "component_defer_months" in part:
        _check_components(_object(part["component_defer_months"], f"{path}component_defer_months"), path)
    if "grace" in part:
        _check_grace(_object(part["grace"], f"{path}grace"), f"{path}grace")


def _check_grace(grace: Mapping[str, Any], path: str) -> None:
    name = "if_not_operating_on_due_date"
    if name in grace:
        _check_needed(_object(grace[name], f"{path}.{name}"), ("days",), f"{path}.{name}")


def _check_windows(windows: object, path: str) -> None:
    if not isinstance(windows, list | tuple) or not 1 <= len(windows) <= WINDOWS_MAX:
        raise ValueError(f"{path} is {_shown(windows)}; it must be a list of 1 to {WINDOWS_MAX} windows")
    for number, each in enumerate(windows):
        _check_needed(_object(each, f"{path}.{number}"), ("from_month", "to_month"), f"{path}.{number}", WINDOW_HIGHEST)


def _check_months(months: object, path: str) -> None:
    if not isinstance(months, list | tuple) or not 1 <= len(months) <= HIGHEST["month"]:
        raise ValueError(f"{path} is {_shown(months)}; it must be a list of 1 to 12 months")
    for number, each in enumerate(months):
        _check_number(each, HIGHEST["month"], f"{path}.{number}")


def _check_components(components: Mapping[str, Any], path: str) -> None:
    for name, months in components.items():
        if not COMPONENT.fullmatch(name):
            said = "a part's name has small letters, figures and _ only, at most 60"
            raise ValueError(f"{path}component_defer_months has {_shown(name)}; {said}")
        _check_number(months, MONTHS_MAX, f"{path}component_defer_months.{name}")


def _check_needed(
    part: Mapping[str, Any], names: tuple[str, ...], path: str, highest: Mapping[str, int] = HIGHEST
) -> None:
    if missing := [name for name in names if name not in part]:
        raise ValueError(f"{path} lacks {', '.join(missing)}")
    _check_numbers(part, f"{path}.", highest)


def _check_numbers(part: Mapping[str, Any], path: str, highest: Mapping[str, int] = HIGHEST) -> None:
    for name in (each for each in highest if each in part):
        _check_number(part[name], highest[name], f"{path}{name}")


def _check_number(value: object, highest: int, path: str) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= highest:
        raise ValueError(f"{path} is {_shown(value)}; it must be a whole number from 1 to {highest}")


def _variants(part: Mapping[str, Any], path: str) -> list[tuple[str, Mapping[str, Any]]]:
    variants = part.get("variants", [])
    if not isinstance(variants, list | tuple) or len(variants) > VARIANTS_MAX:
        raise ValueError(f"{path}variants is {_shown(variants)}; it must be a list of at most {VARIANTS_MAX} objects")
    places = [f"{path}variants.{number}" for number in range(len(variants))]
    return [(place, _object(each, place)) for place, each in zip(places, variants, strict=True)]


def _object(value: object, path: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping) or not all(isinstance(name, str) for name in value):
        raise ValueError(f"{path} is {_shown(value)}; it must be an object")
    return value


def _refuse(part: Mapping[str, Any], name: str, path: str) -> None:
    if name in part:
        raise ValueError(f"{path} has {name}; it can't have one of its own")


def _is_number(value: object) -> bool:
    try:
        return math.isfinite(float(str(value)))
    except ValueError:
        return False


def _calculate(rule: Mapping[str, Any]) -> None:
    """With no fact recorded every variant may apply, so that each is calculated."""
    try:
        next_due(rule, [], start=TRIAL_DAY)
        next_due(rule, [TRIAL_DAY])
    except (ArithmeticError, AttributeError, KeyError, TypeError) as bad:
        raise ValueError(f"it can't be calculated with: {bad}") from bad


def _shown(value: object) -> str:
    return repr(value)[:60]
