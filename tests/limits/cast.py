"""The small cast of the limits tests.

The check set-up (natural gas, premix condensing, high fire target 9.2 % CO2, low fire 9.0 %, one adjuster raising
CO2 anticlockwise at high fire, the other clockwise at low fire) is common practice, no source: tests only.
"""

import json
from pathlib import Path

from fleet.combustion import FUELS
from fleet.limits import Verdict, card
from fleet.limits.quantities import label
from fleet.presentation.verdicts import reason_words

FIXTURES = Path(__file__).parents[2] / "fixtures"
LIMIT_SETS = {
    entry["id"]: {**entry, "version": "1"}
    for entry in json.loads((FIXTURES / "reference" / "limit_sets.json").read_text())["profiles"]
}

STOP_LEVELS = {
    "id": "stop",
    "version": "1",
    "co_ppm_air_free": 400,
    "ambient_co_ppm": 30,
    "ambient_co_rise_ppm": 5,
    "co_rising_above_ppm": 100,
    "evidence": "own",
}
ANALYSER = {
    "id": "an1",
    "name": "analyser 1",
    "measures": ["o2", "co"],
    "co2": "calculated",
    "accuracy": {"o2": {"absolute": "0.3"}, "co": {"absolute": 20, "relative_pct": 5}},
}


def target(rate="high", value="9.2", tolerance="0.2", basis="points", **more):
    return {
        "rate": rate,
        "quantity": "co2",
        "value": value,
        "tolerance": tolerance,
        "tolerance_basis": basis,
        "casing": "any",
    } | more


def order_rule(higher="high", lower="low", **more):
    return {"quantity": "co2", "higher_rate": higher, "lower_rate": lower, "source_text": "sheet, page 3"} | more


def adjuster(rate, turn, **more):
    return {
        "name": f"{rate} fire screw",
        "place": "gas valve",
        "tool": "a hex key",
        "raises_co2": turn,
        "rate": rate,
        "sealed": False,
        "who": "",
        "field_adjustment": "allowed",
        "reseal": "",
        "largest_step": "1/4 turn",
    } | more


def sheet(**more):
    return {
        "id": "sheet-1",
        "version": "2",
        "name": "premix sheet",
        "fuel": "natural_gas",
        "control": "pneumatic_ratio",
        "condensing": True,
        "rated_input_kw": "24",
        "minimum_input_kw": "5",
        "input_basis": "net",
        "rates": ["high", "low"],
        "targets": [target(), target("low", "9.0")],
        "ceilings": [{"quantity": "co_ppm_air_free", "value": "350", "unit": "ppm", "rate": "any", "action": "off"}],
        "adjusters": [adjuster("high", "anticlockwise"), adjuster("low", "clockwise")],
    } | more


def make_card(*sets, the_sheet=None, analyser=ANALYSER, fuel="natural_gas", stop_levels=STOP_LEVELS, facts=None):
    """A card of the check sheet with the limit sets named by id or given whole."""
    chosen = [LIMIT_SETS[one] if isinstance(one, str) else one for one in sets]
    page = sheet() if the_sheet is None else the_sheet
    return card(page, chosen, analyser, fuel=FUELS[fuel], stop_levels=stop_levels, facts=facts)


def one_limit_set(decision_rule="simple", **limit):
    """A reviewed set of one limit: CO as measured, not over 100 ppm, any rate, unless told otherwise."""
    row = {
        "id": "one",
        "quantity": "co",
        "unit": "ppm",
        "basis": "as_measured",
        "firing_rate": "any",
        "when": "any",
        "fires_when": {"op": ">", "value": 100.0},
        "limit_text": "<= 100.0",
        "severity": "adjust",
        "action": "adjust",
        "evidence": "official_text_read",
    } | limit
    return {
        "id": "set-1",
        "version": "3",
        "name": "test set",
        "evidence": "official_text_read",
        "status": "reviewed",
        "reviewed_by": "a named person",
        "decision_rule": decision_rule,
        "limits": [row],
    }


def reading(**more):
    """A plain reading at high fire, proven, casing closed, at the appliance outlet."""
    return {
        "key": "r1",
        "rate": "high",
        "phase": "as_found",
        "casing": "closed",
        "sampling_point": "appliance_outlet",
        "rate_proven": True,
        "invalid": False,
        "taken_order": 1,
        "qualifiers": {},
        "o2_pct": None,
        "co2_pct": 9.2,
        "co_ppm": 40.0,
    } | more


def of(verdicts, **wanted):
    """The verdicts whose fields are as wanted."""
    return [v for v in verdicts.verdicts if all(getattr(v, name) == value for name, value in wanted.items())]


def the(verdicts, **wanted):
    (only,) = of(verdicts, **wanted)
    return only


def make_verdict(**fields):
    """A verdict with these fields; none of the others says anything."""
    silent = {"label": ["co", {}], "reasons": [], "stop": False, "asks": ""}
    return Verdict(dict.fromkeys(Verdict.__dataclass_fields__) | silent | fields)


def needs_words(needs, quantity="co", basis=None):
    """What a row without a measure needs, as its verdict says it."""
    return reason_words(make_verdict(label=label(quantity, basis), reasons=[needs] if needs else []))
