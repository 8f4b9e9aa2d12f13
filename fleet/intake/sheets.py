"""A settings sheet as somebody enters or imports it: checked once, kept with its figures as written."""

from collections.abc import Iterator
from typing import Any

from rest_framework import serializers

from fleet.combustion import FUELS
from fleet.intake.fields import DecimalText, StrictSerializer, Text, Word, YesNo, read_as, refused
from fleet.limits import band

CONTROLS = ("pneumatic_ratio", "self_adapting", "linkage", "fixed_atmospheric", "oil_pressure_jet")
TOLERANCE_BASES = ("points", "percent_of_target", "range")
CEILING_UNITS = {
    "co_ppm_air_free": "ppm",
    "co": "ppm",
    "co_co2_ratio": "1",
    "nox": "ppm",
    "flue_temp": "degC",
    "ambient_co": "ppm",
    "smoke": "1",
}
SOURCE_LENGTH = 300
# What names a row: two rows of one name would be judged twice, or the one in place of the other.
ROW_NAMES = {
    "targets": ("quantity", "rate", "casing"),
    "ceilings": ("quantity", "rate"),
    "adjusters": ("name", "rate"),
    "order_rules": ("quantity", "higher_rate", "lower_rate"),
}


class TargetIn(StrictSerializer):
    """A target at one rate. The tolerance's basis is explicit: "1 %" alone would mean three different bands.

    A range has its lower and upper figures, or a value in the middle of a tolerance; never both.
    """

    rate = Text(20)
    quantity = Word(choices=["co2", "o2"])
    value = DecimalText(low=0, high=21, required=False)
    tolerance = DecimalText(low=0, high=100, required=False)
    tolerance_basis = Word(choices=TOLERANCE_BASES)
    lower = DecimalText(low=0, high=21, required=False)
    upper = DecimalText(low=0, high=21, required=False)
    casing = Word(choices=["open", "closed", "any"])
    source_text = Text(SOURCE_LENGTH, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        refuse_unused(attrs)
        given = {name: attrs.get(name) for name in ("lower", "upper")}
        try:
            made = band(attrs.get("value"), attrs.get("tolerance"), basis=attrs["tolerance_basis"], **given)
        except ValueError as bad:
            raise serializers.ValidationError({"tolerance": str(bad)}) from bad
        if made.lower is None or made.upper is None:
            raise serializers.ValidationError({"tolerance": "gives a band open on one side; a target needs both ends"})
        return attrs


def refuse_unused(target: dict[str, Any]) -> None:
    """Raises ValidationError for a figure that the basis has no use for: one would think that it counts."""
    ends = [name for name in ("lower", "upper") if name in target]
    if ends and target["tolerance_basis"] != "range":
        said = f"is {target[ends[0]]}; lower and upper stand only with the basis range"
        raise serializers.ValidationError({ends[0]: said})
    if ends and "tolerance" in target:
        said = f"is {target['tolerance']}; a range with lower and upper has no tolerance besides"
        raise serializers.ValidationError({"tolerance": said})


class CeilingIn(StrictSerializer):
    """A figure that no reading may pass at one of the sheet's rates, or at "any"."""

    quantity = Word(choices=list(CEILING_UNITS))
    value = DecimalText(low=0)
    unit = Word(choices=sorted(set(CEILING_UNITS.values())))
    rate = Text(20)
    action = Text(300, required=False)
    source_text = Text(SOURCE_LENGTH, required=False)

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
    raises_co2 = Word(choices=["clockwise", "anticlockwise"])
    rate = Text(20)
    sealed = YesNo(required=False)
    who = Text(200, required=False)
    field_adjustment = Word(choices=["allowed", "check_only"])
    reseal = Text(200, required=False)
    largest_step = Text(60, required=False)
    largest_step_turns = DecimalText(low=0.001, high=50, required=False)


class OrderRuleIn(StrictSerializer):
    """Of one quantity the figure at one rate lies above that at another, by `least_gap` at least [% vol]."""

    quantity = Word(choices=["co2", "o2"])
    higher_rate = Text(20)
    lower_rate = Text(20)
    least_gap = DecimalText(low=0, high=21, required=False)
    source_text = Text(SOURCE_LENGTH, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["higher_rate"] == attrs["lower_rate"]:
            said = f"is {attrs['lower_rate']}; it must be another rate than the higher one"
            raise serializers.ValidationError({"lower_rate": said})
        return attrs


class SheetIn(StrictSerializer):
    fuel = Word(choices=list(FUELS))
    control = Word(choices=CONTROLS)
    condensing = YesNo()
    natural_draught = YesNo(required=False)
    rated_input_kw = DecimalText(low=0.1, high=50_000)
    minimum_input_kw = DecimalText(low=0.1, high=50_000, required=False)
    input_basis = Word(choices=["net", "gross"])
    rated_output_kw = DecimalText(low=0.1, high=50_000, required=False)
    minimum_gas_pressure_pa = DecimalText(low=1, high=100_000, required=False)
    rates = serializers.ListField(child=Text(20), min_length=1, max_length=10)
    targets = TargetIn(many=True)
    ceilings = CeilingIn(many=True, required=False)
    adjusters = AdjusterIn(many=True, required=False)
    order_rules = OrderRuleIn(many=True, required=False)
    source = Text(SOURCE_LENGTH)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        rates = attrs["rates"]
        if len(set(rates)) != len(rates):
            raise serializers.ValidationError({"rates": f"are {rates}; each stands once"})
        errors = {
            path: f"is {rate}; the rates here are {', '.join(allowed)}"
            for path, rate, allowed in _rates_named(attrs)
            if rate not in allowed
        }
        errors |= dict(_said_twice(attrs))
        if float(attrs.get("minimum_input_kw", 0)) > float(attrs["rated_input_kw"]):
            errors["minimum_input_kw"] = f"is {attrs['minimum_input_kw']}; it must not be above the rated input"
        if errors:
            raise serializers.ValidationError(errors)
        return attrs


def _rates_named(attrs: dict[str, Any]) -> Iterator[tuple[str, str, list[str]]]:
    """Every rate that a row names, by its path, with the rates that it may name."""
    rates = attrs["rates"]
    for name, allowed in (("targets", rates), ("adjusters", rates), ("ceilings", [*rates, "any"])):
        for index, each in enumerate(attrs.get(name, [])):
            yield f"{name}.{index}.rate", each["rate"], allowed
    for index, each in enumerate(attrs.get("order_rules", [])):
        for field in ("higher_rate", "lower_rate"):
            yield f"order_rules.{index}.{field}", each[field], rates


def _said_twice(attrs: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Each row that names what an earlier one named, by the path of the last field of its name."""
    for group, fields in ROW_NAMES.items():
        seen = set()
        for index, each in enumerate(attrs.get(group, [])):
            name = tuple(each[field] for field in fields)
            if name in seen:
                yield f"{group}.{index}.{fields[-1]}", f"{', '.join(name)} stands there already; each stands once"
            seen.add(name)


def read_sheet(data: Any) -> dict[str, Any]:
    """The content of a sheet version. Raises Malformed with each field, its value and what is allowed."""
    return read_as(SheetIn, data, "sheet_malformed", "The sheet can't be accepted.")


class WholeNumber(serializers.IntegerField):
    """A whole number as a number, not as a word for one."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            raise refused(data, "it must be a whole number")
        return data


class SheetFileIn(StrictSerializer):
    """A sheet as another installation exports it. `version` is the number that it had there."""

    schema = Word(choices=["fleet-sheet/1"])
    name = Text(200)
    external_reference = Text(100, required=False, allow_null=True)
    version = WholeNumber(min_value=1, required=False)
    content = SheetIn()


def read_sheet_file(data: Any) -> dict[str, Any]:
    """A file to import. Raises Malformed with the path of each field, its value and what is allowed."""
    file = read_as(SheetFileIn, data, "sheet_malformed", "The file can't be accepted.")
    return file | {"external_reference": file.get("external_reference") or None}
