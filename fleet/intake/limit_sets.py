"""Limit sets, their reviews and interval rules as somebody enters or imports them: checked once, kept as written."""

import re
from collections.abc import Callable
from typing import Any

from rest_framework import serializers

from fleet.assess.due.record_fields import required_field_lists
from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.intake.fields import (
    AsHeld,
    Day,
    DayOrYear,
    DecimalText,
    StrictSerializer,
    Text,
    Word,
    flat_errors,
    read_as,
    refused,
)
from fleet.intake.sheets import WholeNumber
from fleet.intervals import check_rule
from fleet.intervals.rules import DAYS_MAX
from fleet.limits import card
from fleet.limits.rows import SEVERITIES
from fleet.predicates import SUFFIXES, day_in

KEY = re.compile(r"[-A-Za-z0-9_]+")
FACT_NAME = re.compile(r"[a-z][a-z0-9_]{0,59}")
SELECT_MAX = 20
SOURCE_EVIDENCE = ("official_text_read", "quoted_elsewhere", "unverified")
EVIDENCE = (*SOURCE_EVIDENCE, "own")
DECISION_RULES = ("simple", "subtract_uncertainty", "add_uncertainty", "guarded")
WHEN = ("any", "as_found", "as_left", "as_found_and_as_left", "operation", "type_test")
KINDS = ("law", "standard", "practice", "contract", "safety")
# For the reader: kept as they came, nothing calculates with them.
KEPT = (
    "precedence",
    "applies_to",
    "retention",
    "status",
    "record_fields",
    "reports",
    "formulas",
    "deadlines",
    "tasks",
    "dispositions",
    "measurement",
    "alarms",
)


# What starts a retest clock, and which defects a set gives a last day.
RETEST_EVENTS = ("co_over_limit", "co_over_300", "unsafe")
REPAIRED = ("repair", "urgent", "unsafe")
CLOCKS_MAX = 20


class ReviewIn(StrictSerializer):
    by = Text(200)
    on = Day()
    source = Text(500)


class FiresWhen(AsHeld):
    """{"op": ">", "value": "400"}: when a value is outside the limit.

    The value is a figure, or the name of the fact that holds it, or null where none is entered; a pair of figures for
    "outside" and "between"; a word for "!="; what must be there, if anything is named, for "missing", "incomplete".
    """

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict) or set(data) != {"op", "value"}:
            raise refused(data, "it must be an object with op and value")
        op, value = data["op"], data["value"]
        if not isinstance(op, str) or op not in FIRES_WHEN:
            raise refused(op, f"it must be one of: {', '.join(FIRES_WHEN)}", "op")
        try:
            return {"op": op, "value": FIRES_WHEN[op](value)}
        except serializers.ValidationError as bad:
            raise serializers.ValidationError({"value": bad.detail}) from bad


def _figure(value: Any) -> str | None:
    return None if value is None else DecimalText().to_internal_value(value)


def _figure_or_fact(value: Any) -> str | None:
    if isinstance(value, str) and FACT_NAME.fullmatch(value):
        return value
    return _figure(value)


def _two_figures(value: Any) -> list[str | None] | None:
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 2 or value == [None, None]:
        raise refused(value, "it must be a lower and an upper figure, null for an open end")
    return [_figure(each) for each in value]


def _range(value: Any) -> list[str | None] | None:
    """From a figure to another: with an open end it would be a plain limit."""
    if isinstance(value, list) and None in value:
        raise refused(value, "between needs both figures")
    return _two_figures(value)


def _word(value: Any) -> str:
    said: str = Text(60).run_validation(value)
    return said


def _things(value: Any) -> list[str] | None:
    if value is None:
        return None
    named: list[str] = serializers.ListField(child=Text(100), max_length=50).run_validation(value)
    return named


FIRES_WHEN: dict[str, Callable[[Any], Any]] = {
    ">": _figure_or_fact,
    ">=": _figure_or_fact,
    "<": _figure_or_fact,
    "rising_and_over": _figure_or_fact,
    "outside": _two_figures,
    "between": _range,
    "!=": _word,
    "missing": _things,
    "incomplete": _things,
}


class Select(AsHeld):
    """{"fuel": ["natural_gas", "lpg"], "output_kW_gt": 25}: for which appliances, all of them to hold.

    By the name of a fact what it must be; one of a list; "not_x" for anything but x. A name that ends in _ge, _gt, _le
    or _lt compares a number, or a day such as 2009-10-01.
    """

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        return read_select(data)


def read_select(data: Any) -> dict[str, Any]:
    """Raises ValidationError for each predicate that no fact could decide."""
    if not isinstance(data, dict) or len(data) > SELECT_MAX:
        raise refused(data, f"it must be an object of at most {SELECT_MAX} facts")
    if wrong := {str(name): said for name, wanted in data.items() if (said := _unfit(str(name), wanted))}:
        raise serializers.ValidationError(wrong)
    return dict(data)


