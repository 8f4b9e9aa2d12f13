"""A settings sheet as somebody enters or imports it: checked once, kept with its figures as written."""

import math
from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any

from django.utils.translation import gettext_lazy as _
from pydantic import Field

from fleet.coded import Coded, coded, wrong
from fleet.combustion import FUELS
from fleet.combustion.flue_gas import O2_AIR_PCT
from fleet.intake.fields import LEFT_OUT, DecimalText, Many, Shape, Text, Whole, Word, YesNo, read_as
from fleet.limits.card import CONTROLS
from fleet.limits.quantities import possible
from fleet.limits.tolerance import Band, band
from fleet.quantities import GASES

CEILING_UNITS = {
    "co_ppm_air_free": "ppm",
    "co": "ppm",
    "co_co2_ratio": "1",
    "nox": "ppm",
    "flue_temp": "degC",
    "ambient_co": "ppm",
    "smoke": "1",
}
# What names a row: two rows of one name would be judged twice, or the one in place of the other.
ROW_NAMES = {
    "targets": ("quantity", "rate", "casing"),
    "ceilings": ("quantity", "rate"),
    "adjusters": ("name", "rate"),
    "order_rules": ("quantity", "higher_rate", "lower_rate"),
}
# What burns, in words.
BURNS = {name: fuel.label or name for name, fuel in FUELS.items()}
BASES = {"points": _("points"), "percent_of_target": _("percent of the target"), "range": _("a range")}
SourceText = Annotated[str, Text(300, blank=True, label=_("In the source's words"))]
Rate = Annotated[str, Text(20, label=_("Rate"))]


class TargetIn(Shape):
    """A target at one rate. The tolerance's basis is explicit: "1 %" alone would mean three different bands.

    A range has its lower and upper figures, or a value in the middle of a tolerance; never both.
    """

    rate: Rate
    quantity: Annotated[str, Word(GASES, label=_("Gas"))]
    value: Annotated[str, DecimalText(0, 21, _("% dry"), label=_("Target"))] = LEFT_OUT
    tolerance: Annotated[str, DecimalText(0, 100, label=_("Tolerance"))] = LEFT_OUT
    tolerance_basis: Annotated[str, Word(BASES, label=_("The tolerance is meant in"))]
    lower: Annotated[str, DecimalText(0, 21, _("% dry, of a range"), label=_("Lower end"))] = LEFT_OUT
    upper: Annotated[str, DecimalText(0, 21, _("% dry, of a range"), label=_("Upper end"))] = LEFT_OUT
    casing: Annotated[str, Word({"closed": _("closed"), "open": _("open"), "any": _("either")}, label=_("Casing"))]
    source_text: SourceText = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        """A figure that the basis has no use for: one would think that it counts; and a band that is none."""
        ends = {name: end for name in ("lower", "upper") if (end := getattr(self, name)) is not None}
        if ends and self.tolerance_basis != "range":
            name, end = next(iter(ends.items()))
            yield name, coded("end_without_range", value=end)
        elif ends and self.tolerance is not None:
            yield "tolerance", coded("tolerance_beside_ends", value=self.tolerance)
        elif len(ends) == 1:
            yield "upper" if "lower" in ends else "lower", coded("open_band")
        elif ends:
            yield from self._wrong_ends(Decimal(self.lower), Decimal(self.upper))
        else:
            for name in (each for each in ("value", "tolerance") if getattr(self, each) is None):
                yield name, coded("needed_by_basis", basis=[self.tolerance_basis])

    def _wrong_ends(self, lower: Decimal, upper: Decimal) -> Iterator[tuple[str, Coded]]:
        if lower > upper:
            yield "lower", coded("above_upper", value=self.lower, upper=self.upper)
        elif self.value is not None and not lower <= Decimal(self.value) <= upper:
            yield "value", coded("outside_ends", value=self.value, lower=self.lower, upper=self.upper)


class CeilingIn(Shape):
    """A figure that no reading may pass at one of the sheet's rates, or at "any"."""

    quantity: Annotated[str, Word(list(CEILING_UNITS), label=_("What"))]
    value: Annotated[str, DecimalText(0, label=_("At most"))]
    unit: Annotated[str, Word(sorted(set(CEILING_UNITS.values())))]
    rate: Annotated[str, Text(20, label=_("Rate"), help=_("or: any"))]
    action: Annotated[str, Text(300, blank=True, label=_("What the manufacturer asks for beyond it"))] = LEFT_OUT
    source_text: SourceText = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        wanted = CEILING_UNITS[self.quantity]
        if self.unit != wanted:
            yield "unit", wrong("unit_of", self.unit, quantity=[self.quantity], unit=wanted)
        low, high = possible(self.quantity, self.unit) or (-math.inf, math.inf)
        if not low <= float(self.value) <= high:
            yield "value", coded("between", value=self.value, low=low, high=high)


