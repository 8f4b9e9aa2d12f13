"""Limit sets, their reviews and interval rules as somebody enters or imports them: checked once, kept as written."""

import math
import re
from collections.abc import Callable, Iterator
from typing import Annotated, Any, NamedTuple

from django.utils.translation import gettext_lazy as _
from pydantic import ConfigDict, Field, ValidationInfo, model_validator

from fleet.assess.due.record_fields import required_field_lists
from fleet.coded import Coded, coded, wrong
from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.intake.fields import (
    LEFT_OUT,
    Day,
    DayOrYear,
    DecimalText,
    Errors,
    Kept,
    Kind,
    Many,
    Refused,
    Shape,
    Text,
    Whole,
    Word,
    below,
    fields_of,
    kind_of,
    read_as,
    refused,
)
from fleet.intervals import faults, rule_schema, selects_in
from fleet.intervals.kinds import DAYS_MAX
from fleet.limits import card
from fleet.limits.quantities import possible
from fleet.limits.rows import SEVERITIES
from fleet.predicates import SUFFIXES, day_in

KEY = "[-A-Za-z0-9_]+"
FACT_NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")
SELECT_MAX = 20
SOURCE_EVIDENCE = {
    "official_text_read": _("official text read"),
    "quoted_elsewhere": _("quoted elsewhere"),
    "unverified": _("unverified"),
}
EVIDENCE = SOURCE_EVIDENCE | {"own": _("own figures, no outside source")}
DECISION_RULES = ("simple", "subtract_uncertainty", "add_uncertainty", "guarded")
WHEN = ("any", "as_found", "as_left", "as_found_and_as_left", "operation", "type_test")
KINDS = ("law", "standard", "practice", "contract", "safety")
# What starts a retest clock, and which defects a set gives a last day.
RETEST_EVENTS = ("co_over_limit", "co_over_300", "unsafe")
REPAIRED = ("repair", "urgent", "unsafe")
CLOCKS_MAX = 20


class ReviewIn(Shape):
    by: Annotated[str, Text(200)]
    on: Annotated[str, Day()]
    source: Annotated[str, Text(500)]


class FiresWhen(Kind):
    """{"op": ">", "value": "400"}: when a value is outside the limit.

    The value is a figure, or the name of the fact that holds it, or null where none is entered; a pair of figures for
    "outside" and "between"; a word for "!="; what must be there, if anything is named, for "missing", "incomplete".
    """

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict) or set(given) != {"op", "value"}:
            raise refused("op_and_value", given)
        op, value = given["op"], given["value"]
        if not isinstance(op, str) or op not in FIRES_WHEN:
            raise Refused({"op": wrong("one_of", op, allowed=list(FIRES_WHEN))})
        try:
            return {"op": op, "value": FIRES_WHEN[op](value)}
        except Refused as bad:
            raise Refused({below("value", at): said for at, said in bad.errors.items()}) from bad

    def schema(self) -> dict[str, Any]:
        return {"oneOf": [each.in_full() for each in _COMPARED]}


def _figure(value: Any) -> str | None:
    return None if value is None else DecimalText().text(value)


def _figure_or_fact(value: Any) -> str | None:
    return value if isinstance(value, str) and FACT_NAME.fullmatch(value) else _figure(value)


def _two_figures(value: Any) -> list[str | None] | None:
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 2 or value == [None, None]:
        raise refused("two_figures", value)
    return [_figure(each) for each in value]


def _range(value: Any) -> list[str | None] | None:
    """From a figure to another: with an open end it would be a plain limit."""
    if isinstance(value, list) and None in value:
        raise refused("both_figures", value)
    return _two_figures(value)


def _things(value: Any) -> list[str] | None:
    if value is None:
        return None
    if not isinstance(value, list) or len(value) > 50:
        raise refused("list_of_things", value)
    return [Text(100).read(each) for each in value]


class _Compared(NamedTuple):
    """What a limit may be compared with, by some operators: in words, how it is read, and its JSON Schema."""

    words: str
    ops: tuple[str, ...]
    read: Callable[[Any], Any]
    schema: dict[str, Any]

    def in_full(self) -> dict[str, Any]:
        return {
            "type": "object",
            "description": self.words,
            "properties": {"op": {"enum": list(self.ops)}, "value": self.schema},
            "required": ["op", "value"],
            "additionalProperties": False,
        }


