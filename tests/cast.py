"""The small cast of every test: one contractor, a few users, one building, one boiler, and a visit to it."""

import copy
import uuid
from datetime import UTC, date, datetime
from typing import Any

from fleet.assess.due.required_checks import with_facts
from fleet.intake.sheets import read_sheet
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Client,
    ModelSheet,
    Person,
    RequiredCheck,
    Revisit,
    Role,
    User,
    Visit,
)
from fleet.models.register import new_id
from fleet.services.appliances import add_sheet_version
from fleet.services.register import add_calibration, add_qualification
from fleet.services.required_checks import recompute_required_checks
from fleet.services.revisits import propose_revisits
from fleet.services.visits import record_visit

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)

SHEET: dict[str, Any] = {
    "fuel": "natural_gas",
    "control": "pneumatic_ratio",
    "condensing": True,
    "rated_input_kw": "60",
    "minimum_input_kw": "12",
    "input_basis": "net",
    "rated_output_kw": "58",
    "rates": ["high", "low"],
    "targets": [
        {"rate": "high", "quantity": "co2", "value": "9.4", "tolerance": "0.3", "tolerance_basis": "points"},
        {"rate": "low", "quantity": "co2", "value": "9.1", "tolerance": "0.3", "tolerance_basis": "points"},
    ],
    "ceilings": [
        {"quantity": "co_ppm_air_free", "value": "250", "unit": "ppm", "rate": "any", "action": "Find the cause"}
    ],
    "adjusters": [
        {"name": "ratio screw", "raises_co2": "anticlockwise", "rate": "high", "field_adjustment": "allowed"},
        {"name": "offset screw", "raises_co2": "clockwise", "rate": "low", "field_adjustment": "allowed"},
    ],
    "source": "invented for tests",
}  # fmt: skip


for _target in SHEET["targets"]:
    _target["casing"] = "closed"


# The technician's own answers to what required checks ask for and nothing else in a record holds.
INSPECTION_POINTS: dict[str, Any] = {
    "owner_or_agent": "Weir Trust, 3 Test Lane",
    "appliance_location": "plant room",
    "customer_acknowledgement": "received",
    "combustion_air_ok": True,
    "flue_ok": "sound, no spillage",
    "safe_functioning": "flame supervision and limits tried",
    "combustion_in_lieu": "no test point on the valve",
    "inspections": True,
    "defects": "none",
}


def make_user(username: str, role: str, *, sees_all_clients: bool = True) -> User:
    """Somebody who can log in, by a password that nobody knows."""
    user = User(username=username, role=role, sees_all_clients=sees_all_clients, last_name=username, password="known")
    user.save()
    return user


def make_person(name: str, user: User | None, actor: User, *, valid_to: str = "2030-12-31") -> Person:
    person = Person.objects.create(name=name, user=user)
    content = {"scheme": "trade register", "number": "Q-1", "fuel_kinds": ["gas", "oil"]}
    content |= {"valid_from": "2015-01-01", "valid_to": valid_to}
    add_qualification(person=person, content=content, actor=actor, now=NOON, id=new_id())
    return person


def make_analyser(actor: User, *, co2: str = "calculated", valid_to: str = "2030-12-31") -> Analyser:
    accuracy = {"o2": {"absolute": 0.3}, "co": {"absolute": 20, "relative_pct": 5}, "flue_temp": {"absolute": 2}}
    analyser = Analyser.objects.create(
        name="Analyser 1", serial="A-1", measures=["o2", "co", "flue_temp", "air_temp"], co2=co2, accuracy=accuracy
    )
    content = {
        "done_on": "2015-01-10",
        "valid_to": valid_to,
        "certificate": "C-1",
        "by": "a laboratory",
        "passed": True,
    }
    add_calibration(analyser=analyser, content=content, actor=actor, now=NOON, id=new_id())
    return analyser


def make_sheet(actor: User, content: dict[str, Any] | None = None, name: str = "Test sheet") -> ModelSheet:
    sheet = ModelSheet.objects.create(name=name)
    add_sheet_version(sheet=sheet, content=read_sheet(content or SHEET), actor=actor, now=NOON, id=new_id())
    return sheet


def make_building(client: Client, name: str = "Weir House", **values: Any) -> Building:
    return Building.objects.create(client=client, name=name, address="1 Test Lane", time_zone="Europe/Lisbon", **values)


