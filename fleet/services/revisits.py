"""Revisits: by when an appliance should be seen again: the earliest of all reasons, which sets the date, in words."""

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import structlog
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from fleet.assess.appliances import everybody_in_shards
from fleet.assess.due.extra_visits import Allotment, allot, cases_standing, coming_to, last_attempts
from fleet.assess.due.proposals import Known, Proposal
from fleet.assess.due.reasons import reasons_in, window_of
from fleet.assess.due.required_checks import required_checks_standing, standing_of
from fleet.coded import as_rows, coded
from fleet.models import Appliance, Contractor, RequiredCheck, Revisit
from fleet.services import flags, follow_ups, forecasts, jobs, required_checks, tenancies

log = structlog.get_logger()
FORECAST_AT_ONCE = 50


@transaction.atomic
def refresh_appliance(*, appliance: Appliance, now: datetime) -> Revisit | None:
    """Everything that follows from an appliance's records: forecasts, required checks, drift flags, and its revisit."""
    refresh_appliances(appliances=[appliance], now=now)
    return Revisit.objects.filter(appliance=appliance).first()


@transaction.atomic
def refresh_appliances(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """The same for several in one pass."""
    forecasts.refresh_forecasts(appliances=appliances, now=now)
    propose_revisits(appliances=appliances, now=now)


def refresh_everybody(*, now: datetime) -> None:
    """The same for all appliances, some at a time, and the extra visits rationed among them."""
    for some in everybody_in_shards():
        forecast_shard(appliances=some, now=now)
        propose_shard(appliances=some, now=now)
    ration_extra_visits(now=now)


def forecast_shard(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """Their forecasts, calculated outside the write lock: to be called outside a transaction, may run twice."""
    for first in range(0, len(appliances), FORECAST_AT_ONCE):
        _do_what_can_be(forecasts.refresh_forecasts, appliances[first : first + FORECAST_AT_ONCE], now)


def propose_shard(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """Their required checks, drift flags and revisits in one pass; also where a forecast failed: required checks need
    none.
    """
    _do_what_can_be(propose_revisits, appliances, now)


def _do_what_can_be(work: Callable[..., object], appliances: Sequence[Appliance], now: datetime) -> None:
    """All at once. Where one fails the others go on; it gets a job of its own, which shows its error."""
    if _went_well(work, appliances, now):
        return
    failed = [each for each in appliances if not _went_well(work, [each], now)]
    for appliance in failed:
        jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    log.error("refresh_left_out", failed=len(failed), of=len(appliances))


def _went_well(work: Callable[..., object], appliances: Sequence[Appliance], now: datetime) -> bool:
    try:
        work(appliances=appliances, now=now)
    except Exception:
        log.exception("refresh_failed", appliances=[str(each.id) for each in appliances[:3]], of=len(appliances))
        return False
    return True


@transaction.atomic
def propose_revisits(*, appliances: Sequence[Appliance], now: datetime) -> None:
    """The same for many appliances in few statements, writing only what changed.

    Where a case that takes one of the extra visits changed, they are rationed anew by a job: that needs everybody's.
    """
    if _propose(appliances, now):
        jobs.request_job(kind="ration_extra_visits", key="all", due_at=now)


def _propose(appliances: Sequence[Appliance], now: datetime) -> bool:
    """True where a case of the extra visits came, went or moved."""
    if not appliances:
        return False
    days = {each.id: each.building.today(now) for each in appliances}
    staying = []
    for each in appliances:
        if each.in_service_to and each.in_service_to < days[each.id]:
            required_checks.end_each(
                required_checks=standing_of(each), day=each.in_service_to, why=RequiredCheck.Ended.OUT_OF_SERVICE
            )
            flags.close_gone(appliance=each, day=each.in_service_to, now=now)
        else:
            staying.append(each)
    standing = required_checks.recompute_required_checks(required_checks=required_checks_standing(staying), now=now)
    serving = [each for each in staying if each.in_service_on(days[each.id])]
    ids = [each.id for each in serving]
    flags.close_proven(appliance_ids=ids, now=now)
    contractor = Contractor.objects.get()
    defects, retests = follow_ups.follow_appliances(appliances=serving, contractor=contractor, now=now)
    known = Known.of(ids, contractor=contractor, now=now, required_checks=standing, defects=defects, retests=retests)
    proposals = [Proposal(each, days[each.id], known) for each in serving]
    cases = [case for each in proposals for case in each.drift_cases()]
    flags.put_drift_flags(appliance_ids=ids, cases=cases, now=now)
    moved = _put_all(appliances, proposals, now)
    tenancies.follow_appliances(appliances=appliances, now=now)  # last: it may hold a building, and not for long
    return moved


# ---- writing ----

# What a person has set is none of a refresh's; the id stays that of the proposal.
_SET_BY_HAND = ("id", "external_reference", "appliance", "state", "day", "technician", "set_by", "set_at", "note")
_WRITTEN = [each.name for each in Revisit._meta.fields if each.name not in _SET_BY_HAND]
_RATIONED = ("drift_by", "urgency", "otherwise_by")


def _put_all(appliances: Sequence[Appliance], proposals: Sequence[Proposal], now: datetime) -> bool:
    """New and changed proposals in one statement; those without a reason go, unless they are set for a day."""
    fulfilled = {id for proposal in proposals for id in _fulfilled(proposal)}
    if fulfilled:
        reset = {"state": Revisit.State.PROPOSED, "day": None, "technician": None, "note": "", "set_by": None}
        Revisit.objects.filter(id__in=fulfilled).update(**reset, set_at=None, version=F("version") + 1)
    kept: set[uuid.UUID] = set()
    written, moved = [], False
    for proposal in proposals:
        standing = proposal.known.standing.get(proposal.appliance.id)
        is_set = standing is not None and standing.is_set and standing.id not in fulfilled
        if not proposal.reasons and not is_set:
            continue
        kept.add(proposal.appliance.id)
        values = proposal.values() if proposal.reasons else _nothing_left(standing)
        if standing and all(getattr(standing, name) == value for name, value in values.items()):
            continue
        moved = moved or _moves_rationing(standing, values)
        bumped = fulfilled and standing is not None and standing.id in fulfilled
        version = standing.version + (2 if bumped else 1) if standing else 1
        written.append(Revisit(appliance=proposal.appliance, **values, made_at=now, version=version))
    serving = {proposal.appliance.id for proposal in proposals}
    left = [each.id for each in appliances if each.id not in serving]
    nothing_asks = Q(appliance__in=serving - kept, state=Revisit.State.PROPOSED)
    gone = Revisit.objects.filter(Q(appliance__in=left) | nothing_asks)
    moved = moved or gone.filter(drift_by__isnull=False).exists()
    gone.delete()
    Revisit.objects.bulk_create(written, update_conflicts=True, unique_fields=["appliance"], update_fields=_WRITTEN)
    return moved


def _fulfilled(proposal: Proposal) -> Iterable[uuid.UUID]:
    standing = proposal.known.standing.get(proposal.appliance.id)
    return [standing.id] if standing and proposal.has_been_fulfilled(standing) else []


def _nothing_left(standing: Revisit | None) -> dict[str, Any]:
    """Nothing asks for it by a date any more, but a person has set a day: that stands until they take it back."""
    assert standing is not None and standing.day is not None  # only then it is kept
    why = as_rows([coded("nothing_left", day=standing.day)])[0]
    values = {"earliest": standing.day, "latest": standing.day, "date_set_by": "set", "why": why, "reasons": []}
    nothing = {"otherwise_by": None, "drift_by": None, "extra": "", "extra_week": None, "accepted_risk": None}
    return values | nothing | {"accepted_until": None, "urgency": 0.0, "urgency_of": {}}


def _moves_rationing(standing: Revisit | None, values: Mapping[str, Any]) -> bool:
    """A case came, went or moved. Who else comes to its building by then is seen by the night's rationing."""
    before = {name: getattr(standing, name) if standing else None for name in _RATIONED}
    if before["drift_by"] is None and values["drift_by"] is None:
        return False
    return any(before[name] != values[name] for name in _RATIONED)


@transaction.atomic
def ration_extra_visits(*, now: datetime) -> int:
    """Which drift cases are within the extra visits, anew for all of them. Returns how many proposals changed."""
    cases, today = cases_standing(), timezone.localtime(now).date()
    a_week = Contractor.objects.get().extra_visits_a_week
    allotted = allot(cases, coming_to(each.building for each in cases), a_week, today)
    standing = Revisit.objects.filter(drift_by__isnull=False).values_list("id", "extra", "extra_week")
    changed = [row[0] for row in standing.order_by() if row[0] in allotted and row[1:] != _said(allotted[row[0]])]
    for some in (changed[n : n + 500] for n in range(0, len(changed), 500)):
        _put(some, allotted, now)
    return len(changed)


def _said(allotment: Allotment) -> tuple[str, date | None]:
    return (Revisit.Extra.WITHIN if allotment.is_within else Revisit.Extra.BEYOND), allotment.week


def _put(ids: Sequence[uuid.UUID], allotted: Mapping[uuid.UUID, Allotment], now: datetime) -> None:
    known = list(Revisit.objects.filter(id__in=ids))
    tried = last_attempts(each.appliance_id for each in known if each.no_access)
    for each in known:
        each.extra, each.extra_week = _said(allotted[each.id])
        attempt = tried.get(each.appliance_id)
        window = window_of(
            reasons_in(each.reasons),
            is_beyond=each.extra == Revisit.Extra.BEYOND,
            not_before=attempt + timedelta(days=1) if attempt else None,
        )
        for name, value in window.items():
            setattr(each, name, value)
        each.made_at, each.version = now, each.version + 1
    fields = ["extra", "extra_week", "earliest", "latest", "date_set_by", "why", "made_at", "version"]
    Revisit.objects.bulk_update(known, fields)
