"""The card: sheet, limit sets, stop levels and analyser compiled into one decision table of plain data.

The card is what the phone carries and what the server judges by, so a verdict can always be told from the
card alone. It holds no code and no expression: rows with fields, comparisons and figures.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.coded import as_row
from fleet.combustion import Fuel, gas_properties
from fleet.combustion.emissions import LEAST_CO2_MAX_PCT, O2_TOO_DILUTE_PCT
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT
from fleet.limits.decision import MARGINS, acceptance_limits
from fleet.limits.rows import SEVERITIES, Row, dilution_row, left_out, limit_row, stop_rows
from fleet.limits.sheet_rows import band_row, ceiling_row, order_row
from fleet.limits.tolerance import exact
from fleet.predicates import Facts

CARD_VERSION = 2
ROW_GROUPS = ("stop_levels", "bands", "orders", "ceilings", "limits")

KW_PER_MMBTU_H = 293.07107
# A rise of CO in one test that is more than the reading's own scatter [ppm]: own figure, editable.
CO_RISE_PPM = 5.0

CONTROLS = ("pneumatic_ratio", "self_adapting", "linkage", "fixed_atmospheric", "oil_pressure_jet")
TURNS = ("clockwise", "anticlockwise")
# The limit sets' words for the kind of fuel: the gases of the second family with their blends, those of the third.
SECOND_FAMILY = ("natural_gas", "natural_gas_l", "methane", "g21", "g222", "g23", "g24", "g26", "g27")
THIRD_FAMILY = ("propane", "butane", "lpg")
BLENDS = ("natural_gas_10_h2", "natural_gas_20_h2", "natural_gas_30_h2")
FUEL_CLASSES = {
    **dict.fromkeys((*SECOND_FAMILY, *BLENDS), "natural_gas"),
    **dict.fromkeys(THIRD_FAMILY, "lpg"),
    "light_oil": "oil_light",
    "biogas": "biogas",
    "hydrogen": "hydrogen",
}
# Families of gases by gross Wobbe index at 15 °C [MJ/m³] (EN 437, from memory): what a gas by composition counts as.
FAMILIES = {"natural_gas": (39.1, 54.7), "lpg": (72.9, 87.3)}
HYDROGEN_FROM, BIOGAS_CO2_FROM, LARGEST_BLEND = 0.9, 0.2, 0.3
ACCURACY_FIELDS = {
    "o2": "o2_pct",
    "co2": "co2_pct",
    "co": "co_ppm",
    "nox": "nox_ppm",
    "ambient_co": "ambient_co_ppm",
    "flue_temp": "flue_temp_c",
    "air_temp": "air_temp_c",
    "flue_loss": "flue_loss_pct",
    "draught": "draught_pa",
}


@dataclass(frozen=True)
class SheetSummary:
    """rates : from the highest to the lowest."""

    id: str
    version: str
    name: str
    control: str | None
    condensing: bool | None
    rates: Sequence[str]


@dataclass(frozen=True)
class FuelConstants:
    """The figures of the fuel and its air that the evaluator uses; all percentages dry, by volume."""

    name: str
    co2_max_pct: float
    co2_air_pct: float
    o2_air_pct: float
    dry_products_per_air: float
    o2_too_dilute_pct: float


@dataclass(frozen=True)
class Accuracy:
    """The larger of the two, an expanded uncertainty (k = 2)."""

    absolute: float
    relative_pct: float

    def at(self, value: float) -> float:
        return max(self.absolute, self.relative_pct / 100 * abs(value))


@dataclass(frozen=True)
class AnalyserSummary:
    """accuracy : by the field of a reading."""

    id: str
    name: str
    measures: Sequence[str]
    co2: str
    accuracy: Mapping[str, Accuracy]


@dataclass(frozen=True)
class Adjuster:
    """raises_co2 : "clockwise" or "anticlockwise". field_adjustment : "allowed" or "check_only"."""

    name: str
    place: str
    tool: str
    who: str
    reseal: str
    largest_step: str
    largest_step_turns: float | None
    rate: str
    raises_co2: str
    sealed: bool
    field_adjustment: str


@dataclass(frozen=True)
class Card:
    """The table. left_out : limits that the facts rule out, with those facts. margins : of the decision rules."""

    card_version: int
    sheet: SheetSummary
    fuel: FuelConstants
    analyser: AnalyserSummary
    severities: Sequence[str]
    facts: Mapping[str, Any]
    co_rise_ppm: float
    margins: Mapping[str, Sequence[float]]
    stop_levels: Sequence[Row]
    dilution: Row
    bands: Sequence[Row]
    orders: Sequence[Row]
    ceilings: Sequence[Row]
    limits: Sequence[Row]
    left_out: Sequence[Mapping[str, Any]]
    adjusters: Sequence[Adjuster]

    @property
    def rows(self) -> list[Row]:
        """Of all groups, in the order in which they are judged."""
        return [*self.stop_levels, *self.bands, *self.orders, *self.ceilings, *self.limits]

    def moves(self, adjuster: str, rate: str | None) -> bool:
        """Whether it acts on the rate; one that the sheet doesn't name, as any other work, acts on all."""
        named = next((each.rate for each in self.adjusters if each.name == adjuster), "any")
        return named in ("any", rate)

    @classmethod
    def of_json(cls, told: Mapping[str, Any]) -> "Card":
        """As `as_json` gave it, also after a round trip."""
        analyser = dict(told["analyser"])
        accuracy = {name: Accuracy(**each) for name, each in analyser.pop("accuracy").items()}
        parts = {
            "sheet": SheetSummary(**told["sheet"]),
            "fuel": FuelConstants(**told["fuel"]),
            "analyser": AnalyserSummary(**analyser, accuracy=accuracy),
            "dilution": Row.of_json(told["dilution"]),
            "adjusters": [Adjuster(**each) for each in told["adjusters"]],
        }
        rows = {group: [Row.of_json(each) for each in told[group]] for group in ROW_GROUPS}
        return cls(**{**told, **parts, **rows})

    def as_json(self) -> dict[str, Any]:
        """Plain data, what phone and database keep."""
        plain: dict[str, Any] = _plain(self)
        return plain