class AdjusterIn(Shape):
    """A screw or stop that moves combustion; which way raises CO2 differs from one to the next."""

    name: Annotated[str, Text(100, label=_("Name"))]
    rate: Annotated[str, Text(20, label=_("Acts on the rate"))]
    raises_co2: Annotated[
        str, Word({"clockwise": _("clockwise"), "anticlockwise": _("anticlockwise")}, label=_("Raises CO₂"))
    ]
    field_adjustment: Annotated[
        str, Word({"allowed": _("adjustment is allowed"), "check_only": _("check only")}, label=_("In the field"))
    ]
    place: Annotated[str, Text(200, blank=True, label=_("Place"))] = LEFT_OUT
    tool: Annotated[str, Text(100, blank=True, label=_("Tool"))] = LEFT_OUT
    largest_step_turns: Annotated[str, DecimalText(0.001, 5, _("turns"), label=_("Largest step"))] = LEFT_OUT
    largest_step: Annotated[str, Text(60, blank=True, label=_("Largest step, as the source says it"))] = LEFT_OUT
    sealed: Annotated[bool, YesNo(label=_("Sealed"))] = LEFT_OUT
    reseal: Annotated[str, Text(200, blank=True, label=_("How it is sealed again"))] = LEFT_OUT
    who: Annotated[str, Text(200, blank=True, label=_("Who may touch it"))] = LEFT_OUT


class OrderRuleIn(Shape):
    """Of one quantity the figure at one rate lies above that at another, by `least_gap` at least [% vol]."""

    quantity: Annotated[str, Word(GASES, label=_("Gas"))]
    higher_rate: Annotated[str, Text(20, label=_("Higher at the rate"))]
    lower_rate: Annotated[str, Text(20, label=_("Than at the rate"))]
    least_gap: Annotated[str, DecimalText(0, 21, _("points"), label=_("By at least"))] = LEFT_OUT
    source_text: SourceText = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if self.higher_rate == self.lower_rate:
            yield "lower_rate", wrong("same_rate", self.lower_rate)


