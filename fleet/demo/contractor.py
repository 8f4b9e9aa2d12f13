"""The invented contractor as it begins: its people and their log-ins, clients, buildings, instruments and rules."""

import secrets
from datetime import date, datetime, timedelta

from django.db.models import prefetch_related_objects

from fleet.demo.places import CLIENTS, PLACES, SCHOOLS, STREETS, Place
from fleet.demo.rules import apply_rules
from fleet.demo.sheets import KINDS, Kind
from fleet.demo.simulation import ANALYSER_SD, TOWN_ZONE, Life, begin_life
from fleet.demo.town import LAPSED, LAPSED_DAYS, OLDER_YEARS, YEAR, Account, Member, Town
from fleet.intake.sheets import read_sheet
from fleet.models import Analyser, Appliance, Building, Client, FlueGroup, ModelSheet, Person, Role, User
from fleet.models.register import new_id
from fleet.services.access import create_user
from fleet.services.alerts import change_own_alerts, put_on_call
from fleet.services.appliances import add_sheet_version
from fleet.services.contractor import begin_installation
from fleet.services.register import (
    add_calibration,
    add_gas_supply,
    add_kept,
    add_qualification,
    change_kept,
    create_entry,
)

TECHNICIANS = {
    "runa": "Runa Averell",
    "osric": "Osric Tamblyn",
    "petra": "Petra Lovick",
    "emeka": "Emeka Thorne",
    "signe": "Signe Marrow",
}
OFFICE = {"dispatcher": "Linnet Cade", "manager": "Idris Fallow", "auditor": "Maud Perrin"}
BLENDED, BLEND_DAYS = "Health Centre", 240
SHARED_FLUE = "The Old Vicarage"


def build(now: datetime) -> tuple[Town, list[Account]]:
    """The contractor on its first day, a year ago, and its accounts."""
    begins = now - YEAR
    actor = begin_installation(
        name="Tarnholt Heating (demonstration)",
        address="1 Mill Brow, Tarnholt (an invented town)",
        emergency_numbers=["555 0100"],
        is_demo=True,
        now=begins,
    )
    accounts = _accounts(begins)
    analysers = _analysers(actor, begins, now)
    people = _qualified(actor, begins, now)
    crew = [Member(_user(name), person, analyser)
            for name, person, analyser in zip(TECHNICIANS, people, analysers, strict=False)]  # fmt: skip
    town = Town(actor, _user("manager"), _user("dispatcher"), now, crew, unable=analysers[-1])
    town.bias = {each.id: float(town.rng.normal(0, ANALYSER_SD)) for each in analysers}
    town.sheets = {key: _sheet(actor, kind, begins) for key, kind in KINDS.items()}
    about = {"address": "Tarnholt", "contact": "The porter of each house, by the bell"}
    clients = {key: create_entry(model=Client, values=about | {"name": name}) for key, name in CLIENTS.items()}
    _user("auditor").clients.set([clients[SCHOOLS], *list(clients.values())[1:2]])
    buildings = [_building(town, clients[place.client], place, site) for site, place in enumerate(PLACES)]
    prefetch_related_objects(buildings, "gas_supplies")
    apply_rules(actor, clients, town.lives.values(), reviewer=OFFICE["manager"], begins=begins)
    return town, accounts


def _user(name: str) -> User:
    return User.objects.get(username=name)


# ---- people ----


def _accounts(begins: datetime) -> list[Account]:
    """A log-in for everybody; manager and dispatcher are alerted in turn."""
    names = {name: (person, Role.TECHNICIAN) for name, person in TECHNICIANS.items()}
    names |= {role: (person, Role(role)) for role, person in OFFICE.items()}
    accounts = [Account(name, secrets.token_urlsafe(12), role, person) for name, (person, role) in names.items()]
    for each in accounts:
        name, role = each.username, each.role
        user = create_user(
            username=name, password=each.password, role=role, name=each.name, sees_all_clients=role != Role.AUDITOR
        )
        if role not in (Role.TECHNICIAN, Role.AUDITOR):
            changes = {"email": f"{name}@tarnholt.example", "daily_summary": False}
            change_own_alerts(user=user, version=1, changes=changes, now=begins)
            put_on_call(values={"user": user, "after_minutes": 0 if role == Role.MANAGER else 20}, now=begins)
    return accounts


def _qualified(actor: User, begins: datetime, now: datetime) -> list[Person]:
    """The technicians in their order; each qualified, and so is the manager. One has to renew within a month."""
    people = list(Person.objects.filter(role=Role.TECHNICIAN).order_by("id"))
    for number, person in enumerate([*people, *Person.objects.filter(role=Role.MANAGER, name=OFFICE["manager"])]):
        content = {
            "scheme": "Tarnholt register of heating technicians (invented)",
            "number": f"T-{100 + number}",
            "fuel_kinds": ["gas", "oil"],
            "valid_from": f"{begins.date() - (OLDER_YEARS + 1) * YEAR:%Y-%m-%d}",
            "valid_to": f"{now.date() + timedelta(days=25 if number == 2 else 400 + 90 * number):%Y-%m-%d}",
        }
        add_qualification(person=person, content=content, actor=actor, now=begins, id=new_id())
    return people


