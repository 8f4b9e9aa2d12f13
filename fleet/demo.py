"""The fictional contractor: an invented town, invented sheets, and five years of simulated visits.

Nothing here was measured anywhere. How readings drift and scatter are our own assumptions (no published figure for
the yearly drift of appliances was found): they make a fleet to look at, and teach nothing about real ones. Every
visit goes through the ordinary services.
"""

import math
import secrets
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db import transaction
from django.db.models import prefetch_related_objects

from fleet.assess.foresight.learning import learn_from
from fleet.assess.foresight.series import series_of
from fleet.combustion import FUELS, co2_pct_from_o2, gas_properties, o2_pct_from_co2
from fleet.intake.sheets import read_sheet
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Client,
    Flag,
    FlueGroup,
    Job,
    LimitSet,
    ModelSheet,
    Person,
    Role,
    User,
    Visit,
)
from fleet.models.register import new_id
from fleet.services import flags, forecasts, limit_sets, revisits
from fleet.services.access import create_user
from fleet.services.appliances import add_sheet_version
from fleet.services.buildings import add_gas_supply
from fleet.services.contractor import begin_installation
from fleet.services.duties import add_duty
from fleet.services.register import add_calibration, add_qualification, create_entry
from fleet.services.visits import record_visit

TOWN_ZONE = "Europe/Dublin"
YEARS = 5
SEED = 20_260

CLIENTS = (
    "Tarnholt Schools Trust",
    "Quarry Lane Housing",
    "Larkmoor Care Homes",
    "Tarnholt Town Hall",
    "Ferrybank Workshops",
    "Old Granary Lettings",
    "Saltmarsh Leisure",
    "Hollin Row Residents",
)
STREETS = ("Quarry Lane", "Mill Brow", "Ferrybank", "Hollin Row", "Larkmoor Road", "Saltmarsh Way", "Granary Yard")
HOUSES = ("Alder", "Beech", "Cedar", "Dogwood", "Elder", "Furze", "Gorse", "Hazel", "Ivy", "Juniper")
TECHNICIANS = ("Runa Averell", "Osric Tamblyn", "Petra Lovick", "Emeka Thorne", "Signe Marrow")
OFFICE = {"dispatcher": "Linnet Cade", "manager": "Idris Fallow", "auditor": "Maud Perrin"}


@dataclass(frozen=True)
class Kind:
    """One invented sheet and how its appliances behave; O2 in points, all our own assumptions.

    drift_mean, drift_sd: yearly drift of O2. weather_per_k: O2 per kelvin of intake air. o2_per_turn: of an adjuster.
    """

    name: str
    count: int
    sheet: dict[str, Any]
    drift_mean: float
    drift_sd: float
    weather_per_k: float
    appliance: str = "boiler"
    rise_k: tuple[float, float] = (40.0, 30.0)
    co_median_ppm: float = 11.0
    o2_per_turn: float = 4.0


def _sheet(
    control: str,
    *,
    high: tuple[str, str],
    low: tuple[str, str] | None,
    tolerance: str,
    kw: tuple[str, str],
    quantity: str = "co2",
    fuel: str = "natural_gas",
    condensing: bool = False,
    basis: str = "points",
    order: bool = False,
) -> dict[str, Any]:
    rates = {"high": high[0]} | ({"low": low[0]} if low else {})
    ways = {"high": high[1]} | ({"low": low[1]} if low else {})
    names = {"high": "main ratio screw", "low": "offset screw"}
    return {
        "fuel": fuel,
        "control": control,
        "condensing": condensing,
        "rated_input_kw": kw[0],
        "minimum_input_kw": kw[1],
        "input_basis": "net",
        "rated_output_kw": kw[0],
        "rates": list(rates),
        "targets": [
            {"rate": rate, "quantity": quantity, "value": value, "tolerance": tolerance,
             "tolerance_basis": basis, "casing": "closed"}
            for rate, value in rates.items()
        ],
        "ceilings": [
            {"quantity": "co_air_free", "value": "200", "unit": "ppm", "rate": "any", "action": "Find the cause"}
        ],
        "adjusters": [
            {"name": names[rate], "place": "on the gas valve", "tool": "hex key", "raises_co2": way, "rate": rate,
             "sealed": True, "field_adjustment": "allowed", "largest_step": "1/4 turn", "largest_step_turns": "0.25",
             "reseal": "paint mark"}
            for rate, way in ways.items()
        ],
        "order_rules": [{"quantity": quantity, "higher_rate": "high", "lower_rate": "low"}] if order else [],
        "source": "invented for the demonstration",
    }  # fmt: skip