def _plain(part: Any) -> Any:
    if isinstance(part, Row):
        return part.as_json()
    if isinstance(part, dict):
        return {name: _plain(each) for name, each in part.items()}
    if isinstance(part, list):
        return [_plain(each) for each in part]
    return _plain(vars(part)) if hasattr(part, "__dict__") else part


def card(
    sheet: Mapping[str, Any] | None,
    limit_sets: Sequence[Mapping[str, Any]],
    analyser: Mapping[str, Any] | None,
    *,
    fuel: Fuel,
    stop_levels: Mapping[str, Any],
    facts: Facts | None = None,
) -> Card:
    """One decision table for one appliance, one analyser and the sets that apply.

    sheet : the manufacturer's figures (targets, order_rules, ceilings, adjusters, rates from the highest to the
    lowest), or
        None.
    limit_sets : the sets that a person has recorded as applying, each with its limits; set and limit keep
        their own unit, basis, severity and decision rule.
    analyser : id, name, measures, "co2" (measured, calculated, absent) and accuracy per quantity, or None.
    stop_levels : the contractor's own; ValueError where CO (air-free) or ambient CO has none.
    facts : what predicates ask for (output_kw, appliance, construction, new_plant, ...); fuel, control,
        condensing and heat input come from the sheet unless given here.

    A limit that can't be decided from the facts stays in, marked `applies` "unclear", with the facts it lacks under
    `unrecorded`. ValueError for a sheet, set or stop level that can't be read.
    """
    sheet = sheet or {}
    known = known_facts(sheet, fuel, facts or {})
    measuring, stops = _analyser_summary(analyser or {}, fuel), stop_rows(stop_levels)
    compiled = [(s, limit, limit_row(s, limit, known, rates(sheet))) for s in limit_sets for limit in s["limits"]]
    return Card(
        card_version=CARD_VERSION,
        sheet=_sheet_summary(sheet),
        fuel=_fuel_constants(fuel),
        analyser=measuring,
        severities=list(SEVERITIES),
        facts=known,
        co_rise_ppm=float(exact(stop_levels.get("co_rise_ppm", CO_RISE_PPM))),
        margins={rule: list(shares) for rule, shares in MARGINS.items()},
        stop_levels=stops,
        dilution=dilution_row(stops[0]),
        bands=[_with_proof(band_row(sheet, target), measuring) for target in sheet.get("targets", ())],
        orders=[order_row(sheet, rule) for rule in sheet.get("order_rules", ())],
        ceilings=[_asked_of(fuel, ceiling_row(sheet, ceiling)) for ceiling in sheet.get("ceilings", ())],
        limits=[_asked_of(fuel, kept) for _, _, kept in compiled if kept is not None],
        left_out=[left_out(s, limit, known) for s, limit, kept in compiled if kept is None],
        adjusters=[_adjuster(sheet, adjuster) for adjuster in sheet.get("adjusters", ())],
    )


