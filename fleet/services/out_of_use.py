"""Out of use: an appliance stands still from a day on, and is started again. Recorded, never edited."""

import uuid
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction

from fleet.assess.projections import out_of_use_rows
from fleet.coded import wrong
from fleet.errors import Conflict, FleetError
from fleet.models import Appliance, OutOfUse, Record, User
from fleet.models.records import content_of
from fleet.services import jobs
from fleet.services.records import append_record, put_rows

KIND = "out_of_use"


@transaction.atomic
def begin_out_of_use(
    *, appliance: Appliance, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> OutOfUse:
    """From that day its required checks are suspended; `content` has begins, why, said_by, proof.

    Raises FleetError `invalid` for a day to come or before it came, Conflict `already_out_of_use`.
    """
    begins = date.fromisoformat(content["begins"])
    _refuse_begin(appliance, begins, now)
    full = {"id": str(id), "appliance": str(appliance.id), **content}
    record = append_record(kind=KIND, subject=id, content=full, actor=actor, now=now)
    return _take_in(full, record, now)


@transaction.atomic
def end_out_of_use(*, out_of_use: OutOfUse, content: dict[str, Any], actor: User, now: datetime) -> OutOfUse:
    """It was started again on a day: a record that amends the first.

    `content` has ends, restart_said_by, restart_proof. Ended on the day it began it never was out of use.
    Raises FleetError `invalid`, Conflict `already_ended`.
    """
    ends = date.fromisoformat(content["ends"])
    if out_of_use.ends is not None:
        raise Conflict(
            "already_ended", "It was started again on %(day)s; nothing was changed.", figures={"day": out_of_use.ends}
        )
    today = out_of_use.appliance.building.today(now)
    if not out_of_use.begins <= ends <= today:
        errors = {"ends": wrong("restart_day", ends, begun_on=out_of_use.begins, today_on=today)}
        raise FleetError("invalid", "The restart can't have been on that day.", errors=errors)
    begun = Record.objects.get(id=out_of_use.record_id)
    full = content_of(begun) | content
    try:
        with transaction.atomic():
            record = append_record(kind=KIND, subject=out_of_use.id, content=full, actor=actor, now=now, amends=begun)
    except IntegrityError as bad:
        raise Conflict("already_ended", "Somebody else recorded the restart meanwhile; read it again.") from bad
    return _take_in(full, record, now)


def _take_in(full: dict[str, Any], record: Record, now: datetime) -> OutOfUse:
    put_rows(rows=out_of_use_rows(full, record.id))
    jobs.request_job(kind="refresh_appliance", key=full["appliance"], due_at=now)
    return OutOfUse.objects.get(id=full["id"])


def _refuse_begin(appliance: Appliance, begins: date, now: datetime) -> None:
    last = appliance.out_of_use.order_by("begins").last()
    if last and last.ends is None:
        raise Conflict(
            "already_out_of_use",
            "It has been out of use since %(day)s; nothing was changed.",
            figures={"day": last.begins},
        )
    first = max(appliance.in_service_from, last.ends) if last and last.ends else appliance.in_service_from
    latest = min(appliance.building.today(now), appliance.in_service_to or date.max)
    if not first <= begins <= latest:
        errors = {"begins": wrong("out_of_use_day", begins, first_on=first, last_on=latest)}
        raise FleetError("invalid", "It can't have gone out of use on that day.", errors=errors)