_FIGURE = {"anyOf": [DecimalText().schema(), {"type": "null"}]}
_NAMED = {"type": "string", "pattern": f"^{FACT_NAME.pattern}$", "description": "The name of a fact that holds it."}
_PAIR = {"type": ["array", "null"], "minItems": 2, "maxItems": 2}
_COMPARED = (
    _Compared(
        "Beyond a figure; null where none is entered.",
        (">", ">=", "<", "rising_and_over"),
        _figure_or_fact,
        {"anyOf": [*_FIGURE["anyOf"], _NAMED]},
    ),
    _Compared(
        "Outside a lower and an upper figure; null for an open end.",
        ("outside",),
        _two_figures,
        _PAIR | {"prefixItems": [_FIGURE, _FIGURE], "not": {"const": [None, None]}},
    ),
    _Compared(
        "From the lower figure on, up to where another limit takes over.",
        ("between",),
        _range,
        _PAIR | {"prefixItems": [DecimalText().schema()] * 2},
    ),
    _Compared("Anything but this word.", ("!=",), Text(60).read, Text(60).schema()),
    _Compared(
        "Not on record; what must be there, if anything is named.",
        ("missing", "incomplete"),
        _things,
        {"type": ["array", "null"], "items": Text(100).schema(), "maxItems": 50},
    ),
)
FIRES_WHEN = {op: each.read for each in _COMPARED for op in each.ops}


class Select(Kind):
    """{"fuel": ["natural_gas", "lpg"], "output_kW_gt": 25}: for which appliances, all of them to hold.

    By the name of a fact what it must be; one of a list; "not_x" for anything but x. A name that ends in _ge, _gt, _le
    or _lt compares a number, or a day such as 2009-10-01.
    """

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict) or len(given) > SELECT_MAX:
            raise refused("facts", given, most=SELECT_MAX)
        if errors := unfit_facts(given):
            raise Refused(errors)
        return dict(given)

    def schema(self) -> dict[str, Any]:
        return select_schema()


def unfit_facts(select: dict[Any, Any]) -> Errors:
    """Each predicate that no fact could decide, by the name of its fact."""
    return {str(name): said for name, wanted in select.items() if (said := _unfit(str(name), wanted))}


def _unfit(name: str, wanted: Any) -> Coded | None:
    if not (name.isascii() and FACT_NAME.fullmatch(name.lower())):
        return coded("no_name_of_a_fact")
    if name.lower().endswith(SUFFIXES):
        fits = _is_figure(wanted) or (isinstance(wanted, str) and day_in(wanted) is not None)
        return None if fits else wrong("number_or_day", wanted)
    choices = wanted if isinstance(wanted, list) and wanted else [wanted]
    plain = all(isinstance(each, str | int) and len(str(each)) <= 100 for each in choices)
    return None if plain else wrong("fact_choices", wanted)


def _is_figure(value: Any) -> bool:
    try:
        DecimalText().text(value)
    except Refused:
        return False
    return True


def select_schema() -> dict[str, Any]:
    """JSON Schema of `select`."""
    plain = {"anyOf": [{"type": "string", "maxLength": 100}, {"type": ["integer", "boolean"]}]}
    compared = {"anyOf": [*DecimalText().schema()["anyOf"], {"type": "string", "format": "date"}]}
    name = "[a-zA-Z][a-zA-Z0-9_]{0,59}"
    ends = "_([gG][eE]|[gG][tT]|[lL][eE]|[lL][tT])$"
    return {
        "type": "object",
        "description": 'For which appliances: each fact by its name, all to hold. One of a list; "not_x" for anything '
        "but x; a name that ends in _ge, _gt, _le or _lt compares a number, or a day.",
        "maxProperties": SELECT_MAX,
        "propertyNames": {"pattern": f"^{name}$"},
        "patternProperties": {
            ends: compared,
            f"^(?!.*{ends})": {"anyOf": [*plain["anyOf"], {"type": "array", "minItems": 1, "items": plain}]},
        },
    }


