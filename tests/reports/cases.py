"""Visits for the papers' tests: an ordinary one, an unsafe one, one judged by many sets, and others at the edges."""

from datetime import date
from typing import Any

from fleet.models import Appliance, LimitSet, User
from fleet.queries.visits import VisitFacts, visit_for
from fleet.services.limits import attach_limit_set
from tests.cast import NOON, measured, store

KNOWN_ON = date(2026, 3, 5)
MANY_SETS = (
    "us-nyc-dep-tuneup",
    "us-residential-co-safety",
    "us-trade-co-practice",
    "uk-condensing-commissioning",
    "uk-bs7967-in-service",
    "de-1bimschv",
    "de-kueo-co",
    "eu-mcpd",
    "demo-neutral",
)


def paper_facts(body: dict[str, Any], actor: User) -> VisitFacts:
    """The visit stored, and all that its paper is made from."""
    visit = store(body, actor)
    return visit_for(actor, visit.id)


def attach(keys: tuple[str, ...], appliance: Appliance, actor: User) -> None:
    for key in keys:
        values = {"limit_set": LimitSet.objects.get(key=key), "building": appliance.building}
        values |= {"since": date(2020, 1, 1), "why": "for the test"}
        attach_limit_set(values=values, actor=actor, now=NOON)


def with_values(body: dict[str, Any], number: int, **values: Any) -> None:
    """Put figures into one reading of the body."""
    body["readings"][number]["values"] |= values


def unsafe(body: dict[str, Any]) -> dict[str, Any]:
    """High CO beyond the instrument's range as found at high fire: stopped, isolated, labelled, told."""
    with_values(body, 0, co=measured("4000", "ppm", "more than"), ambient_co=measured("38", "ppm"))
    body["readings"] = body["readings"][:1]
    body["readings"][0]["steadiness"] = "not steady"
    told = "P. Example, caretaker"
    details = {"isolated": True, "labelled": True, "told": told, "reason": "CO over range at high fire, sooted flue"}
    return body | {
        "outcome": "partly tested",
        "outcome_reason": "stopped for safety",
        "work": [],
        "not_done": [
            {"rate": "low", "phase": "as found", "why": "stopped for safety"},
            {"rate": "high", "phase": "as left", "why": "stopped for safety"},
        ],
        "defects": [
            {"what": "Flue joint open behind the case", "where": "first elbow", "severity": "unsafe",
             "action": "Gas shut off at the appliance, label tied on", "mend_by": "2026-03-09", "told": told},
            {"what": "Case seal worn", "severity": "mend"},
        ],
        "checklist": [
            {"step": "test port refitted", "answer": "done"},
            {"step": "one normal start and stop watched", "answer": "not done", "why": "isolated"},
            {"step": "condensate trap filled", "answer": "does not apply"},
        ],
        "disposition": {"state": "isolated", "unsafe": True, "details": details},
        "note": "Caretaker sent everybody out of the basement; windows opened.",
    }  # fmt: skip


def full(body: dict[str, Any]) -> dict[str, Any]:
    """As many quantities as one visit may carry, and a timed gas rate."""
    for number in range(4):
        with_values(
            body,
            number,
            o2=measured("4.6", "%"),
            nox=measured("62", "ppm"),
            draught=measured("-0.12", "hPa"),
            gas_pressure_working=measured("19.8", "mbar"),
            flow_temp=measured("60", "degC"),
            return_temp=measured("45", "degC"),
            co=measured("310" if number == 0 else "65", "ppm"),
        )
    rate = {"index_start": "100.000", "index_end": "100.210", "unit": "m3", "seconds": "120"}
    body["readings"][0]["gas_rate"] = rate | {"heating_value_mj_m3_gross": "39.5"}
    body["readings"][2]["steadiness"] = "steady"
    body["conditions"] |= {"outdoor_temp": measured("4", "degC"), "barometric_pressure": measured("1009", "hPa")}
    return body
