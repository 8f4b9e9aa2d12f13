"""A maker's sheet as somebody enters or imports it: checked once, kept with its figures as written."""

from typing import Any

from rest_framework import serializers

from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.intake.errors import flat_errors, without_decimals
from fleet.intake.fields import DecimalText, StrictSerializer, Text, Word, YesNo
from fleet.limits import band

CONTROLS = ("pneumatic ratio", "self-adapting", "linkage", "fixed atmospheric", "oil pressure jet")
TOLERANCE_BASES = ("points", "percent of target", "range")
CEILING_UNITS = {
    "co_air_free": "ppm",
    "co": "ppm",
    "co_co2_ratio": "1",
    "nox": "ppm",
    "flue_temp": "degC",
    "ambient_co": "ppm",
    "smoke": "1",
}


class TargetIn(StrictSerializer):
    """A target at one rate. The tolerance's basis is explicit: "1 %" alone would mean three different bands."""

    rate = Text(20)
    quantity = Word(choices=["co2", "o2"])
    value = DecimalText(low=0, high=21, required=False)
    tolerance = DecimalText(low=0, high=100, required=False)
    tolerance_basis = Word(choices=TOLERANCE_BASES)
    lower = DecimalText(low=0, high=21, required=False)
    upper = DecimalText(low=0, high=21, required=False)
    casing = Word(choices=["open", "closed", "any"])

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = {name: attrs.get(name) for name in ("lower", "upper")}
        try:
            made = band(attrs.get("value"), attrs.get("tolerance"), basis=attrs["tolerance_basis"], **given)
        except ValueError as bad:
            raise serializers.ValidationError({"tolerance": str(bad)}) from bad
        if made.lower is None or made.upper is None:
            raise serializers.ValidationError({"tolerance": "gives a band open on one side; a target needs both ends"})
        return attrs


class CeilingIn(StrictSerializer):
    """A figure that no reading may pass at one of the sheet's rates, or at "any"."""

    quantity = Word(choices=list(CEILING_UNITS))
    value = DecimalText(low=0)
    unit = Word(choices=sorted(set(CEILING_UNITS.values())))
    rate = Text(20)
    action = Text(300, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        wanted = CEILING_UNITS[attrs["quantity"]]
        if attrs["unit"] != wanted:
            raise serializers.ValidationError({"unit": f"is {attrs['unit']}; {attrs['quantity']} is in {wanted}"})
        return attrs


class AdjusterIn(StrictSerializer):
    """A screw or stop that moves combustion; which way raises CO2 differs from one to the next."""

    name = Text(100)
    place = Text(200, required=False)
    tool = Text(100, required=False)
    raises_co2 = Word(choices=["clockwise", "counter-clockwise"])
    rate = Text(20)
    sealed = YesNo(required=False)
    who = Text(200, required=False)
    field_adjustment = Word(choices=["allowed", "check only"])
    reseal = Text(200, required=False)
    largest_step = Text(60, required=False)


class SheetIn(StrictSerializer):
    fuel = Word(choices=list(FUELS))
    control = Word(choices=CONTROLS)
    condensing = YesNo()
    rated_input_kw = DecimalText(low=0.1, high=50_000)
    minimum_input_kw = DecimalText(low=0.1, high=50_000, required=False)
    input_basis = Word(choices=["net", "gross"])
    rated_output_kw = DecimalText(low=0.1, high=50_000, required=False)
    rates = serializers.ListField(child=Text(20), min_length=1, max_length=10)
    targets = TargetIn(many=True)
    ceilings = CeilingIn(many=True, required=False)
    adjusters = AdjusterIn(many=True, required=False)
    source = Text(300)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        rates = attrs["rates"]
        if len(set(rates)) != len(rates):
            raise serializers.ValidationError({"rates": f"are {rates}; each stands once"})
        for name, allowed in (("targets", rates), ("adjusters", rates), ("ceilings", [*rates, "any"])):
            for index, each in enumerate(attrs.get(name, [])):
                if each["rate"] not in allowed:
                    path = f"{name}.{index}.rate"
                    raise serializers.ValidationError({path: f"is {each['rate']}; it must be one of {allowed}"})
        return attrs


def read_sheet(data: Any) -> dict[str, Any]:
    """The content of a sheet version. Raises Malformed with each field, its value and what is allowed."""
    reader = SheetIn(data=data)
    if not reader.is_valid():
        raise Malformed("sheet_malformed", "The sheet can't be accepted.", errors=flat_errors(reader.errors))
    content: dict[str, Any] = without_decimals(dict(reader.validated_data))
    return content
