"""The shapes of a rule's fields, in JSON Schema, and what is wrong with a value by them, path by path."""

import re
from collections.abc import Mapping
from typing import Any, TypeGuard

from fleet.coded import Coded, wrong
from fleet.intervals.dates import EARLIEST_YEAR, LATEST_YEAR, is_in_reach
from fleet.intervals.events import EVENT, is_event
from fleet.predicates import day_in, figure

Faults = dict[str, Coded]
Schema = dict[str, Any]

NEVER: Schema = {"not": {}}
EVENT_NAME: Schema = {"type": "string", "pattern": f"^{EVENT.pattern}$"}
DAY_PATTERN = "^(19[0-9]{2}|2[01][0-9]{2}|2200)-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
DAY: Schema = {"type": "string", "format": "date", "pattern": DAY_PATTERN}
# Those predicates whose names end so compare.
SELECT: Schema = {"type": "object", "patternProperties": {"_([gG][eEtT]|[lL][eEtT])$": {"type": ["number", "string"]}}}


def whole(highest: int) -> Schema:
    return {"type": "integer", "minimum": 1, "maximum": highest}


def several(each: Schema, most: int, least: int = 1) -> Schema:
    return {"type": "array", "minItems": least, "maxItems": most, "items": each}


def fields(properties: Mapping[str, Schema], *needed: str) -> Schema:
    """What else it holds is the reader's."""
    return {"type": "object", "properties": properties, "required": list(needed)}


def faults(value: object, shape: Schema, path: str) -> Faults:
    """Path -> what is wrong there; the value's own is `path`. None stands for what is missing."""
    if shape.get("type") == "object":
        return _of_an_object(value, shape, path) if is_object(value) else {path: wrong("object", value)}
    if shape.get("type") == "array":
        return _of_a_list(value, shape, path)
    fits, said = _judged(value, shape)
    return {} if fits else {path: said}


def _judged(value: object, shape: Schema) -> tuple[bool, Coded]:
    """Whether a single value has the shape, and what is said of it if not."""
    match shape:
        case {"not": _}:
            return False, wrong("not_here", value)
        case {"enum": allowed}:
            return isinstance(value, str) and value in allowed, wrong("one_of", value, allowed=allowed)
        case {"minimum": low, "maximum": high}:
            is_whole = isinstance(value, int) and not isinstance(value, bool)
            return is_whole and low <= value <= high, wrong("whole_between", value, low=low, high=high)
        case {"maxLength": most}:
            return isinstance(value, str) and len(value) <= most, wrong("name_of_at_most", value, most=most)
        case {"format": "date"}:
            is_day = bool((day := day_in(value)) and is_in_reach(day))
            return is_day, wrong("day_in_years", value, first=EARLIEST_YEAR, last=LATEST_YEAR)
        case {"pattern": _}:
            return is_event(value), wrong("name_of_event", value)
    return figure(value) is not None or day_in(value) is not None, wrong("number_or_day", value)


def _of_a_list(value: object, shape: Schema, path: str) -> Faults:
    least, most = shape["minItems"], shape["maxItems"]
    if not isinstance(value, list | tuple) or not least <= len(value) <= most:
        return {path: wrong("list_from_to", value, least=least, most=most)}
    found = (faults(each, shape["items"], below(path, str(number))) for number, each in enumerate(value))
    return {at: said for each in found for at, said in each.items()}


def _of_an_object(value: Mapping[str, Any], shape: Schema, path: str) -> Faults:
    asked = {name: each for name, each in shape.get("properties", {}).items() if name in {*value, *shape["required"]}}
    for pattern, each in shape.get("patternProperties", {}).items():
        asked |= {name: each for name in value if re.search(pattern, name)}
    if "additionalProperties" in shape:
        asked = dict.fromkeys(value, shape["additionalProperties"])
    found = {at: said for name in asked for at, said in faults(value.get(name), asked[name], below(path, name)).items()}
    named = shape.get("propertyNames", {"pattern": "(?s:.*)"})["pattern"]
    return found | {below(path, name): wrong("name_of_part", name) for name in value if not re.fullmatch(named, name)}


def is_object(value: object) -> TypeGuard[Mapping[str, Any]]:
    return isinstance(value, Mapping) and all(isinstance(name, str) for name in value)


def below(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name