# ---- instruments and sheets ----


def _analysers(actor: User, begins: datetime, now: datetime) -> list[Analyser]:
    """One a technician and an old one: four calculate CO2, one measures it, the old one has no cell for CO."""
    usual = ["o2", "co", "flue_temp", "air_temp", "ambient_co"]
    shapes = [(usual, "calculated"), (usual, "calculated"), ([*usual, "co2"], "measured"), (usual, "calculated"),
              (usual, "calculated"), (["o2", "flue_temp", "air_temp"], "absent")]  # fmt: skip
    accuracy = {"o2": {"absolute": 0.3}, "co2": {"absolute": 0.3}, "co": {"absolute": 20, "relative_pct": 5}}
    accuracy |= {"flue_temp": {"absolute": 2}, "air_temp": {"absolute": 1}}
    analysers = []
    for number, (measures, co2) in enumerate(shapes, start=1):
        values = {"name": f"Analyser {number}", "serial": f"TH-{number:03d}", "measures": measures, "co2": co2}
        values |= {"accuracy": accuracy}
        analysers.append(add_kept(model=Analyser, values=values, actor=actor, now=begins))
    for number, each in enumerate(analysers):
        ends = now.date() - timedelta(days=LAPSED_DAYS) if number == LAPSED else now.date() + timedelta(1)
        _calibrate(actor, each, begins, number, ends, lapses=number == LAPSED)
    return analysers


def _calibrate(actor: User, analyser: Analyser, begins: datetime, number: int, ends: date, *, lapses: bool) -> None:
    """Once a year, without a gap, up to that day; where it lapses the last one ends there."""
    day = begins.date() - (OLDER_YEARS + 1) * YEAR - timedelta(days=30 * number)
    while day < ends:
        until = min(day + YEAR, ends) if lapses else day + YEAR
        content = {"done_on": f"{day:%Y-%m-%d}", "valid_to": f"{until:%Y-%m-%d}", "passed": True}
        content |= {"uncertainty": {"o2": {"absolute": "0.1"}, "co": {"absolute": "4", "relative_pct": "1"}}}
        content |= {"certificate": f"K-{number + 1}-{day:%Y}", "by": "Tarnholt gas laboratory (invented)"}
        came = max(begins, begins + (day - begins.date()))
        add_calibration(analyser=analyser, content=content, actor=actor, now=came, id=new_id())
        day += timedelta(days=360)


def _sheet(actor: User, kind: Kind, begins: datetime) -> ModelSheet:
    sheet = create_entry(model=ModelSheet, values={"name": kind.name})
    add_sheet_version(sheet=sheet, content=read_sheet(kind.sheet), actor=actor, now=begins, id=new_id())
    return sheet


# ---- buildings and what stands in them ----


def _building(town: Town, client: Client, place: Place, site: int) -> Building:
    values = {
        "client": client,
        "name": place.name,
        "address": f"{site + 1} {STREETS[site % len(STREETS)]}, Tarnholt",
        "latitude": 53.2 + 0.004 * (site % 8),
        "longitude": -7.4 + 0.006 * (site // 8),
        "altitude_m": 60.0 + 5 * (site % 9),
        "time_zone": TOWN_ZONE,
        "access_notes": "Key at the caretaker's." if site % 4 == 0 else "",
    }
    building = add_kept(model=Building, values=values, actor=town.actor, now=town.begins)
    if place.name == BLENDED:
        since = town.today - timedelta(days=BLEND_DAYS)
        blend = {"building": building, "since": since, "fuel": "natural_gas_10_h2"}
        blend |= {"source": "notice of the Tarnholt gas network (invented)"}
        add_gas_supply(values=blend, actor=town.actor, now=town.begins)
    lives = [_life(town, building, site, *told) for told in place.appliances()]
    if place.name == SHARED_FLUE:
        _share_a_flue(town, building, lives)
    return building


def _life(town: Town, building: Building, site: int, key: str, name: str, room: str) -> Life:
    kind, number = KINDS[key], len(town.lives)
    oldest = 365 * (OLDER_YEARS + 1) + 120
    values = {
        "building": building,
        "sheet": town.sheets[key],
        "name": name,
        "kind": kind.appliance,
        "serial": f"{1000 + number * 7}-{number % 10}{key[0].upper()}",
        "room": room,
        "fuel": "" if kind.fuel == building.fuel else kind.fuel,
        "facts": {"vent": "natural_draft"} if kind.is_open_flued else {},
        "in_service_from": town.today - timedelta(days=round(oldest + 365 * town.rng.uniform(0, 9))),
    }
    appliance = add_kept(model=Appliance, values=values, actor=town.actor, now=town.begins)
    life = begin_life(appliance, key, site, town.rng)
    town.lives[life.appliance.id] = life
    return life


def _share_a_flue(town: Town, building: Building, lives: list[Life]) -> None:
    group = create_entry(model=FlueGroup, values={"building": building, "name": "common flue, east"})
    by = {"actor": town.actor, "now": town.begins}
    for life in lives:
        life.appliance = change_kept(entry=life.appliance, version=1, changes={"flue_group": group}, **by)
        life.common_flue = True