class LimitIn(Shape):
    """One limit, in the unit and on the basis of its source. Who meets `select` is under it."""

    id: Annotated[str, Text(80, help=_("stands once in the set"))]
    quantity: Annotated[str, Text(60, label=_("What is read"))]
    unit: Annotated[str | None, Text(40, blank=True, null=True)] = LEFT_OUT
    basis: Annotated[str | None, Text(120, blank=True, null=True)] = LEFT_OUT
    firing_rate: Annotated[
        str, Text(60, label=_("Rate"), help=_('a rate of the sheets, or the source\'s word for one; "any"'))
    ]
    when: Annotated[str, Word(WHEN, label=_("When it is read"))]
    fires_when: Annotated[dict[str, Any], FiresWhen(label=_("Figure"), proven_by="source")]
    limit_text: Annotated[str, Text(200, blank=True, label=_("In the source's words"), help=_("or nothing"))] = LEFT_OUT
    severity: Annotated[str, Word(SEVERITIES, label=_("How grave"))]
    action: Annotated[str, Text(500, blank=True, label=_("What it asks for"))] = LEFT_OUT
    evidence: Annotated[str, Word(EVIDENCE, label=_("How well it is known"))]
    source: Annotated[str, Text(500, label=_("Source"))]
    note: Annotated[str, Text(1000, blank=True, label=_("Note"))] = LEFT_OUT
    select: Annotated[dict[str, Any], Select(label=_("For which appliances"))] = LEFT_OUT
    decision_rule: Annotated[str, Word(DECISION_RULES, label=_("Decision rule"))] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        """A figure that the quantity can't have, and a lower one above the upper."""
        op, value = self.fires_when["op"], self.fires_when["value"]
        if op in ("!=", "missing", "incomplete"):
            return
        both = isinstance(value, list)
        figures = {f"value.{n}" if both else "value": each for n, each in enumerate(value if both else [value])}
        known = {at: float(each) for at, each in figures.items() if each is not None and _is_figure(each)}
        low, high = possible(self.quantity, self.unit) or (-math.inf, math.inf)
        for at, figure in known.items():
            if not low <= figure <= high:
                yield f"fires_when.{at}", coded("between", value=figures[at], low=low, high=high)
        if len(known) == 2 and known["value.0"] > known["value.1"]:
            yield "fires_when.value.0", coded("above_upper", value=value[0], upper=value[1])


class RetestIn(Shape):
    """Within how many days of such a finding another test is asked for.

    co_over_limit, co_over_300 : CO outside a limit of this set, of those that `limits` names if any. unsafe : declared
    unsafe.
    """

    type: Annotated[str, Word(["days_after_event"])]
    event: Annotated[str, Word(RETEST_EVENTS)]
    days: Annotated[int, Whole(1, DAYS_MAX)]
    limits: Annotated[list[Annotated[str, Text(80)]], Many(1, 50)] = LEFT_OUT
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    clause: Annotated[str, Text(200, blank=True)] = LEFT_OUT


class DeliveryIn(Shape):
    """Who must receive the record; within how many days of the check or the visit, before what, else when in words."""

    to: Annotated[str, Text(100)]
    days_after_check: Annotated[int, Whole(0, DAYS_MAX)] = LEFT_OUT
    days_after_visit: Annotated[int, Whole(0, DAYS_MAX)] = LEFT_OUT
    before: Annotated[str, Word(["tenancy"], help=_("Before a new tenancy begins: by the day before."))] = LEFT_OUT
    when: Annotated[str, Text(200, blank=True)] = LEFT_OUT
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    clause: Annotated[str, Text(200, blank=True)] = LEFT_OUT


class RepairIn(Shape):
    """Within how many days of the visit a defect of this severity is to be repaired."""

    severity: Annotated[str, Word(REPAIRED)]
    days: Annotated[int, Whole(0, DAYS_MAX)]
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    clause: Annotated[str, Text(200, blank=True)] = LEFT_OUT