def _asked_of(fuel: Fuel, asked: Row) -> Row:
    """The row, which asks for no CO over CO2 where the fuel has next to no carbon: what CO2 there is, is the air's."""
    if asked.quantity != "co_co2_ratio" or fuel.co2_max_pct >= LEAST_CO2_MAX_PCT:
        return asked
    return Row({**vars(asked), "measure": None, "needs": as_row("needs_carbon")})


def fuel_class(fuel: Fuel) -> str | None:
    """The limit sets' word for a fuel: by its name, for another gas by what it is made of.

    Nine parts of ten hydrogen are hydrogen, methane with a fifth or more of CO2 is biogas; otherwise the family counts
    that its Wobbe index falls into, for a gas with no more hydrogen than the blends that have a name. None where
    nothing of that holds: which limits apply is then not known, which is said, and none is left out. The shares are our
    own choice.

    >>> fuel_class(Fuel.from_composition("grid gas of a trial", {"CH4": 0.85, "H2": 0.15}))
    'natural_gas'
    """
    named = FUEL_CLASSES.get(fuel.name)
    if named or not fuel.composition:
        return named
    share = dict(fuel.composition)
    if share.get("H2", 0.0) >= HYDROGEN_FROM:
        return "hydrogen"
    if share.get("CO2", 0.0) >= BIOGAS_CO2_FROM and share.get("CH4", 0.0) > share["CO2"] / 2:
        return "biogas"
    if share.get("H2", 0.0) > LARGEST_BLEND:
        return None
    wobbe = gas_properties(fuel).wobbe_gross_mj_m3
    return next((word for word, (low, high) in FAMILIES.items() if low <= wobbe <= high), None)


def rates(sheet: Mapping[str, Any]) -> list[str]:
    """The sheet's firing rates, from the highest to the lowest."""
    return list(sheet.get("rates", ()))


def known_facts(sheet: Mapping[str, Any], fuel: Fuel, facts: Facts) -> dict[str, Any]:
    """What predicates may ask for: the sheet's own facts, overridden by those recorded for the appliance."""
    control = sheet.get("control")
    from_sheet = {
        "fuel": fuel_class(fuel),
        "condensing": sheet.get("condensing"),
        "control": control,
        "self_calibrating": None if control is None else control == "self_adapting",
        "heat_input_mmbtu_h": _heat_input_mmbtu_h(sheet, fuel),
    }
    recorded = {name.lower(): value for name, value in facts.items()}
    named = recorded.get("fuel")
    if named is not None:
        recorded["fuel"] = FUEL_CLASSES.get(str(named), named)
    return {name: value for name, value in (from_sheet | recorded).items() if value is not None}


def _heat_input_mmbtu_h(sheet: Mapping[str, Any], fuel: Fuel) -> float | None:
    """Rated input in million Btu an hour, which are counted on the gross heating value."""
    if sheet.get("rated_input_kw") is None:
        return None
    basis = sheet.get("input_basis")
    if basis not in ("net", "gross"):
        raise ValueError(f"the basis of the rated input must be net or gross, not {basis!r}")
    share = fuel.lhv_kj_mol / fuel.hhv_kj_mol if basis == "net" else 1.0
    return float(exact(sheet["rated_input_kw"])) / share / KW_PER_MMBTU_H


