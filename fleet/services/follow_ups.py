"""What a finding asks for by a day: another test, and a defect repaired or resolved by a named person with a reason."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from fleet.assess.due.follow_ups import first_checks_after, last_day_of, open_defects, retests_started
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.models import Appliance, Contractor, Defect, Judgement, LimitSetVersion, Retest, User, Visit
from fleet.models.follow_ups import STILL_OPEN
from fleet.services import jobs
from fleet.services.register import change_row


def follow_visit(*, visit: Visit, judgement: Judgement, versions: Sequence[LimitSetVersion]) -> None:
    """The retests that this visit starts, one a set, and the last days of the defects that it found.

    versions: of the sets by which the visit was judged, each with its set. What a correction took back is gone.
    """
    started = retests_started(visit, judgement, versions)
    Retest.objects.filter(visit=visit).exclude(limit_set__in=[each.limit_set_id for each in started]).delete()
    Retest.objects.bulk_create(
        started,
        update_conflicts=True,
        unique_fields=["visit", "limit_set"],
        update_fields=["appliance", "event", "found_on", "due", "steps"],
    )
    if found := list(visit.defects.all()):
        _date_defects(found, versions, Contractor.objects.get())


def follow_appliances(
    *, appliances: Sequence[Appliance], contractor: Contractor, now: datetime
) -> tuple[list[Defect], list[Retest]]:
    """Their open defects, dated by today's choices of the contractor, and their open retests."""
    ids = [each.id for each in appliances]
    known = open_defects(ids)
    for each, versions in known:
        _date_defects([each], versions, contractor)
    latest = max((each.building.today(now) for each in appliances), default=now.date())
    return [each for each, _versions in known], _resolve_retests(ids, latest)


def _resolve_retests(appliance_ids: Iterable[uuid.UUID], until: date) -> list[Retest]:
    """Each retest ended by the first check after its finding, or open again; returns the open ones.

    until: the latest day that a check may have.
    """
    known = list(Retest.objects.filter(appliance__in=list(appliance_ids)).select_related("limit_set"))
    done_by = first_checks_after(known, until)
    for each in known:
        if each.done_by_id != done_by[each.id]:
            Retest.objects.filter(id=each.id).update(done_by=done_by[each.id], version=F("version") + 1)
    return [each for each in known if done_by[each.id] is None]


def _date_defects(defects: Iterable[Defect], versions: Sequence[LimitSetVersion], contractor: Contractor) -> None:
    """The last day of each of a visit's defects, and how it comes about; stored where it changed.

    versions: of the sets by which the visit was judged, each with its set. The earliest of what the visit recorded and
    what these sets ask for counts; without either the contractor's own days by severity. A note without a day has none.
    """
    for each in defects:
        due, steps = last_day_of(each, versions, contractor.repair_within_days)
        if (each.due, each.steps) != (due, steps):
            Defect.objects.filter(id=each.id).update(due=due, steps=steps, version=F("version") + 1)
            each.due, each.steps = due, steps


@transaction.atomic
def resolve_defect(*, defect: Defect, version: int, why: str, actor: User, now: datetime) -> Defect:
    """Closed by a named person, with the reason. Raises FleetError `invalid`, Conflict `changed_meanwhile`.

    What is declared unsafe stays an open flag all the same: only a qualified person closes that.
    """
    if not why.strip():
        raise FleetError("invalid", "Closing a defect needs its reason.", errors={"why": coded("say_why")})
    changes = {"resolved_at": now, "resolved_by": actor, "resolved_why": why.strip()}
    change_row(row=defect, version=version, changes=changes, still=STILL_OPEN)
    jobs.request_job(kind="refresh_appliance", key=str(defect.appliance_id), due_at=now)
    return defect