class SourceIn(Shape):
    """One document that figures of the set come from; what was partly read stands in two.

    document : with its section. as_of : the day, month or year of the state that was looked at. covers : what comes
    from it.
    """

    document: Annotated[str, Text(300, label=_("Document"), help=_("law, standard or other, with its section"))]
    edition: Annotated[str | None, Text(300, null=True, label=_("Edition"))] = None
    as_of: Annotated[
        str | None, DayOrYear(null=True, label=_("State looked at"), help=_("such as 2026-03-02, 2026-03 or 2026"))
    ] = None
    evidence: Annotated[str, Word(SOURCE_EVIDENCE, label=_("How well it is known"))]
    covers: Annotated[str, Text(500, blank=True, label=_("What comes from it"))] = LEFT_OUT

    @model_validator(mode="before")
    @classmethod
    def _named(cls, given: Any) -> Any:
        """Edition and state always are, if only to say that they aren't known."""
        return {"edition": None, "as_of": None} | given if isinstance(given, dict) else given


class Interval(Kind):
    """A typed interval rule that can be calculated with, and so can what it says of the first time."""

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict):
            raise refused("rule", given)
        if errors := rule_faults(given):
            raise Refused(errors)
        return dict(given)

    def schema(self) -> dict[str, Any]:
        rule = rule_schema(select_schema())
        return rule | {"properties": rule["properties"] | {"evidence": Word(EVIDENCE).schema()}}


class ExtraInterval(Interval):
    """The same with a name of its own, and with its list of required fields where that isn't the set's."""

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict):
            raise refused("rule", given)
        errors = dict(rule_faults(given))
        try:
            given = given | {"name": Text(80)._read(given.get("name"), info)}
        except Refused as bad:
            errors["name"] = bad.errors[""]
        lists = list(required_field_lists())
        if "required_fields" in given and given["required_fields"] not in lists:
            errors["required_fields"] = wrong("one_of", given["required_fields"], allowed=lists)
        if given.get("type") == "none":
            errors["type"] = coded("further_interval_needed")
        if errors:
            raise Refused(errors)
        return dict(given)

    def schema(self) -> dict[str, Any]:
        rule = super().schema()
        own = {"name": Text(80).schema(), "required_fields": Word(list(required_field_lists())).schema()}
        own["type"] = {"enum": [each for each in rule["properties"]["type"]["enum"] if each != "none"]}
        return rule | {"properties": rule["properties"] | own, "required": ["name", *rule["required"]]}


def rule_faults(rule: dict[str, Any]) -> Errors:
    """What is wrong with an interval rule, by path; empty where it can be calculated with."""
    errors = faults(rule)
    if "evidence" in rule and rule["evidence"] not in list(EVIDENCE):
        errors["evidence"] = wrong("one_of", rule["evidence"], allowed=list(EVIDENCE))
    for path, select in selects_in(rule):
        if not select:
            # A variant for everybody would put all that stand before it out of force.
            errors[path] = coded("select_empty")
        errors |= {below(path, name): said for name, said in unfit_facts(dict(select)).items()}
    return errors


ForReading = Annotated[Any, Kept(null=True, help=_("For the reader; nothing calculates with it."))]


OWN_FIGURES: Any = {"properties": {"evidence": {"const": "own"}}}


