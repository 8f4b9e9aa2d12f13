"""Visits for the papers' tests: an ordinary one, an unsafe one, one judged by many sets, and others at the edges."""

import copy
from datetime import UTC, date, datetime
from typing import Any

from fleet.assess.judging.visit_facts import VisitFacts
from fleet.assess.statements import Statement
from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, Building, LimitSet, Person, User, Visit
from fleet.queries.statements import statement_for
from fleet.queries.visits import visit_for
from fleet.services.judgements import judge_visit
from fleet.services.limit_sets import assign_limit_set
from fleet.services.required_checks import add_required_check
from fleet.services.visits import amend_visit
from tests.cast import NOON, make_appliance, make_building, measured, store, visit_body

JULY = datetime(2026, 7, 5, 12, 0, tzinfo=UTC)
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
        assign_limit_set(values=values, actor=actor, now=NOON)


def with_values(body: dict[str, Any], number: int, **values: Any) -> None:
    """Put figures into one reading of the body."""
    body["readings"][number]["values"] |= values


def unsafe(body: dict[str, Any]) -> dict[str, Any]:
    """High CO beyond the instrument's range as found at high fire: stopped, isolated, labelled, told."""
    with_values(body, 0, co=measured("4000", "ppm", "more_than"), ambient_co=measured("38", "ppm"))
    body["readings"] = body["readings"][:1]
    body["readings"][0]["steadiness"] = "not_steady"
    told = "P. Example, caretaker"
    details = {"isolated": True, "labelled": True, "told": told, "reason": "CO over range at high fire, sooted flue"}
    return body | {
        "outcome": "partly_tested",
        "outcome_reason": "stopped for safety",
        "work": [],
        "not_done": [
            {"rate": "low", "phase": "as_found", "why": "stopped for safety"},
            {"rate": "high", "phase": "as_left", "why": "stopped for safety"},
        ],
        "defects": [
            {"what": "Flue joint open behind the case", "where": "first elbow", "severity": "unsafe",
             "action": "Gas shut off at the appliance, label tied on", "repair_by": "2026-03-09", "told": told},
            {"what": "Case seal worn", "severity": "repair"},
        ],
        "restore_steps": [
            {"step": "test port refitted", "answer": "done"},
            {"step": "one normal start and stop watched", "answer": "not_done", "why": "isolated"},
            {"step": "condensate trap filled", "answer": "does_not_apply"},
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


def many_appliances(boiler: Appliance, person: Person, analyser: Analyser, actor: User) -> list[Appliance]:
    """Twelve appliances of one client in two buildings: tested, late, unsafe, left outside, never tested, gone."""
    sheet, client = boiler.sheet, boiler.building.client
    other = make_building(client, name="Alder House")
    made = [boiler]
    for number in range(2, 13):
        place = boiler.building if number < 7 else other
        gone = {"in_service_to": date(2026, 2, 10)} if number == 12 else {}
        made.append(make_appliance(place, sheet, name=f"Boiler {number}", serial=f"S-{100 + number}", **gone))
    for number, appliance in enumerate(made[:10]):
        day = f"2026-0{1 + number % 3}-1{number % 9}"
        body = visit_body(appliance, person, analyser, day=day)
        if number == 3:
            body = unsafe(body)
        if number == 4:
            body = visit_body(appliance, person, analyser, day=day, left=("8.60", "9.10"))
        store(body, actor, datetime.fromisoformat(f"{day}T12:00:00+00:00"))
    return made


def twelve(boiler: Appliance, person: Person, analyser: Analyser, actor: User) -> Statement:
    """The statement for the client of those twelve, two sets attached, for the first half of 2026."""
    many_appliances(boiler, person, analyser, actor)
    for building in Building.objects.all():
        for key in ("demo-neutral", "us-nj-7-27-19-16"):
            values = {"limit_set": LimitSet.objects.get(key=key), "building": building}
            values |= {"since": date(2025, 3, 1), "why": "for the test"}
            assign_limit_set(values=values, actor=actor, now=JULY)
    for visit in Visit.objects.all():
        judge_visit(visit=visit, now=NOON)
    manufacturer = {"type": "max_months", "months": 3}
    for appliance in Appliance.objects.filter(name__in=("Boiler 1", "Boiler 7")):
        values = {
            "appliance": appliance,
            "name": "the manufacturer's service",
            "source": "manufacturer",
            "rule": manufacturer,
        }
        values |= {"since": date(2026, 1, 1), "why": "asked for by the manufacturer"}
        add_required_check(values=values, actor=actor, now=JULY)
    return statement_for(
        actor,
        client_id=boiler.building.client_id,
        begins=date(2026, 1, 1),
        ends=date(2026, 6, 30),
        today=date(2026, 7, 5),
    )


def corrected(body: dict[str, Any], technician: User, manager: User) -> VisitFacts:
    """A visit with two corrections, a second analyser and person that nobody knows, and much for the office."""
    body = body | {"note": "Plate hard to read; φωτογραφία taken. Ключ у сторожа."}
    body["readings"][2] |= {"analyser": "borrowed one", "person": "somebody else", "steadiness": "not_steady"}
    body["data_plate"] = {"confirmed": False, "serial_seen": "S-10O"}
    visit = store(body, technician)
    reasons = ((14, "CO at low fire was typed into the wrong field"), (16, "the photo shows 9.3"))
    for version, (hour, reason) in enumerate(reasons, start=1):
        with_values(body, 2, co2=measured(f"9.{hour}", "%"))
        draft = read_visit(copy.deepcopy(body))
        amend_visit(draft=draft, reason=reason, version=version, actor=manager, now=NOON.replace(hour=hour))
    return visit_for(manager, visit.id)
