"""Calibrations, qualifications and stop levels as somebody enters them."""

from rest_framework import serializers

from fleet.intake.fields import Day, DecimalText, StrictSerializer, Text, Word, YesNo
from fleet.limits.card import ACCURACY_FIELDS

FUEL_KINDS = ("gas", "oil")


class Expanded(StrictSerializer):
    """An expanded uncertainty (k = 2): absolute in the quantity's own unit, relative in percent; the wider counts."""

    absolute = DecimalText(low=0, high=100_000, required=False)
    relative_pct = DecimalText(low=0, high=100, required=False)


Uncertainties = type("Uncertainties", (StrictSerializer,), {name: Expanded(required=False) for name in ACCURACY_FIELDS})


class CalibrationIn(StrictSerializer):
    done_on = Day()
    valid_to = Day()
    certificate = Text(100)
    by = Text(200)
    passed = YesNo()
    uncertainty = Uncertainties(required=False)


class QualificationIn(StrictSerializer):
    scheme = Text(100)
    number = Text(100)
    fuel_kinds = serializers.ListField(child=Word(choices=FUEL_KINDS), min_length=1)
    valid_from = Day()
    valid_to = Day()


class StopLevelsIn(StrictSerializer):
    """All five, always: there is never an appliance without a stop level."""

    co_ppm_air_free = DecimalText(low=1, high=10_000)
    ambient_co_ppm = DecimalText(low=1, high=1_000)
    ambient_co_rise_ppm = DecimalText(low=1, high=1_000)
    co_rising_above_ppm = DecimalText(low=1, high=10_000)
    spillage_min = DecimalText(low=0, high=60)
    evidence = Text(500)