def _unfit(name: str, wanted: Any) -> str:
    """What is wrong with a predicate; empty where it can be told from a fact."""
    if not (name.isascii() and FACT_NAME.fullmatch(name.lower())):
        return "is no name of a fact: letters, figures and _ only, at most 60"
    if name.lower().endswith(SUFFIXES):
        fits = _is_figure(wanted) or (isinstance(wanted, str) and day_in(wanted) is not None)
        return "" if fits else f"is {repr(wanted)[:60]}; it must be a number or a day to compare with"
    choices = wanted if isinstance(wanted, list) and wanted else [wanted]
    plain = all(isinstance(each, str | int) and len(str(each)) <= 100 for each in choices)
    return "" if plain else f"is {repr(wanted)[:60]}; it must be a word, a whole number, true, false or a list of these"


def _is_figure(value: Any) -> bool:
    try:
        DecimalText().to_internal_value(value)
    except serializers.ValidationError:
        return False
    return True


class Kept(AsHeld):
    """For the reader: kept as it came. Nothing calculates with it."""

    def to_internal_value(self, data: Any) -> Any:
        return data


class LimitIn(StrictSerializer):
    """One limit, in the unit and on the basis of its source. Who meets `select` is under it."""

    id = Text(80)
    quantity = Text(60)
    unit = Text(40, required=False, allow_null=True)
    basis = Text(120, required=False, allow_null=True)
    firing_rate = Text(60)
    when = Word(choices=WHEN)
    fires_when = FiresWhen()
    limit_text = Text(200, required=False, help_text="The limit in the source's own words, or nothing.")
    severity = Word(choices=SEVERITIES)
    action = Text(500, required=False)
    source = Text(500)
    evidence = Word(choices=EVIDENCE)
    note = Text(1000, required=False)
    select = Select(required=False)
    decision_rule = Word(choices=DECISION_RULES, required=False)


class RetestIn(StrictSerializer):
    """Within how many days of such a finding another test is asked for.

    co_over_limit, co_over_300 : CO outside a limit of this set, of those that `limits` names if any. unsafe : called
    unsafe.
    """

    type = Word(choices=["days_after_event"])
    event = Word(choices=RETEST_EVENTS)
    days = WholeNumber(min_value=1, max_value=DAYS_MAX)
    limits = serializers.ListField(child=Text(80), required=False, min_length=1, max_length=50)
    note = Text(500, required=False)
    clause = Text(200, required=False)


class DeliveryIn(StrictSerializer):
    """Who must receive the record; within how many days of the check or the visit, before what, else when in words."""

    to = Text(100)
    days_after_check = WholeNumber(required=False, min_value=0, max_value=DAYS_MAX)
    days_after_visit = WholeNumber(required=False, min_value=0, max_value=DAYS_MAX)
    before = Word(choices=["tenancy"], required=False, help_text="Before a new tenancy begins: by the day before.")
    when = Text(200, required=False)
    note = Text(500, required=False)
    clause = Text(200, required=False)


class RepairIn(StrictSerializer):
    """Within how many days of the visit a defect of this severity is to be repaired."""

    severity = Word(choices=REPAIRED)
    days = WholeNumber(min_value=0, max_value=DAYS_MAX)
    note = Text(500, required=False)
    clause = Text(200, required=False)


class SourceIn(StrictSerializer):
    """One document that figures of the set come from; what was partly read stands in two.

    document : with its section. as_of : the day, month or year of the state that was looked at. covers : what comes
    from it.
    """

    document = Text(300)
    edition = Text(300, allow_null=True, default=None)
    as_of = DayOrYear(allow_null=True, default=None)
    evidence = Word(choices=SOURCE_EVIDENCE)
    covers = Text(500, required=False)


class LimitSetIn(StrictSerializer):
    """The content of a version, as the shipped sets have it."""

    id = Text(80, required=False)
    name = Text(200)
    jurisdiction = Text(40)
    kind = Word(choices=KINDS)
    evidence = Word(choices=EVIDENCE)
    decision_rule = Word(choices=DECISION_RULES)
    interval = serializers.DictField()
    limits = LimitIn(many=True)
    sources = SourceIn(many=True, max_length=50)
    notes = Text(2000, required=False)
    required_fields = Word(
        choices=list(required_field_lists()), required=False, help_text="By which list of fields a check is complete."
    )
    extra_intervals = serializers.ListField(
        child=serializers.DictField(), required=False, allow_null=True, max_length=CLOCKS_MAX
    )
    retest = RetestIn(required=False, allow_null=True)
    # Not many=True: a row would then be allowed to be null as well.
    delivery = serializers.ListField(child=DeliveryIn(), required=False, allow_null=True, max_length=CLOCKS_MAX)
    repair = serializers.ListField(child=RepairIn(), required=False, allow_null=True, max_length=CLOCKS_MAX)

    def get_fields(self) -> dict[str, Any]:
        return super().get_fields() | {name: Kept(required=False, allow_null=True) for name in KEPT}

    def validate(self, content: dict[str, Any]) -> dict[str, Any]:
        if not content["sources"] and content["evidence"] != "own":
            raise serializers.ValidationError({"sources": "is []; a set names its sources, unless its figures are own"})
        return content

    def validate_interval(self, rule: dict[str, Any]) -> dict[str, Any]:
        return read_rule(rule)

    def validate_extra_intervals(self, rules: list[dict[str, Any]] | None) -> list[dict[str, Any]] | None:
        """Each a rule of its own with its name, and with its list of required fields where that isn't the set's."""
        seen: set[str] = set()
        wrong: dict[str, Any] = {}
        for index, each in enumerate(rules or ()):
            try:
                each["name"] = Text(80).run_validation(each.get("name", serializers.empty))
                wrong |= {f"{index}.{name}": said for name, said in _unfit_extra(each, seen).items()}
                read_rule(each)
                seen.add(each["name"].casefold())
            except serializers.ValidationError as bad:
                wrong.setdefault(str(index), bad.detail)
        if wrong:
            raise serializers.ValidationError(wrong)
        return rules

    def validate_limits(self, limits: list[dict[str, Any]]) -> list[dict[str, Any]]:
        seen: set[str] = set()
        for index, each in enumerate(limits):
            if each["id"] in seen:
                said = f"is {each['id']}; a limit of this id stands there already"
                raise serializers.ValidationError({f"{index}.id": said})
            seen.add(each["id"])
        return limits


