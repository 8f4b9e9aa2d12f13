"""Tenancies that begin: where a set says so, the new tenant has the newest record that discharged its duty by then."""

import uuid
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from fleet.errors import FleetError
from fleet.intervals.dates import spoken
from fleet.models import Appliance, Delivery, Duty, LimitSet, Tenancy, User, Visit
from fleet.queries.duties import reckon, with_facts
from fleet.services.register import change_entry, create_entry
from fleet.services.set_clocks import tenancy_recipients


@transaction.atomic
def begin_tenancy(*, values: dict[str, Any], actor: User, now: datetime) -> tuple[Tenancy, int]:
    """A tenancy begins: values has building, appliance (None for all in the building), begins, source.

    Opens for each set that asks for it the delivery of the newest record that discharged its duty, due on that day;
    where there is none yet, as soon as a check has been made. Returns how many wait with it. Raises FleetError
    `invalid`.
    """
    appliance = values.get("appliance")
    if appliance is not None and appliance.building_id != values["building"].id:
        errors = {"appliance": f"is {appliance.name}; it must stand in {values['building'].name}"}
        raise FleetError("invalid", "The tenancy can't be recorded.", errors=errors)
    tenancy = create_entry(Tenancy, values)
    _deliver(tenancy, now)
    return tenancy, tenancy.deliveries.filter(sent_at__isnull=True).count()


@transaction.atomic
def change_tenancy(*, tenancy: Tenancy, version: int, changes: dict[str, Any], now: datetime) -> Tenancy:
    """Another day, who said so, or that it does not begin: what nobody has sent follows. Raises as `change_entry`."""
    changed = change_entry(tenancy, version=version, changes=changes)
    _deliver(changed, now)
    return changed


def follow_visit(*, visit: Visit, now: datetime) -> None:
    """A visit was taken in or corrected: who moves in on its day or later has the newest record."""
    place = Q(appliance=visit.appliance_id) | Q(appliance__isnull=True, building=visit.appliance.building_id)
    for tenancy in Tenancy.objects.filter(place, begins__gte=visit.local_date):
        _deliver(tenancy, now, [visit.appliance_id])


def _deliver(tenancy: Tenancy, now: datetime, appliance_ids: Iterable[uuid.UUID] | None = None) -> None:
    """Each delivery as it stands now: opened once, moved to a newer record, taken away where no record is left.

    What was tried keeps its record, unless that was corrected: somebody may have received it.
    """
    standing = tenancy.deliveries.prefetch_related("sendings").select_related("visit")
    known = {(each.visit.appliance_id, each.limit_set_id, each.recipient): each for each in standing}
    for appliance in _appliances(tenancy, appliance_ids):
        wanted = {} if tenancy.called_off else dict(_wanted(tenancy, appliance))
        for (appliance_id, *key), delivery in known.items():
            if appliance_id == appliance.id and tuple(key) not in wanted and not delivery.sendings.all():
                delivery.delete()
        for (limit_set_id, recipient), (visit, words) in wanted.items():
            values = {"visit": visit, "due": tenancy.begins, "words": words}
            if open_one := known.get((appliance.id, limit_set_id, recipient)):
                _bring_up_to_date(open_one, values, tenancy.building.today(now))
            else:
                place = {"tenancy": tenancy, "limit_set_id": limit_set_id, "recipient": recipient}
                Delivery.objects.create(**place, **values, opened_at=now)


def _bring_up_to_date(delivery: Delivery, values: dict[str, Any], today: date) -> None:
    """What nobody has sent follows; what was sent is sent again where that very record was corrected since."""
    last, visit = next(reversed(delivery.sendings.all()), None), values["visit"]
    changes = {} if last else values
    if last and delivery.sent_at and delivery.visit_id == visit.id and last.record_id != visit.record_id:
        why = _("The record was corrected on %s after it was sent.") % f"{today:%Y-%m-%d}"
        changes = {"sent_at": None, "returned_why": why, "due": max(delivery.due, today)}
    if any(getattr(delivery, name) != said for name, said in changes.items()):
        Delivery.objects.filter(id=delivery.id).update(**changes, version=F("version") + 1)


def _appliances(tenancy: Tenancy, ids: Iterable[uuid.UUID] | None) -> list[Appliance]:
    """Those that serve it."""
    chosen = Appliance.objects.filter(building=tenancy.building_id).select_related("building")
    if tenancy.appliance_id:
        chosen = chosen.filter(id=tenancy.appliance_id)
    if ids is not None:
        chosen = chosen.filter(id__in=ids)
    return list(chosen)


def _wanted(tenancy: Tenancy, appliance: Appliance) -> Iterator[tuple[tuple[uuid.UUID, str], tuple[Visit, str]]]:
    """By set and recipient: the visit whose record goes, and why in words."""
    duties = Duty.objects.filter(appliance=appliance, attachment__isnull=False, until__isnull=True, part="")
    sets = {each.id: each for each in _sets_that_ask(duties)}
    if not sets or not appliance.in_service_on(tenancy.begins):
        return
    asked = with_facts(duties.filter(attachment__limit_set__in=sets).select_related("attachment"))
    for made in reckon((duty, tenancy.begins) for duty in asked):
        visit = _visit_of(appliance, made.last.day) if made.last else None
        if visit is None:
            continue
        assert made.duty.attachment is not None  # as chosen above
        limit_set = sets[made.duty.attachment.limit_set_id]
        said = {"set": limit_set.name, "begins": spoken(tenancy.begins), "visit": spoken(visit.local_date)}
        words = _("By %(set)s: before the tenancy that begins on %(begins)s, the record of %(visit)s") % said
        for recipient in _recipients(limit_set):
            yield (limit_set.id, recipient), (visit, words[:300])


def _sets_that_ask(duties: QuerySet[Duty]) -> list[LimitSet]:
    attached = LimitSet.objects.filter(id__in=duties.values("attachment__limit_set")).prefetch_related("versions")
    return [each for each in attached if _recipients(each)]


def _recipients(limit_set: LimitSet) -> Sequence[str]:
    version = limit_set.current
    return tenancy_recipients(version) if version else ()


def _visit_of(appliance: Appliance, day: date) -> Visit | None:
    """The newest of that day that counts as a check."""
    made = Visit.objects.filter(appliance=appliance, local_date=day, check_made__counts=True)
    return made.order_by("id").last()
