"""Work that must happen: request it in the business transaction, claim it, finish it once."""

import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import structlog
from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet

from fleet.assess.jobs import due_jobs, old_jobs
from fleet.errors import Conflict
from fleet.failpoints import failpoint
from fleet.models import Job
from fleet.presentation.sentences import written

log = structlog.get_logger()
# A claim is renewed while its worker lives, so that the work of a killed one is taken up within about a minute.
TAKEN_MEANWHILE = 20
CLAIM = timedelta(seconds=60)
MOST_TRIES = 8
LONGEST_DELAY_S = 600
REPUBLISH = timedelta(seconds=30)
PUBLISH_AT_ONCE = 200
PRUNED_AT_ONCE = 1000
ERROR_LENGTH = 4000


class LostClaim(Exception):
    """The claim ran out and another worker took the job: this run's effect must not be kept."""


class CancelRequested(Exception):
    """Somebody called the running work off: its effect must not be kept."""


# ---- request ----


def request_job(
    *, kind: str, key: str, due_at: datetime, args: dict[str, Any] | None = None, parent: Job | None = None
) -> None:
    """Ask for work once: a request while the same work already waits changes at most when it is done."""
    if _added(kind, key, args or {}, due_at, parent):
        return
    _bring_forward(Job.objects.filter(kind=kind, key=key), due_at)
    Job.objects.filter(kind=kind, key=key, state=Job.State.WAITING, is_bulk=True).update(
        is_bulk=False, published_at=None
    )


def request_jobs(*, kind: str, keys: Sequence[str], due_at: datetime, parent: Job | None = None) -> None:
    """The same for many keys at once, as bulk work: it gives way to what is asked for one by one."""
    missing = list(keys)
    with transaction.atomic():
        while missing:
            wanted = [Job(kind=kind, key=key, due_at=due_at, parent=parent, is_bulk=True) for key in missing]
            Job.objects.bulk_create(wanted, ignore_conflicts=True)
            held = _held(kind, missing)
            missing = [key for key in missing if key not in held]
        _bring_forward(Job.objects.filter(kind=kind, key__in=keys), due_at)


def _added(kind: str, key: str, args: dict[str, Any], due_at: datetime, parent: Job | None) -> bool:
    """False where the same waits already; its row is locked then."""
    for _again in range(TAKEN_MEANWHILE):
        try:
            with transaction.atomic():
                Job.objects.create(kind=kind, key=key, args=args, due_at=due_at, parent=parent)
                failpoint("jobs.request")
                return True
        except IntegrityError:
            if _held(kind, [key]):
                return False
    raise Conflict("busy", "The same work is taken up and asked for again all the time; try again.")


def _held(kind: str, keys: Sequence[str]) -> set[str]:
    """Which of these wait, their rows locked: a worker that took one before our transaction ends would not see what
    the work is asked for."""
    rows = Job.objects.select_for_update().filter(kind=kind, key__in=keys, state=Job.State.WAITING)
    return set(rows.values_list("key", flat=True))


def _bring_forward(rows: QuerySet[Job], due_at: datetime) -> None:
    rows.filter(state=Job.State.WAITING, due_at__gt=due_at).update(due_at=due_at, published_at=None)


def request_slot(*, kind: str, key: str, due_at: datetime) -> None:
    """A slot of the timetable happens once, however many clocks ask; none is added while an earlier one waits."""
    slots = Job.objects.filter(kind=kind, is_slot=True)
    if slots.filter(Q(key=key) | Q(state=Job.State.WAITING)).exists():
        return
    try:
        with transaction.atomic():
            Job.objects.create(kind=kind, key=key, due_at=due_at, is_slot=True)
    except IntegrityError:
        return  # another clock was faster


# ---- publish ----


def jobs_to_publish(*, now: datetime) -> list[uuid.UUID]:
    """Ids of due jobs whose last hint is old enough to be lost; marked as published now.

    Of bulk work only so many hints are out at a time: the broker is a queue, and what is urgent stands at its end.
    """
    fresh = Q(published_at__gte=now - REPUBLISH)
    stale = due_jobs(now).exclude(fresh & Q(published_at__isnull=False)).values_list("id", flat=True)
    ids = list(stale.filter(is_bulk=False)[:PUBLISH_AT_ONCE])
    out = Job.objects.filter(fresh, state=Job.State.WAITING, is_bulk=True).count()
    ids += stale.filter(is_bulk=True)[: max(0, PUBLISH_AT_ONCE - out)]
    Job.objects.filter(id__in=ids).update(published_at=now)
    return ids


def withdraw_hints(*, job_ids: Sequence[uuid.UUID]) -> None:
    """The broker didn't take these: they are published again as soon as it does."""
    Job.objects.filter(id__in=job_ids).update(published_at=None)


# ---- claim, renew, end ----


def claim_job(*, job_id: uuid.UUID, now: datetime, carrier: str = "") -> Job | None:
    """Take the job if it is due and nobody else has it. One running per (kind, key), by constraint.

    An abandoned one that has had all its tries is given up: it may be what ends its workers.
    carrier : what brought its id here; kept with it.
    """
    token = uuid.uuid4()
    failpoint("jobs.claim")
    try:
        with transaction.atomic():
            job = due_jobs(now).filter(id=job_id).first()
            if job is None:
                return None
            if job.cancel_requested:
                cancel_run(job=job, now=now)
                return None
            if job.state == Job.State.RUNNING and job.tries >= MOST_TRIES:
                _give_up(job, written("worker_lost"), now)
                return None
            claim = {"token": token, "claimed_at": now, "claimed_until": now + CLAIM, "carrier": carrier}
            claimed = Job.objects.filter(id=job_id, state=job.state, token=job.token).update(
                state=Job.State.RUNNING, tries=job.tries + 1, progress="", **claim
            )
            failpoint("jobs.claim.marked")
    except IntegrityError:
        return None
    # By its token: between here and the claim another may have taken an abandoned job as well.
    return Job.objects.filter(id=job_id, token=token).first() if claimed else None


