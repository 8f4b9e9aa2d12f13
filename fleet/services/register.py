"""Entries of the register: made and changed with every field checked, each change against a version."""

import uuid
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, TypeVar

from django.db import models, transaction
from django.db.models import F, Q

from fleet.assess.entries import entry_content, kind_of_entry
from fleet.assess.projections import calibration_rows, qualification_rows
from fleet.assess.refusals import check_entry
from fleet.coded import Coded, coded, wrong
from fleet.errors import Conflict, FleetError, NotFound
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Calibration,
    Client,
    Flag,
    GasSupply,
    Person,
    Qualification,
    Record,
    User,
)
from fleet.services import jobs
from fleet.services.audit import note_change
from fleet.services.records import append_record, found_or_made, put_rows

Entry = TypeVar("Entry", bound=models.Model)


def create_entry(*, model: type[Entry], values: dict[str, Any]) -> Entry:
    """A new row of `model`.

    Raises FleetError `invalid` naming each field that can't be accepted, Conflict `reference_taken`.
    """
    entry = model(**values)
    check_entry(entry)
    entry.save(force_insert=True)
    return entry


def change_entry(*, entry: Entry, version: int, changes: dict[str, Any]) -> Entry:
    """Change the row if it is still at `version`; its version rises by one.

    Raises Conflict `changed_meanwhile` or `reference_taken`, FleetError `invalid`.
    """
    for name, value in changes.items():
        setattr(entry, name, value)
    check_entry(entry)
    return change_row(row=entry, version=version, changes=changes)


def change_row(*, row: Entry, version: int, changes: dict[str, Any], still: Q | None = None) -> Entry:
    """Write `changes` as they are if the row is at `version` and `still` holds; else Conflict `changed_meanwhile`."""
    same = type(row)._default_manager.filter(still or Q(), pk=row.pk, version=version)
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict(
            "changed_meanwhile", "It was changed meanwhile and is no longer at version %(version)s; read it again.",
            figures={"version": version},
        )  # fmt: skip
    row.refresh_from_db()
    return row


@transaction.atomic
def add_kept(*, model: type[Entry], values: dict[str, Any], actor: User, now: datetime) -> Entry:
    """A new entry of those that decide who is tested, by which rules and whose it is: what is made is a record.

    model : one of those in `entries.ENTRIES`. Raises as `create_entry`.
    """
    entry = create_entry(model=model, values=values)
    _keep(entry, {}, actor, now)
    return entry


@transaction.atomic
def change_kept(*, entry: Entry, version: int, changes: dict[str, Any], actor: User, now: datetime) -> Entry:
    """Change such an entry: what it was and what it is now are a record, which amends the one before.

    Raises as `change_entry`.
    """
    was = entry_content(type(entry)._default_manager.get(pk=entry.pk))
    changed = change_entry(entry=entry, version=version, changes=changes)
    _keep(changed, was, actor, now)
    return changed


def _keep(entry: models.Model, was: dict[str, Any], actor: User, now: datetime) -> None:
    entry.refresh_from_db()  # as its columns have it
    stands, kind = entry_content(entry), kind_of_entry(entry)
    if stands == was:
        return
    newest = Record.objects.filter(kind=kind, subject=entry.pk).order_by("-id").first()
    content = {"id": str(entry.pk), "was": was, "is": stands}
    append_record(kind=kind, subject=entry.pk, content=content, actor=actor, now=now, amends=newest)


def create_once(
    *,
    known: models.QuerySet[Any],
    model: type[models.Model],
    values: dict[str, Any],
    create: Callable[[dict[str, Any]], models.Model],
) -> tuple[models.Model, bool]:
    """The entry with the id in `values` and whether it was made now: a retry finds it and makes no second.

    known: what the actor may see; create: makes the entry from values. Raises Conflict where the id says something
    else already, NotFound where it belongs to what the actor may not see.
    """
    return found_or_made(look=lambda: _stored_already(known, model, values), create=lambda: create(values))


def _stored_already(
    known: models.QuerySet[Any], model: type[models.Model], values: dict[str, Any]
) -> models.Model | None:
    stored = model._default_manager.filter(pk=values.get("id")).first()
    if stored is None:
        return None
    if not known.filter(pk=stored.pk).exists():
        raise NotFound("not_found", "There is nothing with this id that you may see.")
    differing = [name for name, value in values.items() if not _says(stored, name, value)]
    if differing:
        errors = dict.fromkeys(differing, coded("differs_from_stored"))
        raise Conflict("id_taken", "This id stands for something else; nothing was changed.", errors=errors)
    return stored


