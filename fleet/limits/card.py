"""The card: sheet, limit sets, stop lines and analyser compiled into one decision table of plain data.

The card is what the phone carries and what the server judges by, so a verdict can always be told from the
card alone. It holds no code and no expression: rows with fields, comparisons and figures.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from fleet.combustion import Fuel
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT
from fleet.limits.facts import Facts
from fleet.limits.rows import SEVERITIES, Row, band_row, ceiling_row, left_out, limit_row, stop_rows
from fleet.limits.tolerance import exact

Card = dict[str, Any]

CARD_VERSION = 1
KW_PER_MMBTU_H = 293.07107
# A rise of CO in one test that is more than the reading's own scatter [ppm]: own figure, editable.
CO_RISE_PPM = 5.0

CONTROLS = ("pneumatic ratio", "self-adapting", "linkage", "fixed atmospheric", "oil pressure jet")
TURNS = ("clockwise", "counter-clockwise")
# The limit sets' words for the kind of fuel, where ours are finer.
FUEL_CLASSES = {
    "methane": "natural_gas",
    "natural_gas_l": "natural_gas",
    "natural_gas_20_h2": "natural_gas",
    "propane": "lpg",
    "butane": "lpg",
    "light_oil": "oil_light",
}
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


def card(
    sheet: Mapping[str, Any] | None,
    limit_sets: Sequence[Mapping[str, Any]],
    analyser: Mapping[str, Any] | None,
    *,
    fuel: Fuel,
    stop_lines: Mapping[str, Any],
    facts: Facts | None = None,
) -> Card:
    """One JSON-able decision table for one appliance, one analyser and the sets that apply.

    sheet : the maker's figures (targets, ceilings, adjusters, rates from the highest to the lowest), or None.
    limit_sets : the sets that a person has recorded as applying, each with its limits; set and limit keep
        their own unit, basis, severity and decision rule.
    analyser : id, name, measures, "co2" (measured, calculated, absent) and accuracy per quantity, or None.
    stop_lines : the contractor's own; ValueError where CO (air-free) or ambient CO has none.
    facts : what predicates ask for (output_kw, appliance, construction, new_plant, ...); fuel, control,
        condensing and heat input come from the sheet unless given here.

    Returns keys card_version, sheet, fuel, analyser, severities, facts, stop_lines, bands, ceilings, limits
    (rows of one shape), left_out (limits that the facts rule out, with those facts) and adjusters. A limit
    that can't be decided from the facts stays in, marked "applies": "unclear", with the facts it lacks under
    "unrecorded".
    ValueError for a sheet, set or line that can't be read.
    """
    sheet = sheet or {"name": "no sheet"}
    known = known_facts(sheet, fuel, facts or {})
    compiled = [(s, limit, limit_row(s, limit, known, rates(sheet))) for s in limit_sets for limit in s["limits"]]
    return {
        "card_version": CARD_VERSION,
        "sheet": _sheet_summary(sheet),
        "fuel": _fuel_constants(fuel),
        "analyser": _analyser_summary(analyser or {}, fuel),
        "severities": list(SEVERITIES),
        "facts": known,
        "co_rise_ppm": float(exact(stop_lines.get("co_rise_ppm", CO_RISE_PPM))),
        "stop_lines": stop_rows(stop_lines),
        "bands": [band_row(sheet, target) for target in sheet.get("targets", ())],
        "ceilings": [ceiling_row(sheet, ceiling) for ceiling in sheet.get("ceilings", ())],
        "limits": [kept for _, _, kept in compiled if kept is not None],
        "left_out": [left_out(s, limit, known) for s, limit, kept in compiled if kept is None],
        "adjusters": [_adjuster(sheet, adjuster) for adjuster in sheet.get("adjusters", ())],
    }


def rates(sheet: Mapping[str, Any]) -> list[str]:
    """The sheet's firing rates, from the highest to the lowest."""
    return list(sheet.get("rates", ()))