PREMIX_DRIFT = (-0.10, 0.25, -0.03)
LINKAGE_DRIFT = (0.10, 0.45, -0.06)
OPEN_DRIFT = (-0.05, 0.35, -0.02)

UP, DOWN = "clockwise", "anticlockwise"  # which way raises CO2

KINDS = (
    Kind(
        "Invented premix boiler 24",
        52,
        _sheet(
            "pneumatic ratio",
            high=("9.3", UP),
            low=("8.9", DOWN),
            tolerance="0.55",
            kw=("24", "5"),
            condensing=True,
            order=True,
        ),
        *PREMIX_DRIFT,
    ),
    Kind(
        "Invented premix boiler 65",
        48,
        _sheet(
            "pneumatic ratio", high=("9.5", DOWN), low=("9.1", UP), tolerance="0.55", kw=("65", "13"), condensing=True
        ),
        *PREMIX_DRIFT,
    ),
    Kind(
        "Invented premix boiler 110",
        32,
        _sheet(
            "pneumatic ratio",
            high=("4.6", DOWN),
            low=("5.2", UP),
            tolerance="1.0",
            kw=("110", "22"),
            quantity="o2",
            condensing=True,
        ),
        *PREMIX_DRIFT,
    ),
    Kind(
        "Invented burner 180, linkage",
        20,
        _sheet("linkage", high=("9.8", UP), low=("9.0", UP), tolerance="0.9", kw=("180", "70")),
        *LINKAGE_DRIFT,
        rise_k=(150.0, 110.0),
    ),
    Kind(
        "Invented oil boiler 45",
        16,
        _sheet(
            "oil pressure jet",
            high=("12.4", DOWN),
            low=None,
            tolerance="8",
            kw=("45", "45"),
            fuel="light_oil",
            basis="percent of target",
        ),
        *LINKAGE_DRIFT,
        rise_k=(160.0, 0.0),
        co_median_ppm=9.0,
    ),
    Kind(
        "Invented atmospheric boiler 30",
        36,
        _sheet("fixed atmospheric", high=("6.6", UP), low=None, tolerance="0.9", kw=("30", "30")),
        *OPEN_DRIFT,
        rise_k=(110.0, 0.0),
    ),
    Kind(
        "Invented water heater 28",
        20,
        _sheet("pneumatic ratio", high=("9.0", UP), low=("8.6", DOWN), tolerance="0.7", kw=("28", "9")),
        *PREMIX_DRIFT,
        appliance="water_heater",
        rise_k=(80.0, 60.0),
    ),
    Kind(
        "Invented propane heater 20",
        16,
        _sheet("fixed atmospheric", high=("7.9", UP), low=None, tolerance="1.0", kw=("20", "20"), fuel="propane"),
        *OPEN_DRIFT,
        appliance="water_heater",
        rise_k=(100.0, 0.0),
    ),
)

READING_SD = 0.10
SETTING_SD = 0.15
SITE_DAY_SD = 0.15
ANALYSER_SD = 0.10
INTAKE_SD_K = 6.0
STEP_CHANCE_A_YEAR = 0.03
STEP_PCT = 0.9
CO_BETWEEN, CO_BETWEEN_VISITS, CO_READING = 1.0, 0.35, 0.03
CO_WORRIES_PPM = 90.0
ADJUSTS_BEYOND = 0.45
STILL_OPEN_DAYS = 60
LOGGED_DAYS = 370
TIMED_SECONDS = 120
BLENDED, BLEND_DAYS = 11, 240
FORGETFUL = 20


@dataclass
class Life:
    """One simulated appliance: what it is, and the truth behind its readings (O2 at 20 °C intake air)."""

    appliance: Appliance
    kind: Kind
    site: int
    o2_pct: dict[str, float]
    drift: dict[str, float]
    co_ppm: float
    flue_rise_k: float = 0.0
    last: date | None = None
    common_flue: bool = False


@dataclass
class Town:
    """Everything the simulation walks through."""

    actor: User
    rng: np.random.Generator
    today: date
    people: list[Person]
    analysers: list[Analyser]
    bias: dict[uuid.UUID, float] = field(default_factory=dict)
    lives: list[Life] = field(default_factory=list)


def load_demo(*, now: datetime, say: Callable[[str], Any] = lambda _said: None) -> dict[str, str]:
    """Build the whole demonstration. Returns the accounts: user name -> password made for this installation."""
    with transaction.atomic():
        begins = now - timedelta(days=365 * YEARS + 30)
        actor = begin_installation(
            name="Tarnholt Heating (demonstration)",
            address="1 Quarry Lane, Tarnholt (an invented town)",
            emergency_numbers=["555 0100 (invented: put your country's gas emergency number here)"],
            is_demo=True,
            now=begins,
        )
        accounts = _accounts()
        town = _town(actor, begins, now)
        say(f"{Building.objects.count()} buildings, {len(town.lives)} appliances")
        visits = _live(town)
        say(f"{visits} visits of {YEARS} years")
        _look_ahead(now)
    return accounts