def _before(ends: str, begins: str) -> Coded:
    return wrong("not_before", date.fromisoformat(ends), first_on=begins)


def _says(entry: models.Model, name: str, value: Any) -> bool:
    field: Any = entry._meta.get_field(name)
    if field.is_relation:
        return bool(getattr(entry, field.attname) == (value and value.pk))
    return bool(getattr(entry, name) == field.to_python(value))


# ---- clients, buildings and their gas, analysers, people ----


@transaction.atomic
def add_client(*, values: dict[str, Any], actor: User, now: datetime) -> Client:
    """A new client; an actor who sees named clients only has this one named too. Raises as `create_entry`."""
    client = create_entry(model=Client, values=values)
    if not actor.sees_all_clients:
        before = list(actor.clients.order_by("name", "id").values_list("name", flat=True))
        actor.clients.add(client)
        figures = {"before": before, "after": [*before, client.name]}
        note_change(user=actor, actor=actor, now=now, code="clients_changed", **figures)
    if actor.limited_by:
        actor.limited_by.clients.add(client)
    return client


@transaction.atomic
def add_calibration(
    *, analyser: Analyser, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> Calibration:
    """Record a calibration; `content` has done_on, valid_to, certificate, by, passed."""
    if content["valid_to"] < content["done_on"]:
        errors = {"valid_to": _before(content["valid_to"], content["done_on"])}
        raise FleetError("invalid", "The calibration ends before it was done.", errors=errors)
    full = {"id": str(id), "analyser": str(analyser.id), **content}
    record = append_record(kind="calibration", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=calibration_rows(full, record.id))
    _look_at_flagged(Q(visits__readings__analyser=analyser), now)
    return Calibration.objects.get(id=id)


@transaction.atomic
def add_qualification(
    *, person: Person, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> Qualification:
    """Record that `person` is qualified; `content` has scheme, number, fuel_kinds, valid_from, valid_to."""
    if content["valid_to"] < content["valid_from"]:
        errors = {"valid_to": _before(content["valid_to"], content["valid_from"])}
        raise FleetError("invalid", "The qualification ends before it begins.", errors=errors)
    full = {"id": str(id), "person": str(person.id), **content}
    record = append_record(kind="qualification", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=qualification_rows(full, record.id))
    _look_at_flagged(Q(visits__readings__person=person), now)
    return Qualification.objects.get(id=id)


def _look_at_flagged(read_by: Q, now: datetime) -> None:
    """What was read may be evidence from now on, and put right what is still flagged."""
    flagged = Appliance.objects.filter(read_by, flags__kind=Flag.Kind.OUTSIDE, flags__closed_at__isnull=True)
    for appliance_id in flagged.order_by("id").values_list("id", flat=True).distinct():
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)


@transaction.atomic
def change_building(
    *, building: Building, version: int, changes: dict[str, Any], actor: User, now: datetime
) -> Building:
    """Change it and look at its appliances again. Raises Conflict when it changed meanwhile."""
    changed = change_kept(entry=building, version=version, changes=changes, actor=actor, now=now)
    _look_again(building, now)
    return changed


@transaction.atomic
def add_gas_supply(*, values: dict[str, Any], actor: User, now: datetime) -> GasSupply:
    """Another gas from a day on: values has building, since, fuel, composition, source.

    What was read before that day keeps its gas, and so does every record. Raises FleetError `invalid`.
    """
    supply = add_kept(model=GasSupply, values=values, actor=actor, now=now)
    _look_again(supply.building, now)
    return supply


@transaction.atomic
def change_gas_supply(
    *, supply: GasSupply, version: int, changes: dict[str, Any], actor: User, now: datetime
) -> GasSupply:
    """Correct an entry, as where the gas came on another day. Raises Conflict when it changed meanwhile."""
    changed = change_kept(entry=supply, version=version, changes=changes, actor=actor, now=now)
    _look_again(changed.building, now)
    return changed


def _look_again(building: Building, now: datetime) -> None:
    for appliance_id in building.appliances.values_list("id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
