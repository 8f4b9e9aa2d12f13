"""What else happened in the year, each on its day: standstills, a replacement, conversions, tenancies, messages that
could not be read."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from fleet.demo.office import evening
from fleet.demo.places import CLIENTS, HOUSING, LETTINGS
from fleet.demo.simulation import Life, begin_life
from fleet.demo.town import Town
from fleet.errors import Malformed
from fleet.evidence import canonical_bytes
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Revisit, Tenancy, UnreadableRecord
from fleet.models.register import new_id
from fleet.services.gas_conversions import convert_appliance
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use
from fleet.services.replacements import replace_appliance
from fleet.services.revisit_days import release_day
from fleet.services.tenancies import begin_tenancy, change_tenancy
from fleet.services.visits import keep_unreadable, resolve_unreadable_record


@dataclass(frozen=True)
class Event:
    """happens: gives the ids of the appliances that are to be looked at again."""

    day: date
    happens: Callable[[], set[UUID] | None]


def all_events(town: Town) -> list[Event]:
    """In the order of their days."""
    made = [*_standstills(town), *_replacements(town), *_conversions(town), *_tenancies(town), *_unreadable(town)]
    return sorted(made, key=lambda each: each.day)


def _ago(town: Town, days: int) -> date:
    return town.today - timedelta(days=days)


def _at(town: Town, building: str, name: str) -> Life:
    """The appliance of this name in the building of this name."""
    return next(each for each in town.lives.values()
                if (each.appliance.building.name, each.appliance.name) == (building, name))  # fmt: skip


# ---- standstills ----


def _standstills(town: Town) -> Iterator[Event]:
    """A school's second boiler over the summer half, started again; two that still stand still."""
    yield from _stood_still(town, "Hilltop Primary School", "Boiler 2", 230, 95, "Not needed until the cold comes.")
    yield from _stood_still(town, "Unit 2, joinery", "Boiler 2", 120, None, "Workshop closed; the hall is let no more.")
    yield from _stood_still(town, "Cottage 14", "Boiler", 38, None, "House empty, water drained.")


def _stood_still(town: Town, building: str, name: str, begins: int, ends: int | None, why: str) -> Iterator[Event]:
    """begins, ends: so many days ago; None where it goes on."""
    life, id, day = _at(town, building, name), new_id(), _ago(town, begins)

    def begin() -> set[UUID]:
        content = {"begins": f"{day:%Y-%m-%d}", "why": why, "said_by": "the owner, by telephone",
                   "proof": "photo of the closed valve"}  # fmt: skip
        life.stands_still = True
        begin_out_of_use(appliance=life.appliance, content=content, actor=town.dispatcher, now=evening(day), id=id)
        for each in Revisit.objects.filter(appliance=life.appliance, day__isnull=False):
            release_day(revisit=each, version=each.version, note="Out of use.", actor=town.dispatcher, now=evening(day))
        return {life.appliance.id}

    yield Event(day, begin)
    if ends is not None:
        restart = _ago(town, ends)

        def end() -> set[UUID]:
            content = {"ends": f"{restart:%Y-%m-%d}", "restart_said_by": "the caretaker", "restart_proof": "by e-mail"}
            life.stands_still = False
            stretch = life.appliance.out_of_use.get(id=id)
            end_out_of_use(out_of_use=stretch, content=content, actor=town.dispatcher, now=evening(restart))
            return {life.appliance.id}

        yield Event(restart, end)


# ---- another appliance, another gas ----


def _replacements(town: Town) -> Iterator[Event]:
    """Two old boilers make way for premix ones."""
    for building, name, days, sheet in (
        ("Cottage 9", "Boiler", 160, "house"),
        ("Climbing Hall", "Boiler 1", 70, "block"),
    ):
        yield Event(_ago(town, days), partial(_replace, town, building, name, days, sheet))


def _replace(town: Town, building: str, name: str, days: int, sheet: str) -> set[UUID]:
    old, day = _at(town, building, name), _ago(town, days)
    old.appliance.refresh_from_db()
    values = {"sheet": town.sheets[sheet], "name": name, "serial": f"{9000 + days}-N", "fuel": ""}
    new = replace_appliance(
        old=old.appliance, version=old.appliance.version, day=day, values=values, assignments=[],
        kept_required_checks=[], actor=town.manager, now=evening(day),
    )  # fmt: skip
    del town.lives[old.appliance.id]
    town.lives[new.id] = begin_life(
        Appliance.objects.select_related("building").get(id=new.id), sheet, old.site, town.rng
    )
    return {old.appliance.id, new.id}


