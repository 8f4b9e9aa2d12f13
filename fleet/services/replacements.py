"""An appliance replaced by another: the old one leaves with its required checks, the new one begins with clocks of its
own.
"""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from fleet.assess.due.required_checks import own_required_checks, standing_of
from fleet.assess.refusals import refuse_days_without_visit
from fleet.coded import coded, wrong
from fleet.errors import Conflict, FleetError
from fleet.models import Appliance, LimitSetAssignment, RequiredCheck, User
from fleet.presentation.sentences import written
from fleet.services import required_checks
from fleet.services.appliances import change_appliance, take_on_appliance
from fleet.services.limit_sets import assign_limit_set

WHY_LENGTH = 500


@transaction.atomic
def replace_appliance(
    *,
    old: Appliance,
    version: int,
    day: date,
    values: dict[str, Any],
    assignments: Iterable[uuid.UUID],
    kept_required_checks: Iterable[uuid.UUID],
    actor: User,
    now: datetime,
) -> Appliance:
    """The new appliance. The old one leaves on that day, and its required checks end with that reason.

    values: of the new one; building, flue and first day are told from the old one. Sets of the building and the client
    reach it by themselves; what was assigned to the old one alone, and its contract's and manufacturer's required
    checks, are taken
    over only as named: assignments and kept_required_checks are ids of standing ones. It inherits no reading and no
    drift.
    Raises FleetError `invalid`, Conflict where the old one changed or was replaced meanwhile.
    """
    if not old.in_service_from <= day <= old.building.today(now) or (old.in_service_to and old.in_service_to < day):
        errors = {"day": wrong("old_one_in_service", day)}
        raise FleetError("invalid", "It can't have been replaced on that day.", errors=errors)
    refuse_days_without_visit(old, "day", Q(local_date__gt=day))
    if Appliance.objects.filter(replaces=old).exists():
        raise Conflict("already_replaced", "It has been replaced already; nothing was changed.")
    sets, own = _standing_sets(old, assignments), _standing_required_checks(old, kept_required_checks)
    place = {"building": old.building, "flue_group": old.flue_group, "in_service_from": day, "replaces": old}
    new = take_on_appliance(values={"kind": old.kind, "room": old.room} | values | place, actor=actor, now=now)
    for each in sets:
        taken_over = {"limit_set": each.limit_set, "appliance": new, "since": day, "why": _why(each.why, old)}
        assign_limit_set(values=taken_over, actor=actor, now=now)
    for required_check in own:
        taken_over = {
            "appliance": new,
            "name": required_check.name,
            "source": required_check.source,
            "rule": required_check.rule,
            "since": day,
        }
        required_checks.add_required_check(
            values=taken_over | {"why": _why(required_check.why, old)}, actor=actor, now=now
        )
    required_checks.end_each(required_checks=standing_of(old), day=day, why=RequiredCheck.Ended.REPLACED)
    change_appliance(appliance=old, version=version, changes={"in_service_to": day}, actor=actor, now=now)
    return new


def _standing_sets(old: Appliance, ids: Iterable[uuid.UUID]) -> list[LimitSetAssignment]:
    wanted = set(ids)
    standing = LimitSetAssignment.objects.filter(appliance=old, until__isnull=True, id__in=wanted)
    found = list(standing.select_related("limit_set"))
    _refuse_unknown("assignments", wanted - {each.id for each in found})
    return found


def _standing_required_checks(old: Appliance, ids: Iterable[uuid.UUID]) -> list[RequiredCheck]:
    wanted = set(ids)
    found = list(own_required_checks(old).filter(id__in=wanted))
    _refuse_unknown("required_checks", wanted - {each.id for each in found})
    return found


def _refuse_unknown(name: str, unknown: set[uuid.UUID]) -> None:
    if unknown:
        errors = {name: coded("only_the_old_ones", unknown=sorted(map(str, unknown)))}
        raise FleetError("invalid", "Something named isn't the old appliance's.", errors=errors)


def _why(why: str, old: Appliance) -> str:
    serial = old.serial or written("no_serial")
    return written("taken_over", name=old.name, serial=serial, why=why)[:WHY_LENGTH]
