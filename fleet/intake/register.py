"""Calibrations, qualifications, stop lines, limit sets and interval rules as somebody enters them."""

from typing import Any

from rest_framework import serializers

from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.intake.errors import flat_errors, without_decimals
from fleet.intake.fields import Day, DecimalText, StrictSerializer, Text, Word, YesNo
from fleet.intervals import check_rule
from fleet.limits import card

FUEL_KINDS = ("gas", "oil")


class CalibrationIn(StrictSerializer):
    done_on = Day()
    valid_to = Day()
    certificate = Text(100)
    by = Text(200)
    passed = YesNo()


class QualificationIn(StrictSerializer):
    scheme = Text(100)
    number = Text(100)
    fuel_kinds = serializers.ListField(child=Word(choices=FUEL_KINDS), min_length=1)
    valid_from = Day()
    valid_to = Day()


class StopLinesIn(StrictSerializer):
    """All five, always: there is never an appliance without a stop line."""

    co_ppm_air_free = DecimalText(low=1, high=10_000)
    ambient_co_ppm = DecimalText(low=1, high=1_000)
    ambient_co_rise_ppm = DecimalText(low=1, high=1_000)
    co_rising_above_ppm = DecimalText(low=1, high=10_000)
    spillage_min = DecimalText(low=0, high=60)
    evidence = Text(500)


class ReviewIn(StrictSerializer):
    by = Text(200)
    on = Day()
    source = Text(500)


class LimitIn(StrictSerializer):
    id = Text(80)
    quantity = Text(60)
    unit = Text(40, required=False, allow_null=True)
    basis = Text(120, required=False, allow_null=True)
    firing_rate = Text(60)
    when = Text(40)
    fires_when = serializers.DictField()
    limit_text = Text(100)
    severity = Text(30)
    action = Text(500, required=False)
    source = Text(500)
    confidence = Text(20, required=False)
    evidence = Text(20)
    note = Text(1000, required=False)
    select = serializers.DictField(required=False)
    decision_rule = Text(30, required=False)


class LimitSetIn(StrictSerializer):
    """The content of a version, as the shipped sets have it."""

    id = Text(80, required=False)
    name = Text(200)
    jurisdiction = Text(40)
    kind = Word(choices=["law", "standard", "practice", "contract", "safety"])
    evidence = Word(choices=["text_seen", "secondary_seen", "memory", "own"])
    decision_rule = Word(choices=["simple", "subtract_uncertainty", "add_uncertainty", "guarded"])
    interval = serializers.DictField()
    limits = LimitIn(many=True)
    sources = serializers.ListField(child=Text(500), min_length=1)
    notes = Text(2000, required=False)

    def validate_interval(self, rule: dict[str, Any]) -> dict[str, Any]:
        return read_rule(rule)


def read_rule(rule: dict[str, Any]) -> dict[str, Any]:
    """A typed interval rule that can be reckoned with."""
    try:
        check_rule(rule)
    except ValueError as bad:
        raise serializers.ValidationError(f"is {str(rule)[:80]}; it can't be reckoned with: {bad}") from bad
    return rule


def read_limit_set(data: Any) -> dict[str, Any]:
    """The content of a limit set version; it must compile into a card. Raises Malformed."""
    content = read(LimitSetIn, data, "limit_set_malformed")
    lines = {
        "id": "stop-lines",
        "version": 1,
        "evidence": "trial",
        "co_ppm_air_free": 400,
        "ambient_co_ppm": 35,
    }
    lines |= {"ambient_co_rise_ppm": 5, "co_rising_above_ppm": 100, "spillage_min": 5}
    trial = content | {"id": "trial", "version": 1, "status": "unreviewed", "reviewed_by": ""}
    try:
        card(None, [trial], None, fuel=FUELS["natural_gas"], stop_lines=lines)
    except (ArithmeticError, AttributeError, KeyError, TypeError, ValueError) as bad:
        raise Malformed("limit_set_malformed", "The set can't be reckoned with.", errors={"limits": str(bad)}) from bad
    return content


def read(shape: type[StrictSerializer], data: Any, code: str) -> dict[str, Any]:
    """What came in, checked against `shape`. Raises Malformed with each field, its value and what is allowed."""
    reader = shape(data=data)
    if not reader.is_valid():
        raise Malformed(code, "Some fields can't be accepted.", errors=flat_errors(reader.errors))
    content: dict[str, Any] = without_decimals(dict(reader.validated_data))
    return content
