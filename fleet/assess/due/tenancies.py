"""Whose records who moves in must have before, and what follows for the deliveries that wait because of it."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from fleet.assess.due.deliveries import NOT_ASKED_FOR, Asked, as_it_stands, asked_before, differs, with_records
from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import with_facts
from fleet.assess.due.set_rules import tenancy_recipients
from fleet.coded import coded
from fleet.models import Appliance, Delivery, LimitSet, RequiredCheck, Tenancy, Visit

Place = tuple[uuid.UUID, uuid.UUID, uuid.UUID]  # tenancy, appliance, limit set


@dataclass(frozen=True)
class Owed:
    """What a set asks for before a tenancy begins: the record of an appliance, by recipient.

    visit: the newest that counted the set's required check by then; None where there is none yet.
    """

    tenancy: Tenancy
    appliance: Appliance
    limit_set: LimitSet
    recipients: tuple[str, ...]
    visit: Visit | None


def owed_records(tenancies: Iterable[Tenancy], only: Collection[uuid.UUID] | None = None) -> list[Owed]:
    """Of all these tenancies that are not called off, in a constant number of questions. only: of these appliances.

    A set asks where its required check stands on the day on which the tenancy begins.
    """
    served = _served([each for each in tenancies if not each.called_off], only)
    if not served:
        return []
    required_checks = RequiredCheck.objects.filter(
        appliance__in={appliance.id for _tenancy, appliance in served}, assignment__isnull=False, part=""
    )
    sets = _sets_that_ask(required_checks)
    if not sets:
        return []
    under: dict[uuid.UUID, list[RequiredCheck]] = defaultdict(list)
    for required_check in with_facts(
        required_checks.filter(assignment__limit_set__in=list(sets)).select_related("assignment")
    ):
        under[required_check.appliance_id].append(required_check)
    asked = [
        (tenancy, required_check)
        for tenancy, appliance in served
        for required_check in under[appliance.id]
        if _stands_on(required_check, tenancy.begins)
    ]
    calculated = calculate((required_check, tenancy.begins) for tenancy, required_check in asked)
    visits = _visits_of(calculated)
    owed: dict[Place, Owed] = {}
    for (tenancy, required_check), made in zip(asked, calculated, strict=True):
        assert required_check.assignment is not None  # as chosen above
        limit_set, recipients = sets[required_check.assignment.limit_set_id]
        visit = visits.get((required_check.appliance_id, made.counted_by.day)) if made.counted_by else None
        one = Owed(tenancy, required_check.appliance, limit_set, recipients, visit)
        place = tenancy.id, required_check.appliance_id, limit_set.id
        if place not in owed or _is_newer(visit, owed[place].visit):
            owed[place] = one
    return list(owed.values())


def _served(tenancies: Sequence[Tenancy], only: Collection[uuid.UUID] | None) -> list[tuple[Tenancy, Appliance]]:
    """Each with the appliances that serve it on its day."""
    if not tenancies:
        return []
    chosen = Appliance.objects.filter(building__in={each.building_id for each in tenancies}).order_by("name", "id")
    if only is not None:
        chosen = chosen.filter(id__in=only)
    standing: dict[uuid.UUID, list[Appliance]] = defaultdict(list)
    for appliance in chosen:
        standing[appliance.building_id].append(appliance)
    return [
        (tenancy, appliance)
        for tenancy in tenancies
        for appliance in standing[tenancy.building_id]
        if tenancy.appliance_id in (None, appliance.id) and appliance.in_service_on(tenancy.begins)
    ]


def _sets_that_ask(required_checks: QuerySet[RequiredCheck]) -> dict[uuid.UUID, tuple[LimitSet, tuple[str, ...]]]:
    assigned = LimitSet.objects.filter(id__in=required_checks.values("assignment__limit_set")).prefetch_related(
        "versions"
    )
    told = ((each, tenancy_recipients(each.current) if each.current else ()) for each in assigned)
    return {each.id: (each, recipients) for each, recipients in told if recipients}


def _stands_on(required_check: RequiredCheck, day: date) -> bool:
    return required_check.since <= day and (required_check.until is None or required_check.until >= day)


def _visits_of(calculated: Iterable[Calculated]) -> Mapping[tuple[uuid.UUID, date], Visit]:
    """By appliance and day of the checks that counted: the newest visit of that day that counts as one."""
    days = {(each.required_check.appliance_id, each.counted_by.day) for each in calculated if each.counted_by}
    if not days:
        return {}
    made = Visit.objects.filter(
        appliance__in={appliance for appliance, _day in days},
        local_date__in={day for _appliance, day in days},
        check_made__counts=True,
    )
    return {
        (each.appliance_id, each.local_date): each for each in made.select_related("appliance__building").order_by("id")
    }


def _is_newer(visit: Visit | None, than: Visit | None) -> bool:
    """Of two required checks of one set, which another place or time put on the appliance, the newer record goes."""
    if visit is None or than is None:
        return than is None
    return (visit.local_date, visit.id) > (than.local_date, than.id)


Key = tuple[uuid.UUID, uuid.UUID, uuid.UUID, str]  # tenancy, appliance, limit set, recipient
Change = tuple[Delivery, dict[str, Any] | None]  # None where nobody has tried it: it goes


def delivery_changes(
    tenancies: Sequence[Tenancy], now: datetime, only: Collection[uuid.UUID] | None, *, held: bool = False
) -> list[Change]:
    """What has to be written. held: and nobody sends any of them meanwhile."""
    asked = _asked(tenancies, only)
    standing = _standing(tenancies, only, held)
    by_id = {each.id: each for each in tenancies}
    changes: list[Change] = []
    for key, rows in standing.items():
        keeper = _keeper(rows, asked.get(key))
        for each in rows:
            changes += _change(each, by_id[key[0]], asked.get(key) if each is keeper else None)
    for key, one in asked.items():
        if key not in standing:
            tenancy_id, _appliance_id, limit_set_id, recipient = key
            place = {"visit": one.visit, "tenancy_id": tenancy_id, "limit_set_id": limit_set_id}
            said = {"recipient": recipient, "due": one.due, "steps": one.steps, "opened_at": now}
            changes.append((Delivery(**place, **said), {}))
    return changes


def _asked(tenancies: Iterable[Tenancy], only: Collection[uuid.UUID] | None) -> dict[Key, Asked]:
    return {
        (each.tenancy.id, each.appliance.id, each.limit_set.id, recipient): asked_before(
            each.tenancy, each.limit_set, each.visit
        )
        for each in owed_records(tenancies, only)
        if each.visit
        for recipient in each.recipients
    }


def _standing(
    tenancies: Iterable[Tenancy], only: Collection[uuid.UUID] | None, held: bool
) -> dict[Key, list[Delivery]]:
    """By the appliance that the visit is of today. More than one only where a correction moved a visit."""
    known = Delivery.objects.filter(tenancy__in=list(tenancies)).order_by("id")
    if only is not None:
        known = known.filter(visit__appliance__in=only)
    if held:
        known = known.select_for_update(of=("self",), no_key=True)
    standing: dict[Key, list[Delivery]] = defaultdict(list)
    for each in known.select_related("visit").prefetch_related(with_records()):
        assert each.tenancy_id is not None  # as chosen above
        standing[each.tenancy_id, each.visit.appliance_id, each.limit_set_id, each.recipient].append(each)
    return standing


def _keeper(rows: Sequence[Delivery], asked: Asked | None) -> Delivery | None:
    """The one that goes on: that of the very visit, else the newest."""
    if asked is None:
        return None
    return next((each for each in rows if each.visit_id == asked.visit.id), rows[-1])


def _change(delivery: Delivery, tenancy: Tenancy, asked: Asked | None) -> list[Change]:
    sendings = delivery.sendings.all()
    if asked is None and not sendings:
        return [(delivery, None)]
    if asked and _has_a_newer_one(delivery, asked):
        return []
    over = coded("tenancy_called_off", said=tenancy.called_off) if tenancy.called_off else NOT_ASKED_FOR
    values = as_it_stands(delivery, sendings, asked, over)
    return [(delivery, values)] if differs(delivery, values) else []


def _has_a_newer_one(delivery: Delivery, asked: Asked) -> bool:
    """Somebody has a later record than the one that the register would choose now, and it still says the same."""
    visit = delivery.visit
    is_newer = (visit.local_date, visit.id) > (asked.visit.local_date, asked.visit.id)
    held = any(each.record_id == visit.record_id and each.failed_at is None for each in delivery.sendings.all())
    return is_newer and held