class SheetIn(Shape):
    """What the manufacturer asks for. Each rate that a row names is one of the rates, and no row names what an earlier
    one named."""

    fuel: Annotated[str, Word(BURNS, label=_("Fuel"))]
    control: Annotated[str, Word(CONTROLS, label=_("Air/fuel control"))]
    condensing: Annotated[bool, YesNo(label=_("Condensing"))]
    natural_draught: Annotated[bool, YesNo(label=_("Natural draught"))] = LEFT_OUT
    rated_input_kw: Annotated[str, DecimalText(0.1, 50_000, _("kW"), label=_("Rated input"), proven_by="source")]
    minimum_input_kw: Annotated[str, DecimalText(0.1, 50_000, _("kW"), label=_("Least input"))] = LEFT_OUT
    input_basis: Annotated[
        str,
        Word({"net": _("the net heating value"), "gross": _("the gross heating value")}, label=_("Input counted on")),
    ]
    rated_output_kw: Annotated[str, DecimalText(0.1, 50_000, _("kW"), label=_("Rated output"))] = LEFT_OUT
    minimum_gas_pressure_pa: Annotated[
        str, DecimalText(1, 100_000, _("Pa, working, at the inlet"), label=_("Least gas pressure"))
    ] = LEFT_OUT
    rates: Annotated[
        list[Rate], Many(1, 10, label=_("Rates"), help=_("from the highest to the lowest, between commas"))
    ]
    source: Annotated[str, Text(300, label=_("Source"), help=_("where the figures come from"))]
    targets: Annotated[
        list[TargetIn],
        Many(
            label=_("Targets"),
            proven_by="source",
            one=_("Target"),
            help=_("Where a reading should be, at each rate. How the tolerance is meant is never guessed: without its "
                   "basis a target can't be used. Points are % by volume either side; a range has two ends, or is as "
                   "wide as the tolerance."),
        ),
    ]  # fmt: skip
    ceilings: Annotated[
        list[CeilingIn],
        Many(
            label=_("Ceilings"),
            one=_("Ceiling"),
            proven_by="source",
            help=_("Figures that no reading may pass, as found or as left."),
        ),
    ] = LEFT_OUT
    adjusters: Annotated[
        list[AdjusterIn],
        Many(
            label=_("Adjusters"),
            proven_by="source",
            one=_("Adjuster"),
            help=_("What is turned to move combustion. Which way raises CO₂ differs from one to the next."),
        ),
    ] = LEFT_OUT
    order_rules: Annotated[
        list[OrderRuleIn],
        Many(
            label=_("Order between rates"),
            proven_by="source",
            one=_("Order"),
            blanks=1,
            help=_("Only where the manufacturer states that one rate lies above another."),
        ),
    ] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if len(set(self.rates)) != len(self.rates):
            yield "rates", coded("each_once", values=self.rates)
            return
        for path, rate, allowed in self._rates_named():
            if rate not in allowed:
                yield path, coded("rate_of_these", value=rate, allowed=allowed)
        yield from self._named_twice()
        if float(self.minimum_input_kw or 0) > float(self.rated_input_kw):
            yield "minimum_input_kw", coded("above_rated", value=self.minimum_input_kw)
        yield from self._beyond_the_fuel()

    def _beyond_the_fuel(self) -> Iterator[tuple[str, Coded]]:
        """Bands that no flue gas of the fuel can keep, and more output than the input holds."""
        fuel = FUELS[self.fuel]
        most_pct = {"co2": fuel.co2_max_pct, "o2": O2_AIR_PCT}
        for index, each in enumerate(self.targets):
            made, most = _band(each), round(most_pct[each.quantity], 2)
            if made.lower is None or made.upper is None or made.lower < 0 or made.upper > most:
                at = "value" if each.value is not None else "upper"
                said = {"lower": made.lower, "upper": made.upper, "most": most}
                yield f"targets.{index}.{at}", coded("beyond_fuel", gas=GASES[each.quantity], fuel=[self.fuel], **said)
        # Condensing gives back the heat of the vapour, which the net heating value leaves out.
        recovered = fuel.hhv_kj_mol / fuel.lhv_kj_mol if self.input_basis == "net" and self.condensing else 1.0
        most_kw = float(self.rated_input_kw) * recovered
        if self.rated_output_kw is not None and float(self.rated_output_kw) > most_kw:
            yield "rated_output_kw", coded("output_beyond_input", value=self.rated_output_kw, most=round(most_kw, 1))

    def _rates_named(self) -> Iterator[tuple[str, str, list[str]]]:
        """Every rate that a row names, by its path, with the rates that it may name."""
        for group, allowed in (("targets", self.rates), ("adjusters", self.rates), ("ceilings", [*self.rates, "any"])):
            for index, each in enumerate(getattr(self, group) or ()):
                yield f"{group}.{index}.rate", each.rate, allowed
        for index, rule in enumerate(self.order_rules or ()):
            yield f"order_rules.{index}.higher_rate", rule.higher_rate, self.rates
            yield f"order_rules.{index}.lower_rate", rule.lower_rate, self.rates

    def _named_twice(self) -> Iterator[tuple[str, Coded]]:
        """Each row that names what an earlier one named, by the path of the last field of its name."""
        for group, fields in ROW_NAMES.items():
            seen = set()
            for index, each in enumerate(getattr(self, group) or ()):
                name = tuple(getattr(each, field) for field in fields)
                if name in seen:
                    yield f"{group}.{index}.{fields[-1]}", coded("named_twice", values=list(name))
                seen.add(name)


def _band(each: TargetIn) -> Band:
    return band(each.value, each.tolerance, basis=each.tolerance_basis, lower=each.lower, upper=each.upper)


def read_sheet(data: Any) -> dict[str, Any]:
    """The content of a sheet version. Raises Malformed with each field, its value and what is allowed."""
    return read_as(SheetIn, data, "sheet_malformed", "The sheet can't be accepted.")


class SheetFileIn(Shape):
    """A sheet as another installation exports it. `version` is the number that it had there; nothing follows from it.

    Figures are decimal numbers as strings, so that 9.20 keeps its digits; a number is taken too, if it has no exponent
    and at most six decimals. Text is brought to Unicode NFC, rid of control and direction characters and of space at
    its ends before it is measured. The content alone is what a version's body has.
    """

    schema_: Annotated[str, Word(["fleet-sheet/1"])] = Field(alias="schema")
    name: Annotated[str, Text(label=_("Name of the sheet"), help=_("the manufacturer's model, as the plate has it"))]
    external_reference: Annotated[
        str | None, Text(100, blank=True, null=True, help=_("another program's key for it"))
    ] = LEFT_OUT
    version: Annotated[int, Whole()] = LEFT_OUT
    content: SheetIn


def read_sheet_file(data: Any) -> dict[str, Any]:
    """A file to import. Raises Malformed with the path of each field, its value and what is allowed."""
    file = read_as(SheetFileIn, data, "sheet_malformed", "The file can't be accepted.")
    return file | {"external_reference": file.get("external_reference") or None}