def _accounts() -> dict[str, str]:
    """One account a role, with passwords that exist nowhere else."""
    names = {"technician": TECHNICIANS[0]} | OFFICE
    accounts = {role: secrets.token_urlsafe(12) for role in names}
    for role, password in accounts.items():
        user = create_user(
            username=role, password=password, role=role, name=names[role], sees_all_clients=role != "auditor"
        )
        if role == Role.AUDITOR:
            user.person.delete()
    return accounts


def _town(actor: User, begins: datetime, now: datetime) -> Town:
    rng = np.random.default_rng(SEED)
    clients = [create_entry(model=Client, values={"name": name, "address": "Tarnholt"}) for name in CLIENTS]
    User.objects.get(username="auditor").clients.set(clients[:2])
    buildings = [_building(clients[n % len(clients)], n) for n in range(60)]
    town = Town(actor, rng, now.date(), _people(actor, begins, now), _analysers(actor, begins, now))
    town.bias = {each.id: float(rng.normal(0, ANALYSER_SD)) for each in town.analysers}
    kinds = [kind for kind in KINDS for _number in range(kind.count)]
    rng.shuffle(kinds)  # type: ignore[arg-type]  # numpy shuffles any mutable sequence
    sheets = {kind.name: _make_sheet(actor, kind, begins) for kind in KINDS}
    for number, kind in enumerate(kinds):
        town.lives.append(_life(town, buildings[number % len(buildings)], kind, sheets[kind.name], number))
    _share_a_flue(town)
    _blend(buildings[BLENDED], now)
    prefetch_related_objects(buildings, "gas_supplies")
    _apply_rules(actor, clients, town, begins)
    return town


