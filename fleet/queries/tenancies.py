"""When a tenancy begins, as a viewer may see it, and whose records who moves in must have before."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from fleet.models import Appliance, Delivery, Duty, LimitSet, LimitSetVersion, Tenancy, User, Visit
from fleet.queries.access import visible_clients
from fleet.queries.duties import Reckoned, reckon, with_facts

Place = tuple[uuid.UUID, uuid.UUID, uuid.UUID]  # tenancy, appliance, limit set


def visible_tenancies(viewer: User) -> QuerySet[Tenancy]:
    mine = Tenancy.objects.filter(building__client__in=visible_clients(viewer))
    return mine.select_related("building", "appliance")


@dataclass(frozen=True)
class Owed:
    """What a set asks for before a tenancy begins: the record of an appliance, by recipient.

    visit: the newest that discharged the set's duty by then; None where there is none yet.
    """

    tenancy: Tenancy
    appliance: Appliance
    limit_set: LimitSet
    recipients: tuple[str, ...]
    visit: Visit | None


def tenancy_recipients(version: LimitSetVersion) -> tuple[str, ...]:
    """Who must have the record before a new tenancy begins, once each. Read as leniently as the other clocks."""
    told: Any = version.content.get("delivery")
    entries = (each for each in told if isinstance(each, dict)) if isinstance(told, list) else ()
    asked = (each for each in entries if each.get("before") == "tenancy" and each.get("to"))
    return tuple(dict.fromkeys(str(each["to"])[:100] for each in asked))


def owed_records(tenancies: Iterable[Tenancy], only: Collection[uuid.UUID] | None = None) -> list[Owed]:
    """Of all these tenancies that are not called off, in a constant number of questions. only: of these appliances.

    A set asks where its duty stands on the day on which the tenancy begins.
    """
    served = _served([each for each in tenancies if not each.called_off], only)
    if not served:
        return []
    duties = Duty.objects.filter(
        appliance__in={appliance.id for _tenancy, appliance in served}, attachment__isnull=False, part=""
    )
    sets = _sets_that_ask(duties)
    if not sets:
        return []
    under: dict[uuid.UUID, list[Duty]] = defaultdict(list)
    for duty in with_facts(duties.filter(attachment__limit_set__in=list(sets)).select_related("attachment")):
        under[duty.appliance_id].append(duty)
    asked = [
        (tenancy, duty)
        for tenancy, appliance in served
        for duty in under[appliance.id]
        if _stands_on(duty, tenancy.begins)
    ]
    reckoned = reckon((duty, tenancy.begins) for tenancy, duty in asked)
    visits = _visits_of(reckoned)
    owed: dict[Place, Owed] = {}
    for (tenancy, duty), made in zip(asked, reckoned, strict=True):
        assert duty.attachment is not None  # as chosen above
        limit_set, recipients = sets[duty.attachment.limit_set_id]
        visit = visits.get((duty.appliance_id, made.discharged_by.day)) if made.discharged_by else None
        one = Owed(tenancy, duty.appliance, limit_set, recipients, visit)
        place = tenancy.id, duty.appliance_id, limit_set.id
        if place not in owed or _is_newer(visit, owed[place].visit):
            owed[place] = one
    return list(owed.values())


def without_record(viewer: User, day: date) -> list[Owed]:
    """What is owed before tenancies from this day on, and cannot be delivered: no check has discharged the duty yet."""
    coming = list(visible_tenancies(viewer).filter(begins__gte=day, called_off=""))
    missing = [each for each in owed_records(coming) if each.visit is None]
    known = Delivery.objects.filter(tenancy__in={each.tenancy.id for each in missing}).values_list(
        "tenancy_id", "visit__appliance_id", "limit_set_id"
    )
    standing = set(known) if missing else set()
    lacking = [each for each in missing if (each.tenancy.id, each.appliance.id, each.limit_set.id) not in standing]
    return sorted(lacking, key=lambda each: (each.tenancy.begins, each.appliance.name, each.limit_set.key))


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


def _sets_that_ask(duties: QuerySet[Duty]) -> dict[uuid.UUID, tuple[LimitSet, tuple[str, ...]]]:
    attached = LimitSet.objects.filter(id__in=duties.values("attachment__limit_set")).prefetch_related("versions")
    told = ((each, tenancy_recipients(each.current) if each.current else ()) for each in attached)
    return {each.id: (each, recipients) for each, recipients in told if recipients}


def _stands_on(duty: Duty, day: date) -> bool:
    return duty.since <= day and (duty.until is None or duty.until >= day)


def _visits_of(reckoned: Iterable[Reckoned]) -> Mapping[tuple[uuid.UUID, date], Visit]:
    """By appliance and day of the checks that counted: the newest visit of that day that counts as one."""
    days = {(each.duty.appliance_id, each.discharged_by.day) for each in reckoned if each.discharged_by}
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
    """Of two duties of one set, which another place or time put on the appliance, the newer record goes."""
    if visit is None or than is None:
        return than is None
    return (visit.local_date, visit.id) > (than.local_date, than.id)
