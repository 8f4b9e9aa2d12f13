"""Tenancies that begin: where a set says so, the new tenant has the newest record that counted its required check by
then.

What waits because of one is told anew from the register, the checks and the sendings. The building's row is held
while it is: who changes a tenancy and who takes in a visit at the same moment see one another.
"""

import uuid
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from fleet.assess.due.tenancies import delivery_changes
from fleet.coded import wrong
from fleet.errors import FleetError
from fleet.models import Appliance, Building, Delivery, Tenancy, Visit
from fleet.services.register import change_entry, create_entry


@transaction.atomic
def begin_tenancy(*, values: dict[str, Any], now: datetime) -> tuple[Tenancy, int]:
    """A tenancy begins: values has building, appliance (None for all in the building), begins, source.

    Opens for each set that asks for it the delivery of the newest record that counted its required check, due on the
    day before; where there is none yet, as soon as a check has been made. Returns how many wait with it. Raises
    FleetError `invalid`.
    """
    appliance = values.get("appliance")
    if appliance is not None and appliance.building_id != values["building"].id:
        errors = {"appliance": wrong("stand_in", appliance.name, building=values["building"].name)}
        raise FleetError("invalid", "The tenancy can't be recorded.", errors=errors)
    _hold([values["building"].id])
    tenancy = create_entry(model=Tenancy, values=values)
    _follow([tenancy], now)
    return tenancy, tenancy.deliveries.filter(sent_at__isnull=True, not_needed=[]).count()


@transaction.atomic
def change_tenancy(*, tenancy: Tenancy, version: int, changes: dict[str, Any], now: datetime) -> Tenancy:
    """Another day, who said so, or that it does not begin: what nobody has received follows.

    Raises as `change_entry`.
    """
    _hold([tenancy.building_id])
    changed = change_entry(entry=tenancy, version=version, changes=changes)
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
    concerned = list(Tenancy.objects.filter(Q(here, begins__gte=visit.local_date) | Q(id__in=on_it)))
    if concerned:
        _follow(concerned, now, {each.id for each in places})


def follow_appliances(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """Sets, required checks or the register may have changed: tenancies of these appliances that are to come follow.

    One question where none is to come, a constant number where nothing has to change; only then a building is held.
    """
    ids = {each.id for each in appliances}
    here = Q(appliance__in=ids) | Q(appliance__isnull=True, building__in={each.building_id for each in appliances})
    first = min(each.building.today(now) for each in appliances)
    coming = list(Tenancy.objects.filter(here, begins__gte=first))
    if coming and delivery_changes(coming, now, ids):
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
    changes = delivery_changes(tenancies, now, only, held=True)
    Delivery.objects.filter(id__in=[each.id for each, values in changes if values is None]).delete()
    Delivery.objects.bulk_create(each for each, _values in changes if each._state.adding)
    for each, values in changes:
        if values:
            Delivery.objects.filter(id=each.id).update(**values, version=F("version") + 1)
