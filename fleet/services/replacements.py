"""An appliance replaced by another: the old one leaves with its duties, the new one begins with clocks of its own."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.assess.due.duties import own_duties, standing_of
from fleet.errors import Conflict, FleetError
from fleet.models import Appliance, Duty, LimitSetAttachment, User
from fleet.services import duties
from fleet.services.appliances import change_appliance, take_on_appliance
from fleet.services.limit_sets import attach_limit_set

WHY_LENGTH = 500


@transaction.atomic
def replace_appliance(
    *,
    old: Appliance,
    version: int,
    day: date,
    values: dict[str, Any],
    attachments: Iterable[uuid.UUID],
    kept_duties: Iterable[uuid.UUID],
    actor: User,
    now: datetime,
) -> Appliance:
    """The new appliance. The old one leaves on that day, and its duties end with that reason.

    values: of the new one; building, flue and first day are told from the old one. Sets of the building and the client
    reach it by themselves; what was attached to the old one alone, and its contract's and maker's duties, are taken
    over only as named: attachments and kept_duties are ids of standing ones. It inherits no reading and no drift.
    Raises FleetError `invalid`, Conflict where the old one changed or was replaced meanwhile.
    """
    if not old.in_service_from <= day <= old.building.today(now) or (old.in_service_to and old.in_service_to < day):
        said = f"is {day}; the old one must be in service on that day, and it must not lie ahead"
        raise FleetError("invalid", "It can't have been replaced on that day.", errors={"day": said})
    if Appliance.objects.filter(replaces=old).exists():
        raise Conflict("already_replaced", "It has been replaced already; nothing was changed.")
    sets, own = _standing_sets(old, attachments), _standing_duties(old, kept_duties)
    place = {"building": old.building, "flue_group": old.flue_group, "in_service_from": day, "replaces": old}
    new = take_on_appliance(values={"kind": old.kind, "room": old.room} | values | place, actor=actor, now=now)
    for each in sets:
        taken_over = {"limit_set": each.limit_set, "appliance": new, "since": day, "why": _why(each.why, old)}
        attach_limit_set(values=taken_over, actor=actor, now=now)
    for duty in own:
        taken_over = {"appliance": new, "name": duty.name, "source": duty.source, "rule": duty.rule, "since": day}
        duties.add_duty(values=taken_over | {"why": _why(duty.why, old)}, actor=actor, now=now)
    duties.end_each(duties=standing_of(old), day=day, why=f"{duties.ENDED_BY_ANOTHER} {_named(new)}")
    change_appliance(appliance=old, version=version, changes={"in_service_to": day}, now=now)
    return new


def _standing_sets(old: Appliance, ids: Iterable[uuid.UUID]) -> list[LimitSetAttachment]:
    wanted = set(ids)
    standing = LimitSetAttachment.objects.filter(appliance=old, until__isnull=True, id__in=wanted)
    found = list(standing.select_related("limit_set"))
    _refuse_unknown("attachments", wanted - {each.id for each in found})
    return found


def _standing_duties(old: Appliance, ids: Iterable[uuid.UUID]) -> list[Duty]:
    wanted = set(ids)
    found = list(own_duties(old).filter(id__in=wanted))
    _refuse_unknown("duties", wanted - {each.id for each in found})
    return found


def _refuse_unknown(name: str, unknown: set[uuid.UUID]) -> None:
    if unknown:
        said = f"has {', '.join(sorted(map(str, unknown)))}; only what stands for the old appliance alone can be named"
        raise FleetError("invalid", "Something named isn't the old appliance's.", errors={name: said})


def _why(why: str, old: Appliance) -> str:
    return f"Taken over from {_named(old)}. {why}"[:WHY_LENGTH]


def _named(appliance: Appliance) -> str:
    return f"{appliance.name}, {appliance.serial or 'no serial number'}"
