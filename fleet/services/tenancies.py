"""Tenancies that begin: where a set says so, the new tenant has the newest record that discharged its duty by then.

What waits because of one is told anew from the register, the checks and the sendings. The building's row is held
while it is: who changes a tenancy and who takes in a visit at the same moment see one another.
"""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _

from fleet.errors import FleetError
from fleet.models import Appliance, Building, Delivery, Tenancy, User, Visit
from fleet.queries.tenancies import owed_records
from fleet.services.delivery_standing import Asked, as_it_stands, asked_before, differs, with_records
from fleet.services.register import change_entry, create_entry

Key = tuple[uuid.UUID, uuid.UUID, uuid.UUID, str]  # tenancy, appliance, limit set, recipient
Change = tuple[Delivery, dict[str, Any] | None]  # None where nobody has tried it: it goes


@transaction.atomic
def begin_tenancy(*, values: dict[str, Any], actor: User, now: datetime) -> tuple[Tenancy, int]:
    """A tenancy begins: values has building, appliance (None for all in the building), begins, source.

    Opens for each set that asks for it the delivery of the newest record that discharged its duty, due on the day
    before; where there is none yet, as soon as a check has been made. Returns how many wait with it. Raises FleetError
    `invalid`.
    """
    appliance = values.get("appliance")
    if appliance is not None and appliance.building_id != values["building"].id:
        errors = {"appliance": f"is {appliance.name}; it must stand in {values['building'].name}"}
        raise FleetError("invalid", "The tenancy can't be recorded.", errors=errors)
    _hold([values["building"].id])
    tenancy = create_entry(Tenancy, values)
    _follow([tenancy], now)
    return tenancy, tenancy.deliveries.filter(sent_at__isnull=True, not_needed="").count()


@transaction.atomic
def change_tenancy(*, tenancy: Tenancy, version: int, changes: dict[str, Any], now: datetime) -> Tenancy:
    """Another day, who said so, or that it does not begin: what nobody has received follows.

    Raises as `change_entry`.
    """
    _hold([tenancy.building_id])
    changed = change_entry(tenancy, version=version, changes=changes)
    _follow([changed], now)
    return changed


@transaction.atomic
def follow_visit(*, visit: Visit, left: Appliance | None, now: datetime) -> None:
    """A visit was taken in or corrected: who moves in on its day or later has the newest record.

    left: the appliance that a correction took it from; who was to have it as that one's record has another now.
    """
    places = [visit.appliance, *([left] if left else [])]
    _hold({each.building_id for each in places})
    here = Q(appliance=visit.appliance_id) | Q(appliance__isnull=True, building=visit.appliance.building_id)
    on_it = Delivery.objects.filter(visit=visit, tenancy__isnull=False).values("tenancy")
    concerned = Tenancy.objects.filter(Q(here, begins__gte=visit.local_date) | Q(id__in=on_it))
    _follow(list(concerned), now, {each.id for each in places})


def follow_appliances(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """Sets, duties or the register may have changed: tenancies of these appliances that are to come follow.

    One question where none is to come, a constant number where nothing has to change; only then a building is held.
    """
    ids = {each.id for each in appliances}
    here = Q(appliance__in=ids) | Q(appliance__isnull=True, building__in={each.building_id for each in appliances})
    first = min(each.building.today(now) for each in appliances)
    coming = list(Tenancy.objects.filter(here, begins__gte=first))
    if coming and _changes(coming, now, ids):
        with transaction.atomic():
            _hold({each.building_id for each in coming})
            _follow(coming, now, ids)


def _hold(building_ids: Collection[uuid.UUID]) -> None:
    """Always in the same order. Rows may go on to name the buildings meanwhile."""
    held = Building.objects.select_for_update(no_key=True).filter(id__in=building_ids).order_by("id")
    list(held.values_list("id", flat=True))


def _follow(tenancies: Sequence[Tenancy], now: datetime, only: Collection[uuid.UUID] | None = None) -> None:
    """Each delivery as it stands now: opened once, moved to a newer record, taken away where no record is left.

    only: those of these appliances, None for all.
    """
    changes = _changes(tenancies, now, only, held=True)
    Delivery.objects.filter(id__in=[each.id for each, values in changes if values is None]).delete()
    Delivery.objects.bulk_create(each for each, _values in changes if each._state.adding)
    for each, values in changes:
        if values:
            Delivery.objects.filter(id=each.id).update(**values, version=F("version") + 1)


def _changes(
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
            said = {"recipient": recipient, "due": one.due, "words": one.words[:300], "opened_at": now}
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
    over = _("The tenancy was called off: %s") % tenancy.called_off if tenancy.called_off else ""
    values = as_it_stands(delivery, sendings, asked, over)
    return [(delivery, values)] if differs(delivery, values) else []


def _has_a_newer_one(delivery: Delivery, asked: Asked) -> bool:
    """Somebody has a later record than the one that the register would choose now, and it still says the same."""
    visit = delivery.visit
    is_newer = (visit.local_date, visit.id) > (asked.visit.local_date, asked.visit.id)
    held = any(each.record_id == visit.record_id and each.failed_at is None for each in delivery.sendings.all())
    return is_newer and held
