"""Calibrations, qualifications and stop levels as somebody enters them."""

from typing import Annotated

from fleet.intake.fields import LEFT_OUT, Day, DecimalText, Many, Shape, Text, Word, YesNo, shape_of
from fleet.limits.card import ACCURACY_FIELDS

FUEL_KINDS = ("gas", "oil")


class Expanded(Shape):
    """An expanded uncertainty (k = 2): absolute in the quantity's own unit, relative in percent; the wider counts."""

    absolute: Annotated[str, DecimalText(0, 100_000)] = LEFT_OUT
    relative_pct: Annotated[str, DecimalText(0, 100)] = LEFT_OUT


Uncertainties = shape_of("Uncertainties", dict.fromkeys(ACCURACY_FIELDS, Expanded))


class CalibrationIn(Shape):
    done_on: Annotated[str, Day()]
    valid_to: Annotated[str, Day()]
    certificate: Annotated[str, Text(100)]
    by: Annotated[str, Text(200)]
    passed: Annotated[bool, YesNo()]
    uncertainty: Uncertainties = LEFT_OUT


class QualificationIn(Shape):
    scheme: Annotated[str, Text(100)]
    number: Annotated[str, Text(100)]
    fuel_kinds: Annotated[list[Annotated[str, Word(FUEL_KINDS)]], Many(1)]
    valid_from: Annotated[str, Day()]
    valid_to: Annotated[str, Day()]


class StopLevelsIn(Shape):
    """All five, always: there is never an appliance without a stop level."""

    co_ppm_air_free: Annotated[str, DecimalText(1, 10_000)]
    ambient_co_ppm: Annotated[str, DecimalText(1, 1_000)]
    ambient_co_rise_ppm: Annotated[str, DecimalText(1, 1_000)]
    co_rising_above_ppm: Annotated[str, DecimalText(1, 10_000)]
    spillage_min: Annotated[str, DecimalText(0, 60)]
    evidence: Annotated[str, Text(500)]