def _unfit_extra(extra: dict[str, Any], seen: set[str]) -> dict[str, str]:
    unfit = {}
    if extra["name"].casefold() in seen:
        unfit["name"] = f"is {extra['name']}; an interval of this name stands there already"
    if "required_fields" in extra and extra["required_fields"] not in required_field_lists():
        unfit["required_fields"] = (
            f"is {repr(extra['required_fields'])[:60]}; it must be one of: {', '.join(required_field_lists())}"
        )
    if extra.get("type") == "none":
        unfit["type"] = "is none; a further interval must set one"
    return unfit


def read_rule(rule: dict[str, Any]) -> dict[str, Any]:
    """A typed interval rule that can be calculated with, and so can what it says of the first time."""
    try:
        if "evidence" in rule and rule["evidence"] not in EVIDENCE:
            raise ValueError(f"evidence must be one of: {', '.join(EVIDENCE)}")
        for each in (rule, *([rule["first"]] if "first" in rule else [])):
            check_rule(each)
            for place, part in (("its", rule), *(("a variant's", variant) for variant in each.get("variants", ()))):
                if "select" in part:
                    _check_select(part["select"], place)
    except ValueError as bad:
        raise serializers.ValidationError(f"is {str(rule)[:80]}; it can't be calculated with: {bad}") from bad
    return rule


def _check_select(select: dict[str, Any], whose: str) -> None:
    """A variant for everybody would put all that stand before it out of force."""
    if not select:
        raise ValueError(f"{whose} select is empty; it must say for which appliances it is")
    try:
        read_select(select)
    except serializers.ValidationError as bad:
        raise ValueError(f"{whose} select {'; '.join(flat_errors(bad.detail).values())}") from bad


class Key(Text):
    """A name for programs: letters, figures, - and _."""

    def to_internal_value(self, data: Any) -> str:
        key = super().to_internal_value(data)
        if not KEY.fullmatch(key):
            raise refused(key, "it may hold letters, figures, - and _ only")
        return key


class LimitSetFileIn(StrictSerializer):
    """A set as another installation exports it. Its review was that house's own: here a person must review it anew."""

    schema = Word(choices=["fleet-limit-set/1"])
    key = Key(80)
    name = Text(200)
    external_reference = Text(100, required=False, allow_null=True)
    version = WholeNumber(min_value=1, required=False)
    content = LimitSetIn()
    review = ReviewIn(required=False, allow_null=True)


def read_limit_set(data: Any) -> dict[str, Any]:
    """The content of a limit set version; it must compile into a card. Raises Malformed."""
    content = read_as(LimitSetIn, data, "limit_set_malformed", "The set can't be accepted.")
    _try(content)
    return content


def read_limit_set_file(data: Any) -> dict[str, Any]:
    """A file to import. Raises Malformed with the path of each field, its value and what is allowed."""
    file = read_as(LimitSetFileIn, data, "limit_set_malformed", "The file can't be accepted.")
    try:
        _try(file["content"])
    except Malformed as bad:
        errors = bad.details["errors"]
        assert isinstance(errors, dict)
        raise Malformed(
            bad.code, bad.message, errors={f"content.{path}": said for path, said in errors.items()}
        ) from bad
    return file | {"external_reference": file.get("external_reference") or None}


def _try(content: dict[str, Any]) -> None:
    """Compile it on trial. Raises Malformed."""
    levels = {"id": "stop-levels", "version": 1, "evidence": "trial", "co_ppm_air_free": 400, "ambient_co_ppm": 35}
    levels |= {"ambient_co_rise_ppm": 5, "co_rising_above_ppm": 100, "spillage_min": 5}
    trial = content | {"id": "trial", "version": 1, "status": "unreviewed", "reviewed_by": ""}
    try:
        card(None, [trial], None, fuel=FUELS["natural_gas"], stop_levels=levels)
    except (ArithmeticError, AttributeError, KeyError, TypeError, ValueError) as bad:
        raise Malformed(
            "limit_set_malformed", "The set can't be calculated with.", errors={"limits": str(bad)}
        ) from bad