def _sheet_summary(sheet: Mapping[str, Any]) -> SheetSummary:
    control = sheet.get("control")
    if control is not None and control not in CONTROLS:
        raise ValueError(f"unknown air/fuel control: {control!r}")
    named = {name: str(sheet.get(name, "")) for name in ("id", "version", "name")}
    return SheetSummary(**named, control=control, condensing=sheet.get("condensing"), rates=rates(sheet))


def _fuel_constants(fuel: Fuel) -> FuelConstants:
    per_air = fuel.dry_products / fuel.air_demand
    return FuelConstants(fuel.name, fuel.co2_max_pct, CO2_AIR_PCT, O2_AIR_PCT, per_air, O2_TOO_DILUTE_PCT)


def _analyser_summary(analyser: Mapping[str, Any], fuel: Fuel) -> AnalyserSummary:
    co2 = analyser.get("co2") or "absent"
    if co2 not in ("measured", "calculated", "absent"):
        raise ValueError(f"an analyser's CO2 is measured, calculated or absent, not {co2!r}")
    accuracy = {
        ACCURACY_FIELDS.get(name, name): _accuracy(figures)
        for name, figures in (analyser.get("accuracy") or {}).items()
    }
    if co2 != "measured" and "o2_pct" in accuracy:
        accuracy["co2_pct"] = _calculated_co2_accuracy(accuracy["o2_pct"], fuel)
    named = {name: str(analyser.get(name, "")) for name in ("id", "name")}
    return AnalyserSummary(**named, measures=list(analyser.get("measures", ())), co2=co2, accuracy=accuracy)


def _accuracy(figures: Mapping[str, Any]) -> Accuracy:
    return Accuracy(*(float(exact(figures.get(name) or 0)) for name in ("absolute", "relative_pct")))


def _with_proof(band: Row, analyser: AnalyserSummary) -> Row:
    """The band, and whether any reading can prove it at 95 % with this accuracy (at the band's upper end)."""
    accuracy = analyser.accuracy.get(f"{band.quantity}_pct")
    if accuracy is None:
        return band
    expanded = accuracy.at(max(abs(end) for end in (band.lower, band.upper) if end is not None))
    return band.but(provable=acceptance_limits(band.lower, band.upper, "guarded", expanded) is not None)


def _calculated_co2_accuracy(o2: Accuracy, fuel: Fuel) -> Accuracy:
    """A CO2 worked out from O2 is as uncertain as O2 is, by the slope of the fuel's O2-CO2 line."""
    return Accuracy(o2.at(O2_AIR_PCT) * (fuel.co2_max_pct - CO2_AIR_PCT) / O2_AIR_PCT, 0.0)


def _adjuster(sheet: Mapping[str, Any], adjuster: Mapping[str, Any]) -> Adjuster:
    turn, allowed = adjuster.get("raises_co2"), adjuster.get("field_adjustment") or "allowed"
    if turn not in TURNS:
        raise ValueError(f"which way raises CO2 must be clockwise or anticlockwise, not {turn!r}")
    if allowed not in ("allowed", "check_only"):
        raise ValueError(f"field adjustment is allowed or check only, not {allowed!r}")
    if adjuster.get("rate") not in (*rates(sheet), "any"):
        raise ValueError(f"the adjuster's rate {adjuster.get('rate')!r} is not one of the sheet's rates")
    texts = {name: str(adjuster.get(name) or "") for name in ("name", "place", "tool", "who", "reseal", "largest_step")}
    largest = adjuster.get("largest_step_turns")
    if largest is not None and not exact(largest) > 0:
        raise ValueError(f"the largest step must be a number of turns above zero, not {largest!r}")
    return Adjuster(
        **texts,
        largest_step_turns=None if largest is None else float(exact(largest)),
        rate=adjuster["rate"],
        raises_co2=turn,
        sealed=bool(adjuster.get("sealed")),
        field_adjustment=allowed,
    )