def renew_claim(*, job: Job, now: datetime) -> bool:
    """Long work is still in hand. False if it isn't ours any more."""
    return bool(_claimed(job).update(claimed_until=now + CLAIM))


def report_progress(*, job: Job, progress: str, now: datetime) -> None:
    """Between the steps of long work: say how far it is, and renew the claim.

    Raises CancelRequested where somebody called it off, LostClaim where another worker has it.
    """
    going_on = _claimed(job).filter(cancel_requested=False)
    if not going_on.update(progress=progress[:200], claimed_until=now + CLAIM):
        raise _stopped(job)


def finish_job(*, job: Job, now: datetime) -> None:
    """Mark done, in the transaction of the effect. Raises LostClaim or CancelRequested: then nothing is kept."""
    failpoint("jobs.finish")
    going_on = _claimed(job).filter(cancel_requested=False)
    if not going_on.update(state=Job.State.DONE, claimed_until=None, finished_at=now):
        raise _stopped(job)


def _stopped(job: Job) -> Exception:
    if _claimed(job).exists():
        return CancelRequested(f"job {job.id} was called off")
    return LostClaim(f"job {job.id} is no longer ours")


def fail_job(*, job: Job, error: str, now: datetime) -> None:
    """Back to waiting with growing delay, or failed after the last try."""
    if job.tries >= MOST_TRIES:
        _give_up(job, error, now)
        return
    delay = timedelta(seconds=min(2**job.tries, LONGEST_DELAY_S))
    _wait_again(job, now, due_at=now + delay, last_error=error[:ERROR_LENGTH], failed_at=now)


def release_claim(*, job: Job, now: datetime) -> bool:
    """Its worker has to stop: the work waits again at once, and the try isn't counted. False if it isn't ours."""
    return _wait_again(job, now, tries=F("tries") - 1)


def cancel_run(*, job: Job, now: datetime) -> None:
    """The run ends without effect because somebody called it off."""
    _claimed(job).update(state=Job.State.CANCELLED, claimed_until=None, finished_at=now)


def _claimed(job: Job) -> QuerySet[Job]:
    return Job.objects.filter(id=job.id, token=job.token, state=Job.State.RUNNING)


def _give_up(job: Job, error: str, now: datetime) -> None:
    ended = {"state": Job.State.FAILED, "claimed_until": None, "finished_at": now, "failed_at": now}
    if _claimed(job).update(**ended, last_error=error[:ERROR_LENGTH]):
        log.error("job_dead", kind=job.kind, job=str(job.id), key=job.key, tries=job.tries, error=error[:500])


def _wait_again(job: Job, now: datetime, **changes: Any) -> bool:
    try:
        with transaction.atomic():
            waits = {"state": Job.State.WAITING, "claimed_until": None, "published_at": None}
            return bool(_claimed(job).update(**waits | changes))
    except IntegrityError:
        # The same work was requested anew during the run and already waits: that row will do it.
        ended = {"state": Job.State.DONE, "claimed_until": None, "finished_at": now}
        return bool(_claimed(job).update(**ended, last_error=changes.get("last_error", "")))


# ---- by hand ----


def retry_job(*, job: Job, now: datetime) -> Job:
    """Failed or cancelled work waits again with all its tries; what went wrong before stays readable.

    Raises Conflict `not_failed` where it hasn't ended so, `waits_already` where the same work already waits.
    """
    ended = Job.objects.filter(id=job.id, state__in=[Job.State.FAILED, Job.State.CANCELLED])
    try:
        with transaction.atomic():
            revived = ended.update(
                state=Job.State.WAITING, due_at=now, published_at=None, tries=0, finished_at=None,
                cancel_requested=False, progress="",
            )  # fmt: skip
    except IntegrityError as bad:
        raise Conflict("waits_already", "The same work already waits; it will be done by that.") from bad
    if not revived:
        raise Conflict("not_failed", "Only work that has failed after its tries, or was cancelled, is retried by hand.")
    job.refresh_from_db()
    return job


def cancel_job(*, job: Job, now: datetime) -> Job:
    """Call it off: what waits or has failed ends as cancelled; what runs is asked to stop before its effect.

    Raises Conflict `ended` where it is done or cancelled already.
    """
    resting = [Job.State.WAITING, Job.State.FAILED]
    with transaction.atomic():
        cancelled = Job.objects.filter(id=job.id, state__in=resting).update(
            state=Job.State.CANCELLED, finished_at=now, cancel_requested=True
        )
        asked = cancelled or Job.objects.filter(id=job.id, state=Job.State.RUNNING).update(cancel_requested=True)
    if not asked:
        raise Conflict("ended", "It has ended; there is nothing left to cancel.")
    job.refresh_from_db()
    return job


# ---- house-keeping ----


def prune_jobs(*, now: datetime) -> int:
    """Remove some of the old ones; returns how many. In small transactions: a visit must not wait for it."""
    ids = list(old_jobs(now).values_list("id", flat=True)[:PRUNED_AT_ONCE])
    removed, _of_each = Job.objects.filter(id__in=ids).delete()
    return removed
