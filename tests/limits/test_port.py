"""The evaluator in another language: tests/limits/port.js gives the very same verdicts in a browser.

Both calculate in doubles with the same operations in the same order, so values are compared to the last bit.
"""

import json
import math
import random
import shutil
from collections.abc import Iterator
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from fleet.limits import Card, evaluate
from fleet.limits.cases import read_cases
from fleet.presentation.verdicts import REASONS, reason_words
from tests.limits.cast import (
    ANALYSER,
    LIMIT_SETS,
    STOP_LEVELS,
    adjuster,
    make_card,
    one_limit_set,
    order_rule,
    reading,
    sheet,
    target,
)
from tests.needs import needs_program

PORT = Path(__file__).parent / "port.js"
LARGEST_PORT_LINES, LONGEST_LINE = 195, 120
VISITS = 500
# What the tests of orders have: two plain rates in one phase are seldom drawn.
NOT_DRAWN = {"different_casings", "needs_carbon"}
DERIVED = ("key", "derived", "o2_pct", "co2_pct", "co_ppm_air_free", "co_co2_ratio", "excess_air_ratio")
ASKED = (
    *("kind", "set_id", "limit_id", "quantity", "reading_key", "rate", "phase"),
    *("value", "qualifier", "outcome", "reasons", "stop", "rank"),
)

