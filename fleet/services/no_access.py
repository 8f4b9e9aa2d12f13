"""No access: somebody came and didn't get to the appliance. Recorded as evidence; the proposal stays open."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F

from fleet.coded import coded, wrong
from fleet.errors import FleetError
from fleet.models import Appliance, NoAccess, Revisit, User
from fleet.services import jobs


@transaction.atomic
def record_no_access(
    *, appliances: Sequence[Appliance], at: datetime, kind: str, note: str, letter: str, actor: User, now: datetime
) -> list[NoAccess]:
    """One attempt at each of these appliances of a building; the same attempt again is found, not made twice.

    letter: what was left or sent, in words; a photo of it is attached as a file. A day that was set for that day or
    before is taken back: the proposal is open again and falls on a day after the attempt. Raises FleetError `invalid`.
    """
    _check(appliances, at, kind, now)
    made = [_attempt(each, at, {"kind": kind, "note": note, "letter": letter, "by": actor}, now) for each in appliances]
    for each in made:
        missed = Revisit.objects.filter(appliance=each.appliance_id, day__lte=each.local_date)
        missed.update(
            state=Revisit.State.PROPOSED, day=None, technician=None, set_by=actor, set_at=now,
            note=f"{each.get_kind_display()}, {each.local_date:%Y-%m-%d}", version=F("version") + 1,
        )  # fmt: skip
        jobs.request_job(kind="refresh_appliance", key=str(each.appliance_id), due_at=now)
    return made


def _attempt(appliance: Appliance, at: datetime, said: dict[str, Any], now: datetime) -> NoAccess:
    day = at.astimezone(ZoneInfo(appliance.building.time_zone)).date()
    attempt, _made = NoAccess.objects.get_or_create(
        appliance=appliance, at=at, defaults=said | {"local_date": day, "recorded_at": now}
    )
    return attempt


def _check(appliances: Sequence[Appliance], at: datetime, kind: str, now: datetime) -> None:
    errors = {}
    if not appliances:
        errors["appliances"] = coded("name_one")
    if len({each.building_id for each in appliances}) > 1:
        errors["appliances"] = coded("several_buildings")
    if kind not in NoAccess.Kind.values:
        errors["kind"] = wrong("one_of", kind, allowed=NoAccess.Kind.values)
    if at > now:
        errors["at"] = wrong("moment_ahead", f"{at:%Y-%m-%d %H:%M}")
    if errors:
        raise FleetError("invalid", "The attempt can't be recorded.", errors=errors)
