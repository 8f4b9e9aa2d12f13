"""What the pages' tests look at: a boiler with its history, and the same of a client that nobody of ours may see."""

from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from fleet.assess.foresight.forecasts import told_figures
from fleet.models import Analyser, Appliance, Client, Flag, Forecast, Person, Snapshot, User, Visit
from fleet.services.required_checks import add_required_check
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, make_appliance, make_building, store, visit_body


@dataclass(frozen=True)
class Foreign:
    """A client, a building, an appliance, a visit and a flag of somebody else."""

    client: Client
    appliance: Appliance
    visit: Visit
    flag: Flag


def add_yearly_required_check(appliance: Appliance, actor: User) -> None:
    values = {"appliance": appliance, "name": "Yearly check", "source": "contract", "since": NOON.date()}
    values |= {"rule": {"type": "max_months", "months": 12}, "why": "signed"}
    add_required_check(values=values, actor=actor, now=NOON)


def add_undecided_required_check(appliance: Appliance, actor: User, since: date) -> None:
    """Twelve or twenty-four months from `since`, by a fact that nobody has recorded."""
    rule = {"type": "max_months", "months": 24, "variants": [{"select": {"age_of_flue_ge": 10}, "months": 12}]}
    values = {"appliance": appliance, "name": "By flue", "source": "contract", "rule": rule, "why": "signed"}
    add_required_check(values=values | {"since": since}, actor=actor, now=NOON)


def visited(appliance: Appliance, person: Person, analyser: Analyser, actor: User, **changes: Any) -> Visit:
    """A visit, and all that follows from it, done at once."""
    visit = store(visit_body(appliance, person, analyser, **changes), actor)
    refresh_appliance(appliance=appliance, now=NOON)
    return visit


def called_unsafe(appliance: Appliance, person: Person, analyser: Analyser, actor: User) -> Flag:
    body = visit_body(appliance, person, analyser, left=None)
    details = {"reason": "spilling into the room", "told": "the caretaker", "labelled": True}
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": details}
    visit = store(body, actor)
    return Flag.objects.get(visit=visit, kind="unsafe")


def may_be_outside(appliance: Appliance, forecast: Forecast, chance: float = 0.42) -> Flag:
    """A drift flag on a forecast that rests on the appliance's own record."""
    Snapshot.objects.filter(id=forecast.snapshot_id).update(from_assumptions=False, series_count=40)
    Forecast.objects.filter(id=forecast.id).update(basis="its own record")
    return Flag.objects.create(
        appliance=appliance,
        kind=Flag.Kind.DRIFT,
        key=f"{forecast.rate} {forecast.quantity}",
        figures={"chance": chance, "flag_at": 0.3, "planned": "2027-03-01", "forecast": asdict(told_figures(forecast))},
        opened_at=NOON,
        updated_at=NOON,
    )


def make_foreign(boiler: Appliance, person: Person, analyser: Analyser, actor: User) -> Foreign:
    client = Client.objects.create(name="Somebody Else")
    appliance = make_appliance(make_building(client, "Far House"), boiler.sheet, "Far boiler")
    flag = called_unsafe(appliance, person, analyser, actor)
    assert flag.visit is not None
    return Foreign(client, appliance, flag.visit, flag)


def more_of_the_same(boiler: Appliance, person: Person, analyser: Analyser, actor: User, count: int) -> list[Appliance]:
    """Further buildings, each with an appliance, a required check, two visits and what follows from them."""
    made = []
    for number in range(count):
        building = make_building(boiler.building.client, f"House {number}")
        appliance = make_appliance(building, boiler.sheet, f"Boiler {number}")
        add_yearly_required_check(appliance, actor)
        visited(appliance, person, analyser, actor, day="2026-02-02", left=("10.30", "9.10"))
        visited(appliance, person, analyser, actor, day=f"{NOON - timedelta(days=1):%Y-%m-%d}", left=("10.30", "9.10"))
        made.append(appliance)
    return made
