"""The day of a revisit, and who goes: set by a person, with what its occupier knows; taken back by one too."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from fleet.assess.due.revisits import standing_notice
from fleet.coded import Coded, coded, wrong
from fleet.errors import Conflict, FleetError
from fleet.models import OccupierNotice, Person, Revisit, Role, User
from fleet.services import jobs
from fleet.services.register import change_row

SET = (Revisit.State.BOOKED, Revisit.State.CONFIRMED)


@dataclass(frozen=True)
class Notice:
    """What the occupier was told or agreed to: when, how, and how many days ahead they must hear of a day."""

    kind: str
    given_on: date
    how: str
    notice_days: int


@transaction.atomic
def book_day(
    *,
    revisit: Revisit,
    version: int,
    state: str,
    day: date,
    note: str,
    notice: Notice | None,
    technician: Person | None = None,
    actor: User,
    now: datetime,
) -> Revisit:
    """Pin or confirm a day. Where the occupier knows of another one that is still to come, only with a new notice.

    technician : who goes; None names nobody. Whoever is not qualified for that day can be named all the same, as a
    licence may still be renewed: `queries.revisits.who_words` says so until it is.

    Raises FleetError `invalid`, Conflict `occupier_knows` or `changed_meanwhile`.
    """
    today = _today(revisit, now)
    _check(state, day, notice, technician, today)
    if notice is None:
        _check_occupier(revisit, day, today)
    else:
        OccupierNotice.objects.create(
            appliance_id=revisit.appliance_id, day=day, kind=notice.kind, given_on=notice.given_on,
            how=notice.how.strip(), notice_days=notice.notice_days, by=actor, recorded_at=now,
        )  # fmt: skip
    changes = {"state": state, "day": day, "technician": technician, "note": note.strip()}
    return _change(revisit, version, changes, actor, now)


@transaction.atomic
def release_day(*, revisit: Revisit, version: int, note: str, actor: User, now: datetime) -> Revisit:
    """Open again, with the reason; nobody is named. What the occupier was told stays: another day needs another notice.

    Raises FleetError `invalid`, Conflict `changed_meanwhile`.
    """
    if not note.strip():
        raise FleetError("invalid", "Taking a day back needs its reason.", errors={"note": coded("say_why")})
    changes = {"state": Revisit.State.PROPOSED, "day": None, "technician": None, "note": note.strip()}
    return _change(revisit, version, changes, actor, now)


def _today(revisit: Revisit, now: datetime) -> date:
    return now.astimezone(ZoneInfo(revisit.appliance.building.time_zone)).date()


def _check(state: str, day: date, notice: Notice | None, technician: Person | None, today: date) -> None:
    errors = {}
    if state not in SET:
        errors["state"] = wrong("one_of", state, allowed=[str(each) for each in SET])
    if day < today:
        errors["day"] = wrong("not_before_today", day, today_on=today)
    if technician and technician.role != Role.TECHNICIAN:
        errors["technician"] = coded("no_technician", name=technician.name, role=[technician.role])
    if notice:
        errors |= _faults(notice, day, today)
    if errors:
        raise FleetError("invalid", "The day can't be set.", errors=errors)


def _faults(notice: Notice, day: date, today: date) -> dict[str, Coded]:
    errors = {}
    if notice.kind not in OccupierNotice.Kind.values:
        errors["notice.kind"] = wrong("one_of", notice.kind, allowed=OccupierNotice.Kind.values)
    if not notice.how.strip():
        errors["notice.how"] = coded("say_how_heard")
    if notice.given_on > today:
        errors["notice.given_on"] = wrong("not_ahead", notice.given_on, today_on=today)
    soonest = notice.given_on + timedelta(days=notice.notice_days)
    # Who has agreed to a day waives the days of notice; who was only told doesn't.
    if notice.kind == OccupierNotice.Kind.TOLD and day < soonest:
        errors["day"] = wrong("notice_too_short", day, days=notice.notice_days, soonest_on=soonest)
    return errors


def _check_occupier(revisit: Revisit, day: date, today: date) -> None:
    known = standing_notice(revisit, today)
    if known and known.day != day:
        errors = {"day": wrong("occupier_knows_of", day, known_on=known.day)}
        raise Conflict("occupier_knows", "The occupier knows of another day.", errors=errors)


def _change(revisit: Revisit, version: int, changes: dict[str, Any], actor: User, now: datetime) -> Revisit:
    change_row(row=revisit, version=version, changes=changes | {"set_by": actor, "set_at": now})
    # Whether drift needs an extra visit depends on who comes to the building anyway.
    jobs.request_job(kind="ration_extra_visits", key="all", due_at=now)
    return revisit