def make_appliance(building: Building, sheet: ModelSheet | None, name: str = "Boiler 1", **values: Any) -> Appliance:
    values = {"serial": "S-100", "in_service_from": date(2015, 1, 1)} | values
    return Appliance.objects.create(building=building, sheet=sheet, name=name, **values)


def measured(value: str, unit: str, qualifier: str = "=") -> dict[str, str]:
    return {"value": value, "unit": unit, "qualifier": qualifier}


def reading(
    phase: str,
    rate: str,
    minute: int,
    *,
    day: str = "2026-03-02",
    co2: str | None = None,
    co: str = "40",
    **changes: Any,
) -> dict[str, Any]:
    values = {
        "co": measured(co, "ppm"),
        "flue_temp": measured("58.0", "degC"),
        "air_temp": measured("20.0", "degC"),
        "ambient_co": measured("0", "ppm"),
    }
    if co2 is not None:
        values["co2"] = measured(co2, "%")
    full = {
        "phase": phase,
        "rate": rate,
        "rate_set_by": "service_mode",
        "rate_proven_by": "display",
        "casing": "closed",
        "sampling_point": "appliance_outlet",
        "taken_at": f"{day}T10:{minute:02d}:00+00:00",
        "time_precision": "minute",
        "analyser": changes.pop("analyser", ""),
        "person": changes.pop("person", ""),
        "values": values | changes.pop("values", {}),
    }
    return full | changes


def visit_body(
    appliance: Appliance,
    person: Person,
    analyser: Analyser,
    *,
    day: str = "2026-03-02",
    found: tuple[str, str] = ("8.90", "9.10"),
    left: tuple[str, str] | None = ("9.40", "9.10"),
    co: str = "40",
) -> dict[str, Any]:
    """A visit as the phone sends it: CO2 found and left at high and low fire, the ratio screw turned between."""
    who = {"analyser": str(analyser.id), "person": str(person.id)}
    readings = [
        reading("as_found", "high", 5, day=day, co2=found[0], co=co, **who),
        reading("as_found", "low", 12, day=day, co2=found[1], co=co, **who),
    ]
    work = []
    if left is not None:
        work = [{"kind": "adjustment", "after_reading": 2, "adjuster": "ratio screw", "rate": "high",
                 "direction": "anticlockwise", "amount": "1/8 turn"}]  # fmt: skip
        readings += [
            reading("as_left", "high", 22, day=day, co2=left[0], co=co, **who),
            reading("as_left", "low", 30, day=day, co2=left[1], co=co, **who),
        ]
    return {
        "schema": "visit/1",
        "id": str(new_id()),
        "attendance": {
            "id": str(uuid.uuid4()),
            "building": str(appliance.building_id),
            "arrived_at": f"{day}T09:45:00+00:00",
            "left_at": f"{day}T11:00:00+00:00",
            "people": [str(person.id)],
        },
        "appliance": str(appliance.id),
        "outcome": "tested",
        "data_plate": {"confirmed": True, "serial_seen": appliance.serial},
        "conditions": {"ambient_co_before": measured("0", "ppm"), "ambient_co_after": measured("0", "ppm")},
        "readings": readings,
        "work": work,
        "left_as_found": left is None,
        "restore_steps": [{"step": "test port refitted", "answer": "done"}],
        "disposition": {"state": "left_in_use"},
        "inspection_points": INSPECTION_POINTS,
        "signature": {"person": str(person.id), "at": f"{day}T10:58:00+00:00"},
    }


def store(body: dict[str, Any], actor: User, now: datetime = NOON) -> Visit:
    return record_visit(draft=read_visit(copy.deepcopy(body)), actor=actor, now=now)


ROLES = (Role.TECHNICIAN, Role.DISPATCHER, Role.MANAGER, Role.AUDITOR)


def propose_revisit(*, appliance: Appliance, now: datetime) -> Revisit | None:
    """The one proposal of an appliance, made anew."""
    propose_revisits(appliances=[appliance], now=now)
    return Revisit.objects.filter(appliance=appliance).first()


def calculated(required_check: RequiredCheck, today: date) -> RequiredCheck:
    """The required check as it stands once it was calculated on that day."""
    noon = datetime.combine(today, NOON.timetz())
    return recompute_required_checks(
        required_checks=with_facts(RequiredCheck.objects.filter(id=required_check.id)), now=noon
    )[0]