def _conversions(town: Town) -> Iterator[Event]:
    """Natural gas came to the boat house: one heater converted and tested since, the other a few days ago."""
    for name, days in (("Water heater 1", 150), ("Water heater 2", 5)):
        yield Event(_ago(town, days), partial(_convert, town, name, days))


def _convert(town: Town, name: str, days: int) -> set[UUID]:
    life, day = _at(town, "Boat House", name), _ago(town, days)
    appliance = Appliance.objects.select_related("building", "sheet").get(id=life.appliance.id)
    content = {
        "converted_on": f"{day:%Y-%m-%d}",
        "to_fuel": "natural_gas",
        "kit": "kit N-20",
        "label": "natural gas, inside the door",
        "analyser_fuel": "natural_gas",
        "done_by": town.member_of(life).person.name,
        "test_within_days": 14,
    }
    convert_appliance(
        appliance=appliance, version=appliance.version, content=content, sheet=town.sheets["kit"],
        actor=town.manager, now=evening(day), id=new_id(),
    )  # fmt: skip
    life.appliance.refresh_from_db()
    life.sheet_key, life.converted = "kit", True
    life.set_anew(town.rng)
    return {appliance.id}


# ---- tenancies ----


def _tenancies(town: Town) -> Iterator[Event]:
    """Told some weeks ahead; two lie ahead of today, one was called off."""
    for name, told, ahead in (("Cottage 2", 250, 30), ("Cottage 5", 140, 21), ("Granary House", 60, 28),
                              ("Cottage 11", 12, 26), ("Cottage 16", 6, 20)):  # fmt: skip
        yield Event(_ago(town, told), partial(_let, town, name, told, ahead))
    yield Event(_ago(town, 90), partial(_let, town, "Cottage 8", 90, 45))
    yield Event(_ago(town, 70), partial(_call_off, town, "Cottage 8"))


def _let(town: Town, name: str, told: int, ahead: int) -> None:
    building = next(each.appliance.building for each in town.lives.values() if each.appliance.building.name == name)
    day = _ago(town, told)
    values = {"building": building, "begins": day + timedelta(days=ahead), "source": "e-mail of the letting office"}
    begin_tenancy(values=values, now=evening(day))


def _call_off(town: Town, name: str) -> None:
    tenancy = Tenancy.objects.get(building__name=name)
    changes = {"called_off": "The tenant took another house."}
    change_tenancy(tenancy=tenancy, version=tenancy.version, changes=changes, now=evening(_ago(town, 70)))


# ---- messages that can't be read ----


def _unreadable(town: Town) -> Iterator[Event]:
    """From another program: one was sent again and resolved, one waits."""
    yield Event(_ago(town, 64), partial(_hold, town, HOUSING, 64))
    yield Event(_ago(town, 57), partial(_resolve, town))
    yield Event(_ago(town, 3), partial(_hold, town, LETTINGS, 3))


def _hold(town: Town, client: str, days: int) -> None:
    """A visit with a fraction where a count stands, and no unit."""
    day = _ago(town, days)
    life = next(each for each in town.lives.values() if each.appliance.building.client.name == CLIENTS[client])
    message: dict[str, Any] = {
        "schema": "visit/1", "id": str(new_id()), "appliance": str(life.appliance.id), "outcome": "tested",
        "readings": [{"rate": "high", "values": {"o2": {"value": "about 5"}}}],
        "disposition": {"state": "left_in_use"},
    }  # fmt: skip
    try:
        read_visit(message)
    except Malformed as bad:
        keep_unreadable(
            body=canonical_bytes(message), errors=bad.errors, unsafe=None,
            actor=town.member_of(life).user, now=evening(day),
        )  # fmt: skip


def _resolve(town: Town) -> None:
    unreadable = UnreadableRecord.objects.get(resolved_at__isnull=True)
    how = "The technician sent it again from the phone; the visit is stored."
    resolve_unreadable_record(
        unreadable=unreadable, version=unreadable.version, how=how, actor=town.dispatcher, now=evening(_ago(town, 57))
    )