def _building(client: Client, number: int) -> Building:
    house, street = HOUSES[number % len(HOUSES)], STREETS[number % len(STREETS)]
    return create_entry(
        model=Building,
        values={
            "client": client,
            "name": f"{house} House {number // len(HOUSES) + 1}",
            "address": f"{number + 1} {street}, Tarnholt",
            "latitude": 53.2 + 0.004 * (number % 8),
            "longitude": -7.4 + 0.006 * (number // 8),
            "altitude_m": 60.0 + 5 * (number % 9),
            "time_zone": TOWN_ZONE,
            "access_notes": "Key at the caretaker's." if number % 4 == 0 else "",
        },
    )


def _people(actor: User, begins: datetime, now: datetime) -> list[Person]:
    known = Person.objects.filter(name=TECHNICIANS[0])
    rest = [create_entry(model=Person, values={"name": name, "role": "technician"}) for name in TECHNICIANS[1:]]
    manager = Person.objects.filter(name=OFFICE["manager"])
    people = [*known, *rest]
    for number, person in enumerate([*people, *manager]):
        content = {
            "scheme": "Tarnholt register of heating technicians (invented)",
            "number": f"T-{100 + number}",
            "fuel_kinds": ["gas", "oil"],
            "valid_from": f"{begins.date() - timedelta(days=200):%Y-%m-%d}",
            "valid_to": f"{now.date() + timedelta(days=25 if number == 2 else 400 + 90 * number):%Y-%m-%d}",
        }
        add_qualification(person=person, content=content, actor=actor, now=begins, id=new_id())
    return people


def _analysers(actor: User, begins: datetime, now: datetime) -> list[Analyser]:
    """Five instruments: three that calculate CO2, one that measures it, one with an O2 cell only; the fourth lapsed."""
    usual = ["o2", "co", "flue_temp", "air_temp", "ambient_co"]
    shapes = [(usual, "calculated"), (usual, "calculated"), ([*usual, "co2"], "measured"), (usual, "calculated")]
    shapes.append((["o2", "flue_temp", "air_temp"], "absent"))
    accuracy = {"o2": {"absolute": 0.3}, "co2": {"absolute": 0.3}, "co": {"absolute": 20, "relative_pct": 5}}
    accuracy |= {"flue_temp": {"absolute": 2}, "air_temp": {"absolute": 1}}
    analysers = []
    for number, (measures, co2) in enumerate(shapes, start=1):
        values = {"name": f"Analyser {number}", "serial": f"TH-{number:03d}", "measures": measures, "co2": co2}
        analyser = create_entry(model=Analyser, values=values | {"accuracy": accuracy})
        analysers.append(analyser)
        lapsed_on = now.date() - timedelta(days=40) if number == 4 else date.max
        last = now.date() - timedelta(days=100 if number == 4 else -1)
        day = begins.date() - timedelta(days=60 + 20 * number)
        while day < last:
            until = min(day + timedelta(days=365), lapsed_on)
            content = {"done_on": f"{day:%Y-%m-%d}", "valid_to": f"{until:%Y-%m-%d}", "passed": True}
            content |= {"uncertainty": {"o2": {"absolute": "0.1"}, "co": {"absolute": "4", "relative_pct": "1"}}}
            content |= {"certificate": f"K-{number}-{day:%Y}", "by": "Tarnholt gas laboratory (invented)"}
            add_calibration(analyser=analyser, content=content, actor=actor, now=begins, id=new_id())
            day += timedelta(days=360)
    return analysers


def _make_sheet(actor: User, kind: Kind, begins: datetime) -> ModelSheet:
    sheet = create_entry(model=ModelSheet, values={"name": kind.name})
    add_sheet_version(sheet=sheet, content=read_sheet(kind.sheet), actor=actor, now=begins, id=new_id())
    return sheet


def _blend(building: Building, now: datetime) -> None:
    """Since some months the network brings this building a gas with a tenth of hydrogen."""
    values = {"building": building, "since": now.date() - timedelta(days=BLEND_DAYS), "fuel": "natural_gas_10_h2"}
    add_gas_supply(values=values | {"source": "notice of the Tarnholt gas network (invented)"}, now=now)


def _life(town: Town, building: Building, kind: Kind, sheet: ModelSheet, number: int) -> Life:
    rng = town.rng
    place = number // 60 + 1
    noun = "Water heater" if kind.appliance == "water_heater" else "Boiler"
    values = {
        "building": building,
        "sheet": sheet,
        "name": f"{noun} {place}",
        "kind": kind.appliance,
        "serial": f"{1000 + number * 7}-{number % 10}{kind.name[-1].upper()}",
        "room": ("plant room", "cellar", "roof", "kitchen")[number % 4],
        "fuel": "" if kind.sheet["fuel"] == building.fuel else kind.sheet["fuel"],
        "facts": {"vent": "natural_draft"} if kind.sheet["control"] == "fixed atmospheric" else {},
        "in_service_from": town.today - timedelta(days=round(365 * rng.uniform(2.2, 13.0))),
    }
    targets = {each["rate"]: _target_o2(kind, each) for each in kind.sheet["targets"]}
    common = rng.normal(kind.drift_mean, kind.drift_sd)
    return Life(
        appliance=create_entry(model=Appliance, values=values),
        kind=kind,
        site=number % 60,
        o2_pct={rate: value + rng.normal(0, SETTING_SD) for rate, value in targets.items()},
        drift={rate: common + rng.normal(0, 0.05) for rate in targets},
        co_ppm=float(kind.co_median_ppm * math.exp(rng.normal(0, CO_BETWEEN))),
    )


def _target_o2(kind: Kind, target: dict[str, Any]) -> float:
    value = float(target["value"])
    return value if target["quantity"] == "o2" else float(o2_pct_from_co2(FUELS[kind.sheet["fuel"]], value))


def _share_a_flue(town: Town) -> None:
    """Three open-flued boilers of one building on one flue."""
    by_building: dict[Any, list[Life]] = {}
    for life in town.lives:
        by_building.setdefault(life.appliance.building_id, []).append(life)
    together = max(by_building.values(), key=lambda lives: sum(_is_open_flued(each) for each in lives))
    sharing = [each for each in together if _is_open_flued(each)] or together[:2]
    group = create_entry(
        model=FlueGroup, values={"building": sharing[0].appliance.building, "name": "common flue, east"}
    )
    for life in sharing:
        life.appliance.flue_group = group
        life.appliance.save(update_fields=["flue_group"])
        life.common_flue = True


def _is_open_flued(life: Life) -> bool:
    return bool(life.kind.sheet["control"] == "fixed atmospheric")


def _apply_rules(actor: User, clients: list[Client], town: Town, begins: datetime) -> None:
    """The neutral set for every client; for the first a contract that is stricter, with two visits a year."""
    neutral = LimitSet.objects.get(key="demo-neutral")
    since = begins.date()
    review = {"by": OFFICE["manager"], "on": f"{since:%Y-%m-%d}", "source": "our own figures, for the demonstration"}
    limit_sets.review_limit_set(limit_set=neutral, review=review, actor=actor, now=begins)
    for client in clients:
        why = "Chosen for the demonstration: yearly, with neutral limits."
        limit_sets.attach_limit_set(
            values={"limit_set": neutral, "client": client, "since": since, "why": why}, actor=actor, now=begins
        )
    contract = create_entry(
        model=LimitSet, values={"key": "demo-contract-schools", "name": "Contract of the schools (invented)"}
    )
    content = {
        "id": "demo-contract-schools",
        "name": contract.name,
        "jurisdiction": "any",
        "kind": "contract",
        "evidence": "own",
        "decision_rule": "simple",
        "interval": {"type": "max_months", "months": 9},
        "limits": [
            {"id": "contract-co", "quantity": "co", "unit": "ppm", "basis": "air_free", "firing_rate": "any",
             "when": "as_left", "severity": "out_of_limit", "action": "Bring it under the contract's limit",
             "source": "invented contract", "evidence": "own", "fires_when": {"op": ">", "value": "80"}}
        ],
        "sources": [],
        "notes": "Invented contract, stricter than the neutral set.",
    }  # fmt: skip
    review = {"by": OFFICE["manager"], "on": f"{since:%Y-%m-%d}", "source": "the signed contract (invented)"}
    limit_sets.add_limit_set_version(
        limit_set=contract, content=content, actor=actor, now=begins, id=new_id(), review=review
    )
    values = {"limit_set": contract, "client": clients[0], "since": since, "why": "Signed contract (invented)."}
    limit_sets.attach_limit_set(values=values, actor=actor, now=begins)
    for life in town.lives:
        if life.kind.sheet["control"] == "linkage":
            rule = {"type": "max_months", "months": 6}
            values = {"appliance": life.appliance, "name": "Maker's half-yearly check (invented)", "source": "maker"}
            values |= {"rule": rule, "since": since, "why": "The invented sheet asks for it."}
            add_duty(values=values, actor=actor, now=begins)


# ---- five years of visits ----


def _live(town: Town) -> int:
    """Walk through the visits in the order of their days. Returns how many there were."""
    plan = sorted(
        ((day, number) for number, life in enumerate(town.lives) for day in _visit_days(town, life)),
        key=lambda each: (each[0], town.lives[each[1]].appliance.building_id, each[1]),
    )
    last_of = {number: day for day, number in plan}
    unsafe = next(number for day, number in reversed(plan) if town.lives[number].kind.name.endswith("30"))
    sender = User.objects.get(username="technician")
    attendance: dict[tuple[Any, date], tuple[uuid.UUID, int]] = {}
    for day, number in plan:
        life = town.lives[number]
        key = (life.appliance.building_id, day)
        attendance_id, stop = attendance.get(key, (uuid.uuid4(), 0))
        attendance[key] = (attendance_id, stop + 1)
        is_unsafe = number == unsafe and day == last_of[number]
        body = _visit_body(town, life, day, attendance_id, stop, unsafe=is_unsafe)
        visit = record_visit(draft=read_visit(body), actor=sender, now=datetime.combine(day, time(18), UTC))
        if (town.today - day).days > STILL_OPEN_DAYS:
            _settle_events(visit)
    return len(plan)


def _settle_events(visit: Visit) -> None:
    """What was at stop level and put right on the spot: the manager has read it, and closed it with a reason."""
    manager = User.objects.get(username="manager")
    later = datetime.combine(visit.local_date + timedelta(days=1), time(9), UTC)
    for flag in visit.flags.filter(kind=Flag.Kind.STOP, closed_at__isnull=True, figures__put_right=True):
        seen = flags.acknowledge_flag(flag=flag, version=flag.version, note="Read.", actor=manager, now=later)
        why = "Put right at the same visit; the readings as left were looked at."
        flags.close_flag(flag=seen, version=seen.version, why=why, actor=manager, now=later)


def _visit_days(town: Town, life: Life) -> Iterator[date]:
    """About a year apart, all appliances of a building on one day; half a year for those whose maker asks for it."""
    months = 6 if life.kind.sheet["control"] == "linkage" else 12
    rng = np.random.default_rng([SEED, life.site, months])
    first = town.today - timedelta(days=365 * YEARS - int(rng.integers(0, 365)))
    for number in range(YEARS * 12 // months + 1):
        day = first + timedelta(days=round(number * months * 30.44 + float(rng.uniform(-20, 5))))
        if life.appliance.in_service_from <= day < town.today - timedelta(days=1):
            yield day


def _visit_body(
    town: Town, life: Life, day: date, attendance_id: uuid.UUID, stop: int, *, unsafe: bool
) -> dict[str, Any]:
    rng = town.rng
    _age(life, day, rng)
    who = _who(town, life, day)
    air_c = 14.0 + 8.0 * math.sin(2 * math.pi * (day.timetuple().tm_yday - 110) / 365) + rng.normal(0, INTAKE_SD_K / 2)
    site_day = float(np.random.default_rng([SEED, life.site, day.toordinal()]).normal(0, SITE_DAY_SD))
    at = _Moment(day, stop)
    test = _Test(town, life, who, air_c, site_day, at, co_today=math.exp(rng.normal(0, CO_BETWEEN_VISITS)))
    readings = [test.reading("as found", rate) for rate in life.o2_pct]
    if life.common_flue:
        shared = test.reading("as found", "high") | {"sampling_point": "common flue"}
        readings.append(shared | {"rate_proven_by": "not proven"})
    if unsafe:
        return _unsafe_body(test, readings, attendance_id)
    work = _work(test, rng)
    if work:
        _set(life, rng)
        readings += [test.reading("as left", rate) for rate in life.o2_pct]
    return _body(test, attendance_id, readings, work, {"state": "left in use"})


def _age(life: Life, day: date, rng: np.random.Generator) -> None:
    years = (day - life.last).days / 365.25 if life.last else 0.0
    for rate in life.o2_pct:
        life.o2_pct[rate] += life.drift[rate] * years + rng.normal(0, 0.10) * math.sqrt(years)
    if rng.random() < STEP_CHANCE_A_YEAR * years:
        step = float(rng.choice([-STEP_PCT, STEP_PCT]))
        life.o2_pct = {rate: max(value + step, 1.2) for rate, value in life.o2_pct.items()}
    life.o2_pct = {rate: max(value, 0.8) for rate, value in life.o2_pct.items()}
    life.flue_rise_k = max(life.flue_rise_k + 3 * years + rng.normal(0, 2) * math.sqrt(years), 0.0)
    life.last = day


def _set(life: Life, rng: np.random.Generator) -> None:
    for target in life.kind.sheet["targets"]:
        life.o2_pct[target["rate"]] = _target_o2(life.kind, target) + rng.normal(0, SETTING_SD)
    life.flue_rise_k *= 0.5


@dataclass(frozen=True)
class _Who:
    person: Person
    analyser: Analyser


def _who(town: Town, life: Life, day: date) -> _Who:
    """A technician keeps to a round and an instrument; the lapsed one is still used now and then."""
    number = life.site % len(town.people)
    person, analyser = town.people[number], town.analysers[min(number, 3)]
    if life.kind.name.endswith("45") and number == 4:
        analyser = town.analysers[4]
    if number == 3 and (town.today - day).days < 40 and life.site % 2:
        analyser = town.analysers[0]
    return _Who(person, analyser)


@dataclass
class _Moment:
    day: date
    stop: int
    minutes: int = 0

    def next(self) -> str:
        self.minutes += 7
        begin = datetime.combine(self.day, time(9), ZoneInfo(TOWN_ZONE)) + timedelta(minutes=45 * self.stop)
        return (begin + timedelta(minutes=self.minutes)).isoformat()


@dataclass
class _Test:
    """One appliance under test: turns the truth into what an instrument shows."""

    town: Town
    life: Life
    who: _Who
    air_c: float
    site_day: float
    at: _Moment
    last_o2: dict[str, float] = field(default_factory=dict)
    co_today: float = 1.0
    highest_co_ppm: float = 0.0

    def reading(self, phase: str, rate: str) -> dict[str, Any]:
        rng, kind = self.town.rng, self.life.kind
        weather = kind.weather_per_k * (self.air_c - 20.0)
        bias = self.town.bias[self.who.analyser.id]
        o2 = self.life.o2_pct[rate] + weather + self.site_day + bias + rng.normal(0, READING_SD)
        o2 = min(max(o2, 0.3), 17.0)
        self.last_o2[rate] = o2
        rise = kind.rise_k[0 if rate == "high" else 1] + self.life.flue_rise_k + rng.normal(0, 2)
        values = {
            "o2": _measured(o2, 1, "%"),
            "flue_temp": _measured(self.air_c + rise, 1, "degC"),
            "air_temp": _measured(self.air_c, 1, "degC"),
        }
        values |= self._gases(rate, o2)
        return {
            "phase": phase,
            "rate": rate,
            "rate_set_by": "service mode",
            "rate_proven_by": "display",
            "casing": "closed",
            "sampling_point": "appliance outlet",
            "taken_at": self.at.next(),
            "time_precision": "minute",
            "steadiness": "steady",
            **({"series": self._series(o2, rise, values)} if self._is_logged else {}),
            **({"gas_rate": self._gas_rate()} if rate == "high" and self._is_timed else {}),
            "analyser": str(self.who.analyser.id),
            "person": str(self.who.person.id),
            "values": values,
        }

    @property
    def _is_logged(self) -> bool:
        """The last year's readings came with what the analyser logged."""
        return (self.town.today - self.at.day).days < LOGGED_DAYS

    @property
    def _is_timed(self) -> bool:
        gas = bool(self.life.appliance.burns_on(self.at.day).fuel.composition)
        return gas and self._is_logged and self.life.site % 3 == 0

    def _series(self, o2: float, rise: float, values: dict[str, dict[str, str]]) -> dict[str, Any]:
        """Three minutes at the rate, a sample every ten seconds, coming to rest like a first-order lag."""
        rng, seconds = self.town.rng, np.arange(0, 181, 10)
        lag = np.exp(-seconds / 25.0)
        co = float(values["co"]["value"]) if "value" in values["co"] else None
        columns = {
            "o2": o2 + 1.5 * lag + rng.normal(0, 0.02, seconds.size),
            "flue_temp": self.air_c + rise * (1 - 0.3 * np.exp(-seconds / 30.0)) + rng.normal(0, 0.1, seconds.size),
        }
        if co is not None:
            columns["co"] = co * (1 + 0.8 * lag) + rng.normal(0, 0.5, seconds.size)
        shown = {name: [f"{max(each, 0.0):.1f}" for each in column] for name, column in columns.items()}
        return {"at_s": [str(each) for each in seconds]} | shown

    def _gas_rate(self) -> dict[str, str]:
        """Two minutes at the meter, at an input a little off the rating."""
        rated_kw = float(self.life.kind.sheet["rated_input_kw"]) * self.town.rng.normal(0.98, 0.02)
        fuel = self.life.appliance.burns_on(self.at.day).fuel
        volume_m3 = rated_kw * TIMED_SECONDS / 1000 / gas_properties(fuel).lhv_mj_m3
        return {"index_start": "1000.000", "index_end": f"{1000 + volume_m3:.3f}", "unit": "m3",
                "seconds": str(TIMED_SECONDS), "gas_temp_c": "15"}  # fmt: skip

    def _gases(self, rate: str, o2: float) -> dict[str, dict[str, str]]:
        analyser, fuel = self.who.analyser, self.life.appliance.burns_on(self.at.day).fuel
        if analyser.co2 == Analyser.Co2.ABSENT:
            return {"co": {"qualifier": "not measured"}}
        rng = self.town.rng
        # CO climbs steeply as the air runs short: an assumption of ours, in shape only.
        starved = math.exp(max(0.0, 2.4 - o2) * 2.2)
        co = min(self.life.co_ppm * self.co_today * math.exp(rng.normal(0, CO_READING)) * starved, 1500.0)
        self.highest_co_ppm = max(self.highest_co_ppm, co)
        co2 = float(co2_pct_from_o2(fuel, o2)) + (rng.normal(0, 0.05) if analyser.co2 == Analyser.Co2.MEASURED else 0.0)
        return {
            "co": _measured(co, 0, "ppm"),
            "co2": _measured(co2, 2, "%"),
            "ambient_co": _measured(0 if rng.random() < 0.8 else 1, 0, "ppm"),
        }


def _work(test: _Test, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Adjust what is clearly off its target, most times; clean what runs hot."""
    life = test.life
    off = {
        each["rate"]: test.last_o2[each["rate"]] - _target_o2(life.kind, each) for each in life.kind.sheet["targets"]
    }
    count = len(life.o2_pct) + life.common_flue
    work: list[dict[str, Any]] = []
    worried = test.highest_co_ppm > CO_WORRIES_PPM
    if worried or (max(abs(each) for each in off.values()) > ADJUSTS_BEYOND and rng.random() < 0.92):
        for adjuster in life.kind.sheet["adjusters"]:
            raise_co2 = off[adjuster["rate"]] > 0
            ways = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
            way = adjuster["raises_co2"] if raise_co2 else ways[adjuster["raises_co2"]]
            turns = _turned(life.kind, off[adjuster["rate"]], rng)
            work.append({"kind": "adjustment", "after_reading": count, "adjuster": adjuster["name"],
                         "rate": adjuster["rate"], "direction": way, "amount": f"{turns}/16 turn",
                         "turns": f"{turns / 16:.3f}"})  # fmt: skip
    if worried:
        life.co_ppm, test.co_today = life.kind.co_median_ppm, 1.0
    if worried or life.flue_rise_k > 15:
        work.append({"kind": "cleaning", "after_reading": count, "component": "burner and heat exchanger"})
    return work


def _turned(kind: Kind, off_o2_pct: float, rng: np.random.Generator) -> int:
    """Sixteenths of a turn that it took, by how the adjuster of the kind answers: an assumption of ours."""
    needed = abs(off_o2_pct) / kind.o2_per_turn * math.exp(rng.normal(0, 0.15))
    return max(round(16 * needed), 1)


CHECKLIST = (
    "test port closed, sensor refitted the right way round",
    "adjuster caps and seals back",
    "pressure test points closed and leak-tested",
    "service mode ended, automatic operation",
    "one normal start and stop watched",
    "casing closed and latched",
)


def _body(
    test: _Test,
    attendance_id: uuid.UUID,
    readings: list[dict[str, Any]],
    work: list[dict[str, Any]],
    disposition: dict[str, Any],
    **more: Any,
) -> dict[str, Any]:
    life, day = test.life, test.at.day
    arrived = datetime.combine(day, time(8, 50), ZoneInfo(TOWN_ZONE))
    ambient = test.who.analyser.co2 != Analyser.Co2.ABSENT
    conditions = {"ambient_co_before": _measured(0, 0, "ppm"), "ambient_co_after": _measured(0, 0, "ppm")}
    conditions |= {"zero_o2": _measured(20.9, 1, "%"), "zero_co": _measured(0, 0, "ppm")}
    conditions = conditions if ambient else {}
    if life.site % FORGETFUL == 3 and day.month % 2:
        # Now and then nobody reads the room before firing: visited, and yet not discharged.
        conditions.pop("ambient_co_before", None)
    conditions |= {"outdoor_temp": _measured(test.air_c - 2, 0, "degC")}
    return {
        "schema": "visit/1",
        "id": str(new_id()),
        "attendance": {
            "id": str(attendance_id),
            "building": str(life.appliance.building_id),
            "arrived_at": arrived.isoformat(),
            "left_at": (arrived + timedelta(hours=3, minutes=40)).isoformat(),
            "people": [str(test.who.person.id)],
        },
        "appliance": str(life.appliance.id),
        "outcome": "tested",
        "plate": {"confirmed": True, "serial_seen": life.appliance.serial},
        "conditions": conditions,
        "readings": readings,
        "work": work,
        "left_as_found": not work,
        "checklist": [{"step": step, "answer": "done"} for step in CHECKLIST],
        "disposition": disposition,
        "declared": {"defects": "none" if disposition["state"] == "left in use" else "see the list", "flue_ok": True},
        "signature": {"person": str(test.who.person.id), "at": test.at.next()},
    } | more


def _unsafe_body(test: _Test, readings: list[dict[str, Any]], attendance_id: uuid.UUID) -> dict[str, Any]:
    """CO over range and rising in the room: shut off, isolated, labelled; nothing more was fired."""
    for each in readings:
        each["values"]["co"] = {"value": "2000", "unit": "ppm", "qualifier": "more than"}
        each["values"]["ambient_co"] = _measured(14, 0, "ppm")
        each["flame_unstable"] = True
    details = {
        "isolated": True,
        "labelled": True,
        "told": "the caretaker, in person",
        "reason": "CO over the instrument's range and rising in the room while firing",
    }
    disposition = {"state": "isolated", "unsafe": True, "details": details}
    return _body(
        test,
        attendance_id,
        readings,
        [],
        disposition,
        left_as_found=False,
        outcome="partly tested",
        outcome_reason="stopped for safety",
        not_done=[{"rate": "high", "phase": "as left", "why": "stopped for safety"}],
        defects=[
            {"what": "heat exchanger blocked", "where": "flue side", "severity": "unsafe",
             "action": "not to be used until mended and tested", "told": "the caretaker, in person"}
        ],
    )  # fmt: skip


def _measured(value: float, decimals: int, unit: str) -> dict[str, str]:
    return {"value": f"{value + 0.0:.{decimals}f}", "unit": unit}


def _look_ahead(now: datetime) -> None:
    """Learn from all five years at once, then everybody's forecast, duties and revisit."""
    known = Appliance.objects.select_related("building", "sheet").prefetch_related("sheet__versions")
    for (quantity, rate), series in series_of(list(known)).items():
        forecasts.put_in_force(learnt=learn_from(series, quantity=quantity, rate=rate), now=now)
    revisits.refresh_everybody(now=now)
    # Each visit asked for its appliance to be looked at again, which has just happened for all of them, and to be
    # compared with others, which would keep the worker for minutes: the next visit is compared with these.
    # Nobody of the demonstration has an e-mail address: its old stop-level flags are told to nobody.
    asked = Job.objects.filter(
        kind__in=("refresh_appliance", "compare_visit", "tell_flag", "ration_extra_visits"), state=Job.State.WAITING
    )
    asked.update(state=Job.State.DONE, finished_at=now)