EXACT = {
    "id": "an2",
    "name": "analyser 2",
    "measures": ["o2", "co2", "co", "nox"],
    "co2": "measured",
    "accuracy": {
        **{gas: {"absolute": "0.2", "relative_pct": "3"} for gas in ("o2", "co2")},
        **{gas: {"absolute": 5, "relative_pct": 5} for gas in ("co", "nox", "ambient_co")},
        "flue_loss": {"absolute": 0.5},
    },
}
SHEETS = {
    "the check sheet": sheet(),
    "one rate, in O2": sheet(
        rates=["single"],
        targets=[target("single", "5.0", "0.3", quantity="o2")],
        adjusters=[adjuster("single", "clockwise")],
    ),
    "both casings": sheet(targets=[target(casing="closed"), target(value="9.4", casing="open")]),
    "a range": sheet(targets=[target(value=None, tolerance=None, basis="range", lower="8.8", upper="9.4")]),
    "an order": sheet(order_rules=[order_rule(least_gap="0.2"), order_rule("low", "high", quantity="o2")]),
    "ceilings": sheet(
        condensing=False,
        ceilings=[
            {"quantity": "co_co2_ratio", "value": "0.004", "unit": "1", "rate": "high"},
            {"quantity": "smoke", "value": "1", "unit": "1", "rate": "any"},
            {"quantity": "nox", "value": "60", "unit": "ppm", "rate": "low"},
        ],
    ),
    "none": {},
}
RULES = ("simple", "guarded", "subtract_uncertainty", "add_uncertainty")
BASES = (
    {"unit": "ppm", "basis": "as_measured"},
    {"unit": "mg/m3", "basis": "dry_at_3_pct_o2"},
    {"unit": "ppm", "basis": "undiluted"},
    {"quantity": "co_co2_ratio", "unit": "1", "fires_when": {"op": ">=", "value": 0.008}},
    {"quantity": "co_co2_ratio", "unit": "1", "fires_when": {"op": "between", "value": [0.004, 0.008]}},
    {"quantity": "co2", "unit": "%", "fires_when": {"op": "outside", "value": [8.8, 9.4]}, "firing_rate": "high"},
    {"quantity": "excess_air_ratio", "unit": "1", "fires_when": {"op": "<", "value": 1.2}},
    {"quantity": "oil_derivatives", "unit": None, "fires_when": {"op": "!=", "value": "none"}},
    {"quantity": "co_and_o2_pair", "unit": None, "fires_when": {"op": "missing", "value": None}},
    {"select": {"new_plant": True}, "severity": "shut_down"},
    {"quantity": "gas_colour"},
    {"basis": "qa"},
    {"unit": "lb/MMBtu"},
    {"fires_when": {"op": "<", "value": "least_share_pct"}},
)
FACTS = {"output_kw": 24, "appliance": "boiler", "vent": "natural_draft", "vent_state": "warm"}
# What readings are drawn from: plain figures, figures on a limit, and whatever makes a reading odd.
FIGURES = {
    "o2_pct": [None, None, 3.0, 4.9, 5.0, 11.0, 17.9, 18.0, 18.6, 20.9, -0.1, math.nan],
    "co2_pct": [None, None, 8.5, 8.75, 8.8, 9.0, 9.2, 9.4, 9.41, 11.9, 14.0, 0.0, math.nan],
    "co_ppm": [None, 0, 5.0, 40.0, 99.0, 100.0, 120.0, 131.3, 350.0, 360.0, 400.0, 401.0, 720.0, 2000.0, math.nan],
    "nox_ppm": [None, 20.0, 60.0, 61.0],
    "ambient_co_ppm": [None, 0.0, 4.0, 9.0, 30.0, 70.0],
    "ambient_co_before_ppm": [None, 0.0, 4.0],
    "smoke_spot": [None, 1.0, 1.4, 1.5, 2.0],
    "spillage_min": [None, 3.0, 5.0, 5.1],
    "flue_loss_pct": [None, 9.0, 9.4, 9.6, 11.2],
    "efficiency_pct_net": [None, 89.9, 92.0],
    "flue_temp_c": [None, 60.0],
    "oil_derivatives": [None, True, False, "none"],
    "flame": [None, "stable", "unstable"],
}
# Of the reading by its number: nothing, work on all, an adjuster of the sheet, one that it doesn't name.
WORK_AFTER = ([], None, [""], ["high fire screw"], ["throttle"])
STATES = {
    "rate": ["high", "high", "low", "single", "middle", None],
    "phase": ["as_found", "as_left", "as_left", "between"],
    "casing": ["closed", "closed", "open", None],
    "sampling_point": ["appliance_outlet"] * 5 + ["common_flue", "room"],
    "rate_proven": [True, True, True, False, None],
    "invalid": [False, False, False, False, True],
    "steady": [None, True, True, False],
    "adjusted_before": [False, None, True],
    "qualifiers": [
        *({}, {}, {}, None),
        *({"co": "more_than"}, {"co_ppm": "less_than"}, {"o2_pct": "sensor_fault"}, {"co2": "not_measured"}),
        *({"co2": "less_than"}, {"o2_pct": "more_than"}, {"nox": "="}, {"co": "sensor_fault", "co_ppm": "="}),
    ],
}


def cards() -> Iterator[dict]:
    """All sets alone and together, on several sheets; each rule on each basis; other fuels, stop levels, no
    analyser.
    """
    for set_id in LIMIT_SETS:
        yield make_card(set_id, facts=FACTS)
    for page, analyser in product(SHEETS.values(), (ANALYSER, EXACT, None)):
        yield make_card("uk-bs7967-in-service", "us-epa-5d-annual", the_sheet=page, analyser=analyser)
    for rule, basis in product(RULES, BASES):
        yield make_card(one_limit_set(rule, **basis), the_sheet=SHEETS["an order"], analyser=EXACT)
    for fuel in ("propane", "light_oil", "methane"):
        yield make_card(*LIMIT_SETS, fuel=fuel, facts=FACTS | {"new_plant": True, "burner": "atomising"})
    yield make_card(*LIMIT_SETS, the_sheet=SHEETS["an order"], analyser=EXACT, facts=FACTS)
    yield make_card(stop_levels={**STOP_LEVELS, "co_ppm_air_free": 9000, "spillage_min": 0, "co_rise_ppm": 2})


def visit(draw: random.Random) -> list[dict]:
    """One to five readings in any order; fields are sometimes missing altogether."""
    numbers = list(range(draw.randint(1, 5)))
    draw.shuffle(numbers)
    return [_reading(draw, number) for number in numbers]