class LimitSetIn(Shape):
    """Limits and an interval rule, as the shipped sets have them. No two limits have one id."""

    model_config = ConfigDict(json_schema_extra={"anyOf": [OWN_FIGURES, {"properties": {"sources": {"minItems": 1}}}]})

    id: Annotated[str, Text(80, blank=True)] = LEFT_OUT
    name: Annotated[str, Text(label=_("Name"))]
    jurisdiction: Annotated[str, Text(40, label=_("Where it is in force"))]
    kind: Annotated[str, Word(KINDS, label=_("Kind"))]
    evidence: Annotated[str, Word(EVIDENCE, label=_("How well the set is known"))]
    decision_rule: Annotated[str, Word(DECISION_RULES, label=_("Decision rule"))]
    interval: Annotated[dict[str, Any], Interval(label=_("Interval"))]
    limits: Annotated[list[LimitIn], Many(label=_("Limits"), one=_("Limit"), blanks=0)]
    sources: Annotated[
        list[SourceIn],
        Many(
            0, 50, label=_("Sources"), one=_("Source"),
            help=_("A document each; what was partly read stands twice. A set of own figures needs none."),
        ),
    ]  # fmt: skip
    notes: Annotated[str, Text(2000, blank=True, label=_("Notes"))] = LEFT_OUT
    required_fields: Annotated[
        str, Word(list(required_field_lists()), help=_("By which list of fields a check is complete."))
    ] = LEFT_OUT
    extra_intervals: Annotated[
        list[Annotated[dict[str, Any], ExtraInterval()]] | None, Many(0, CLOCKS_MAX, null=True)
    ] = LEFT_OUT
    retest: RetestIn | None = LEFT_OUT
    delivery: Annotated[list[DeliveryIn] | None, Many(0, CLOCKS_MAX, null=True)] = LEFT_OUT
    repair: Annotated[list[RepairIn] | None, Many(0, CLOCKS_MAX, null=True)] = LEFT_OUT
    precedence: ForReading = LEFT_OUT
    applies_to: ForReading = LEFT_OUT
    retention: ForReading = LEFT_OUT
    status: ForReading = LEFT_OUT
    record_fields: ForReading = LEFT_OUT
    reports: ForReading = LEFT_OUT
    formulas: ForReading = LEFT_OUT
    deadlines: ForReading = LEFT_OUT
    tasks: ForReading = LEFT_OUT
    dispositions: ForReading = LEFT_OUT
    measurement: ForReading = LEFT_OUT
    alarms: ForReading = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if not self.sources and self.evidence != "own":
            yield "sources", coded("sources_needed")
        yield from _named_twice("limits", "id", [each.id for each in self.limits])
        # Whatever their case: two of one name couldn't be told apart.
        names = [each["name"] for each in self.extra_intervals or ()]
        yield from _named_twice("extra_intervals", "name", names, str.casefold)


def _named_twice(
    group: str, field: str, names: list[str], fold: Callable[[str], str] = str
) -> Iterator[tuple[str, Coded]]:
    for index, name in enumerate(names):
        if fold(name) in map(fold, names[:index]):
            yield f"{group}.{index}.{field}", wrong("stands_already", name)


KEPT = tuple(name for name, info in fields_of(LimitSetIn).items() if isinstance(kind_of(info), Kept))


class LimitSetFileIn(Shape):
    """A set as another installation exports it. Its review was that house's own: here a person must review it anew."""

    schema_: Annotated[str, Word(["fleet-limit-set/1"])] = Field(alias="schema")
    key: Annotated[str, Text(80, pattern=KEY)]
    name: Annotated[str, Text()]
    external_reference: Annotated[
        str | None, Text(100, blank=True, null=True, help=_("another program's key for it"))
    ] = LEFT_OUT
    version: Annotated[int, Whole()] = LEFT_OUT
    content: LimitSetIn
    review: ReviewIn | None = LEFT_OUT


def read_limit_set(data: Any) -> dict[str, Any]:
    """The content of a limit set version; it must compile into a card. Raises Malformed."""
    content = read_as(LimitSetIn, data, "limit_set_malformed", "The set can't be accepted.")
    _try(content, "limits")
    return content


def read_limit_set_file(data: Any) -> dict[str, Any]:
    """A file to import. Raises Malformed with the path of each field, its value and what is allowed."""
    file = read_as(LimitSetFileIn, data, "limit_set_malformed", "The file can't be accepted.")
    _try(file["content"], "content.limits")
    return file | {"external_reference": file.get("external_reference") or None}


def _try(content: dict[str, Any], path: str) -> None:
    """Compile it on trial. Raises Malformed."""
    levels = {"id": "stop-levels", "version": 1, "evidence": "trial", "co_ppm_air_free": 400, "ambient_co_ppm": 35}
    levels |= {"ambient_co_rise_ppm": 5, "co_rising_above_ppm": 100, "spillage_min": 5}
    trial = content | {"id": "trial", "version": 1, "status": "unreviewed", "reviewed_by": ""}
    try:
        card(None, [trial], None, fuel=FUELS["natural_gas"], stop_levels=levels)
    except (ArithmeticError, AttributeError, KeyError, TypeError, ValueError) as bad:
        errors = {path: coded("not_computable", why=str(bad))}
        raise Malformed("limit_set_malformed", "The set can't be calculated with.", errors=errors) from bad
