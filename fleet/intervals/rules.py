"""What an interval rule can carry: what is wrong with one that can't be calculated with, and its JSON Schema."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from inspect import getdoc
from typing import Any

from fleet.coded import Coded, coded
from fleet.intervals import shapes
from fleet.intervals.kinds import DAYS, HOURS, KINDS, MONTHS
from fleet.intervals.shapes import EVENT_NAME, NEVER, SELECT, Faults, Schema, below, fields, is_object, several, whole

# The names of facts stand in the sentence that says which are missing.
VARIANTS_MAX, FACTS_LENGTH_MAX = 100, 160
PART_NAME = {"pattern": "^[a-z][a-z0-9_]{0,59}$"}
PASSES = whole(1000)
# What the rule, its `first` and each variant can carry alike, whatever their kind.
EVERYWHERE: dict[str, Schema] = {name: shape for kind in KINDS.values() for name, shape in kind.holds.items()} | {
    "type": {"enum": list(KINDS)},
    "passes": PASSES,
    "relax_after_passes": fields({"passes": PASSES, "months": MONTHS, "hours": HOURS}, "passes", "months", "hours"),
    "component_defer_months": {"type": "object", "propertyNames": PART_NAME, "additionalProperties": MONTHS},
    "grace": fields({"if_not_operating_on_due_date": fields({"days": DAYS}, "days")}),
}
# What only the rule itself can carry: it goes for whatever variant applies.
ONLY_WHOLE: dict[str, Schema] = {
    "again_after": fields({"event": EVENT_NAME, "months": MONTHS}, "event", "months"),
    "shared_flue": {"enum": ["strictest"]},
}
# What JSON Schema can say of the fields of each kind together.
_TOGETHER: Schema = {
    "allOf": [
        {
            "if": {"properties": {"type": {"const": kind.type}}, "required": ["type"]},
            "then": {"anyOf": [{"required": list(names)} for names in kind.needs]} | kind.also,
            "description": str(kind.__doc__).partition("\n")[0],
        }
        for kind in KINDS.values()
    ]
}


def _shape(select: Schema) -> Schema:
    """When a check falls due: by its type, and by what goes for every type. Other fields are the reader's.

    variants: each in place of the rule where its select holds; the last that does. first: asked for while no check is
    on record. again_after: at the latest so many months after each such event; its days are the fact of its name with
    _on. shared_flue: the strictest interval on one flue goes for all on it. No choices stand within choices.
    """
    refused = dict.fromkeys([*ONLY_WHOLE, "variants"], NEVER)
    variant = EVERYWHERE | refused | {"select": select}
    plain = several(fields(variant | {"first": NEVER}, "select"), VARIANTS_MAX, 0)
    refused |= {"first": NEVER, "select": NEVER, "variants": plain}
    first = fields(EVERYWHERE | refused, "type") | _TOGETHER
    variants = several(fields(variant | {"first": first}, "select"), VARIANTS_MAX, 0)
    whole_rule = {"first": first, "variants": variants, "select": select}
    return fields(EVERYWHERE | ONLY_WHOLE | whole_rule, "type") | _TOGETHER


_RULE = _shape(SELECT)


def faults(rule: object, path: str = "") -> Faults:
    """What is wrong with a rule, by path a code and its figures; empty where `next_due` can always calculate with it.

    path : of the rule itself in what it stands in. Fields that nothing here reads are the reader's.

    >>> faults({"type": "max_months", "months": 12})
    {}
    >>> faults({"type": "max_months", "months": 9000}, "interval")
    {'interval.months': ('whole_between', {'given': '9000', 'low': 1, 'high': 1200})}
    """
    found = shapes.faults(rule, _RULE, path)
    for at, part in _rules_in(rule, path):
        found |= _together(part, at, found)
    return found


def _rules_in(rule: object, path: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The rule, and each that says what is asked for the first time."""
    if is_object(rule):
        parts = [(path, rule), *((at, each) for at, each in _variants_of(rule, path))]
        yield path, rule
        yield from ((below(at, "first"), each["first"]) for at, each in parts if is_object(each.get("first")))


def _together(rule: Mapping[str, Any], path: str, found: Faults) -> Faults:
    """What is wrong between the fields of a rule, by itself and with each of its variants."""
    spoilt, variants = _names_in(found, path), _variants_of(rule, path)
    own = dict(_of_the_kind(rule, spoilt))
    made = {below(path, name): said for name, said in own.items()}
    for name, parts in (("select", [("", rule)]), ("variants", variants)):
        asked = {fact for _at, select in _selects(parts) for fact in select}
        if (length := len(", ".join(asked))) > FACTS_LENGTH_MAX:
            made[below(path, name)] = coded("too_many_facts", length=length, most=FACTS_LENGTH_MAX)
    for at, variant in variants:
        also = _of_the_kind({**rule, **variant}, (spoilt - variant.keys()) | _names_in(found, at))
        made |= {below(at, name): said for name, said in also if name not in own}
    return made


def _of_the_kind(rule: Mapping[str, Any], spoilt: Collection[str]) -> Iterator[tuple[str, Coded]]:
    """What its kind misses; what is wrong between its fields, where each is well by itself."""
    if "type" in spoilt:
        return
    kind = KINDS[rule["type"]]
    if not any(rule.keys() >= set(needed) for needed in kind.needs):
        for name in (each for each in kind.needs[0] if each not in rule):
            yield from shapes.faults(None, kind.holds[name], name).items()
    elif kind.holds.keys().isdisjoint(spoilt):
        yield from kind.between(rule)


def _names_in(found: Faults, path: str) -> set[str]:
    """The fields of what stands at the path in which something is wrong."""
    start = below(path, "")
    return {at.removeprefix(start).partition(".")[0] for at in found if at.startswith(start)}


def _variants_of(rule: Mapping[str, Any], path: str) -> list[tuple[str, Mapping[str, Any]]]:
    variants = rule.get("variants")
    numbered = enumerate(variants[:VARIANTS_MAX]) if isinstance(variants, list | tuple) else ()
    return [(below(path, f"variants.{number}"), each) for number, each in numbered if is_object(each)]


def selects_in(rule: object) -> list[tuple[str, Mapping[str, Any]]]:
    """Each `select` of a rule with its path, those of variants too."""
    return [each for at, part in _rules_in(rule, "") for each in _selects([(at, part), *_variants_of(part, at)])]


def _selects(parts: Iterable[tuple[str, Mapping[str, Any]]]) -> list[tuple[str, Mapping[str, Any]]]:
    return [(below(at, "select"), part["select"]) for at, part in parts if is_object(part.get("select"))]


def rule_schema(select: Schema) -> Schema:
    """The JSON Schema (2020-12) of a rule, whole and without references; `select` : that of typed predicates.

    What it can't say: that a variant has with its rule what its type needs, `between` of each kind, and how long the
    names of all facts may be together.
    """
    return {"description": getdoc(_shape)} | _shape(select | {"minProperties": 1})