def _reading(draw: random.Random, number: int) -> dict:
    plain = draw.random() < 0.5
    figures = {name: draw.choice(values) for name, values in FIGURES.items()}
    states = {} if plain else {name: draw.choice(values) for name, values in STATES.items()}
    said = reading(key=f"r{number}", taken_order=number, rate=draw.choice(["high", "low"])) | figures | states
    said["work_after"] = WORK_AFTER[number]
    missing = [
        name for name in said if name not in ("key", "taken_order", "work_after") and not plain and draw.random() < 0.08
    ]
    return {name: value for name, value in said.items() if name not in missing}


@cache
def drawn() -> tuple[list[Card], list[tuple[int, list[dict]]]]:
    """The cards, and visits with the number of the card that each is judged by."""
    draw, made = random.Random(7), list(cards())
    return made, [(number % len(made), visit(draw)) for number in range(VISITS)]


def as_sent(value: object) -> object:
    """What isn't a number travels as null."""
    if isinstance(value, dict):
        return {name: as_sent(each) for name, each in value.items()}
    if isinstance(value, list):
        return [as_sent(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def said_here(card: Card, readings: list[dict]) -> dict:
    said = evaluate(card, readings)
    derived = [{name: each.get(name) for name in DERIVED} for each in read_cases(card, readings)]
    return {
        "stop": said.stop,
        "verdicts": [{name: getattr(verdict, name) for name in ASKED} for verdict in said.verdicts],
        "derived": derived,
    }


@pytest.fixture(scope="module")
def said_there() -> list[dict]:
    """What the port says of all visits, in one call."""
    needs_program("chromium")
    made, visits = drawn()
    sent = {
        "cards": [each.as_json() for each in made],
        "visits": [{"card": card, "readings": as_sent(readings)} for card, readings in visits],
    }
    judge = """(text) => {
        const sent = JSON.parse(text);
        return JSON.stringify(sent.visits.map((each) => evaluate(sent.cards[each.card], each.readings)));
    }"""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page()
        page.add_script_tag(content=PORT.read_text())
        answer = page.evaluate(judge, json.dumps(sent, allow_nan=False))
        browser.close()
    return json.loads(answer)


def test_the_port_gives_the_same_verdicts_in_the_same_order_to_the_last_bit(said_there: list[dict]) -> None:
    made, visits = drawn()
    for (card, readings), there in zip(visits, said_there, strict=True):
        assert there == said_here(made[card], readings), readings


def test_the_visits_reach_every_kind_of_row_and_every_outcome() -> None:
    made, visits = drawn()
    said = [verdict for card, readings in visits for verdict in evaluate(made[card], readings).verdicts]
    outcomes = product(("band", "ceiling", "limit", "stop_level"), ("outside", "not_judged", "within"))
    met = {(verdict.kind, verdict.outcome) for verdict in said}
    assert met >= {*outcomes, ("limit", "cannot_tell"), ("order", "outside"), ("order", "within")}
    assert {verdict.qualifier for verdict in said} == {"=", "more_than", "less_than", "at_least", "not_measured"}
    assert {verdict.decision_rule for verdict in said if verdict.outcome == "cannot_tell"} >= {"guarded"}


def test_the_visits_reach_every_reason_and_each_is_said() -> None:
    made, visits = drawn()
    said = [verdict for card, readings in visits for verdict in evaluate(made[card], readings).verdicts]
    assert {code for verdict in said for code, _figures in verdict.reasons} == set(REASONS) - NOT_DRAWN
    assert all(reason_words(verdict) for verdict in said if verdict.reasons)


def test_the_port_stays_small() -> None:
    lines = PORT.read_text().splitlines()
    assert len(lines) <= LARGEST_PORT_LINES
    assert max(map(len, lines)) <= LONGEST_LINE