def known_facts(sheet: Mapping[str, Any], fuel: Fuel, facts: Facts) -> dict[str, Any]:
    """What predicates may ask for: the sheet's own facts, overridden by those recorded for the appliance."""
    control = sheet.get("control")
    from_sheet = {
        "fuel": FUEL_CLASSES.get(fuel.name, fuel.name),
        "condensing": sheet.get("condensing"),
        "control": control,
        "self_calibrating": None if control is None else control == "self-adapting",
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


def _sheet_summary(sheet: Mapping[str, Any]) -> dict[str, Any]:
    control = sheet.get("control")
    if control is not None and control not in CONTROLS:
        raise ValueError(f"unknown air/fuel control: {control!r}")
    return {
        "id": str(sheet.get("id", "")),
        "version": str(sheet.get("version", "")),
        "name": str(sheet.get("name", "")),
        "control": control,
        "condensing": sheet.get("condensing"),
        "rates": rates(sheet),
    }


def _fuel_constants(fuel: Fuel) -> dict[str, Any]:
    """The figures of the fuel and its air that the evaluator uses; all percentages dry, by volume."""
    return {
        "name": fuel.name,
        "co2_max_pct": fuel.co2_max_pct,
        "co2_air_pct": CO2_AIR_PCT,
        "o2_air_pct": O2_AIR_PCT,
        "dry_products_per_air": fuel.dry_products / fuel.air_demand,
        "o2_too_dilute_pct": O2_TOO_DILUTE_PCT,
    }


def _analyser_summary(analyser: Mapping[str, Any], fuel: Fuel) -> dict[str, Any]:
    co2 = analyser.get("co2") or "absent"
    if co2 not in ("measured", "calculated", "absent"):
        raise ValueError(f"an analyser's CO2 is measured, calculated or absent, not {co2!r}")
    accuracy = {
        ACCURACY_FIELDS.get(name, name): _accuracy(figures)
        for name, figures in (analyser.get("accuracy") or {}).items()
    }
    if co2 != "measured" and "o2_pct" in accuracy:
        accuracy["co2_pct"] = _calculated_co2_accuracy(accuracy["o2_pct"], fuel)
    return {
        "id": str(analyser.get("id", "")),
        "name": str(analyser.get("name", "")),
        "measures": list(analyser.get("measures", ())),
        "co2": co2,
        "accuracy": accuracy,
    }


def _accuracy(figures: Mapping[str, Any]) -> dict[str, float]:
    return {
        "absolute": float(exact(figures.get("absolute") or 0)),
        "relative_pct": float(exact(figures.get("relative_pct") or 0)),
    }


def _calculated_co2_accuracy(o2: Mapping[str, float], fuel: Fuel) -> dict[str, float]:
    """A CO2 worked out from O2 is as uncertain as O2 is, by the slope of the fuel's O2-CO2 line."""
    slope = (fuel.co2_max_pct - CO2_AIR_PCT) / O2_AIR_PCT
    widest = max(o2["absolute"], o2["relative_pct"] / 100 * O2_AIR_PCT)
    return {"absolute": widest * slope, "relative_pct": 0.0}


def _adjuster(sheet: Mapping[str, Any], adjuster: Mapping[str, Any]) -> Row:
    turn, allowed = adjuster.get("raises_co2"), adjuster.get("field_adjustment") or "allowed"
    if turn not in TURNS:
        raise ValueError(f"which way raises CO2 must be clockwise or counter-clockwise, not {turn!r}")
    if allowed not in ("allowed", "check only"):
        raise ValueError(f"field adjustment is allowed or check only, not {allowed!r}")
    if adjuster.get("rate") not in (*rates(sheet), "any"):
        raise ValueError(f"the adjuster's rate {adjuster.get('rate')!r} is not one of the sheet's rates")
    texts = {name: str(adjuster.get(name) or "") for name in ("name", "place", "tool", "who", "reseal", "largest_step")}
    return texts | {
        "rate": adjuster["rate"],
        "raises_co2": turn,
        "sealed": bool(adjuster.get("sealed")),
        "field_adjustment": allowed,
    }
