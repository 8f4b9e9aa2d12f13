"""Work that must happen: request it in the business transaction, claim it, finish it once."""

import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import structlog
from django.db import IntegrityError, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from fleet.errors import Conflict
from fleet.failpoints import failpoint
from fleet.models import Job

log = structlog.get_logger()
CLAIM = timedelta(minutes=5)
MOST_TRIES = 8
REPUBLISH = timedelta(seconds=30)
PUBLISH_AT_ONCE = 200


def request_job(
    *, kind: str, key: str, due_at: datetime, args: dict[str, Any] | None = None, parent: Job | None = None
) -> None:
    """Ask for work once: a request while the same work already waits changes at most its due time."""
    try:
        with transaction.atomic():
            Job.objects.create(kind=kind, key=key, args=args or {}, due_at=due_at, parent=parent)
    except IntegrityError:
        waiting = Job.objects.filter(kind=kind, key=key, state=Job.State.WAITING, due_at__gt=due_at)
        waiting.update(due_at=due_at, published_at=None)


def request_jobs(*, kind: str, keys: Sequence[str], due_at: datetime) -> None:
    """The same for many keys at once."""
    wanted = [Job(kind=kind, key=key, due_at=due_at) for key in keys]
    with transaction.atomic():
        Job.objects.bulk_create(wanted, ignore_conflicts=True)
        waiting = Job.objects.filter(kind=kind, key__in=keys, state=Job.State.WAITING, due_at__gt=due_at)
        waiting.update(due_at=due_at, published_at=None)


def request_slot(*, kind: str, key: str, due_at: datetime) -> None:
    """A slot of the timetable happens once, however many clocks ask: any row of it, done or not, is enough."""
    if not Job.objects.filter(kind=kind, key=key).exists():
        request_job(kind=kind, key=key, due_at=due_at)


def due_jobs(*, now: datetime) -> QuerySet[Job]:
    """Waiting and due, or running with a claim that ran out; a parent waits until no child is open."""
    open_child = Job.objects.filter(parent=OuterRef("pk"), state__in=[Job.State.WAITING, Job.State.RUNNING])
    waiting = Q(state=Job.State.WAITING, due_at__lte=now)
    abandoned = Q(state=Job.State.RUNNING, claimed_until__lt=now)
    return Job.objects.filter(waiting | abandoned).exclude(Exists(open_child)).order_by("due_at", "id")


def jobs_to_publish(*, now: datetime) -> list[uuid.UUID]:
    """Ids of due jobs whose last hint is old enough to be lost; marked as published now."""
    stale = Q(published_at__isnull=True) | Q(published_at__lt=now - REPUBLISH)
    ids = list(due_jobs(now=now).filter(stale).values_list("id", flat=True)[:PUBLISH_AT_ONCE])
    Job.objects.filter(id__in=ids).update(published_at=now)
    return ids


def claim_job(*, job_id: uuid.UUID, now: datetime) -> Job | None:
    """Take the job if it is due and nobody else has it. One running per (kind, key), by constraint.

    An abandoned one that has had all its tries is given up: it may be what ends its workers.
    """
    token = uuid.uuid4()
    failpoint("jobs.claim")
    try:
        with transaction.atomic():
            job = due_jobs(now=now).filter(id=job_id).first()
            if job is None:
                return None
            if job.state == Job.State.RUNNING and job.tries >= MOST_TRIES:
                _give_up(job, "Its worker ended without a word, and it has had all its tries.", now)
                return None
            claimed = Job.objects.filter(id=job_id, state=job.state, token=job.token).update(
                state=Job.State.RUNNING, token=token, claimed_until=now + CLAIM, tries=job.tries + 1
            )
    except IntegrityError:
        return None
    return Job.objects.get(id=job_id) if claimed else None


def finish_job(*, job: Job, now: datetime) -> None:
    """Mark done, in the transaction of the effect. Raises LostClaim when somebody else holds the job by now."""
    failpoint("jobs.finish")
    if not _claimed(job).update(state=Job.State.DONE, claimed_until=None, finished_at=now, last_error=""):
        raise LostClaim(f"job {job.id} is no longer ours")


class LostClaim(Exception):
    """The claim ran out and another worker took the job: this run's effect must not be kept."""


def fail_job(*, job: Job, error: str, now: datetime) -> None:
    """Back to waiting with growing delay, or dead after the last try."""
    if job.tries >= MOST_TRIES:
        _give_up(job, error, now)
        return
    delay = timedelta(seconds=min(2**job.tries, 600))
    _wait_again(job, now, due_at=now + delay, last_error=error[:4000])


def release_claim(*, job: Job, now: datetime) -> bool:
    """Its worker has to stop: the work waits again at once, and the try isn't counted. False if it isn't ours."""
    return _wait_again(job, now, tries=F("tries") - 1)


def _claimed(job: Job) -> QuerySet[Job]:
    return Job.objects.filter(id=job.id, token=job.token, state=Job.State.RUNNING)


def _give_up(job: Job, error: str, now: datetime) -> None:
    ended = _claimed(job).update(state=Job.State.DEAD, claimed_until=None, finished_at=now, last_error=error[:4000])
    if ended:
        log.error("job_dead", kind=job.kind, job=str(job.id), error=error[:500])


def _wait_again(job: Job, now: datetime, **changes: Any) -> bool:
    try:
        with transaction.atomic():
            waits = {"state": Job.State.WAITING, "claimed_until": None, "published_at": None}
            return bool(_claimed(job).update(**waits | changes))
    except IntegrityError:
        # The same work was requested anew during the run and already waits: that row will do it.
        ended = {"state": Job.State.DONE, "claimed_until": None, "finished_at": now}
        return bool(_claimed(job).update(**ended, last_error=changes.get("last_error", "")))


def retry_job(*, job: Job, now: datetime) -> Job:
    """Dead work waits again with all its tries. Raises Conflict where it isn't dead or the same work waits already."""
    try:
        with transaction.atomic():
            revived = Job.objects.filter(id=job.id, state=Job.State.DEAD).update(
                state=Job.State.WAITING, due_at=now, published_at=None, tries=0, finished_at=None
            )
    except IntegrityError as bad:
        raise Conflict("waits_already", "The same work already waits; it will be done by that.") from bad
    if not revived:
        raise Conflict("not_dead", "Only work that has died after its tries is tried again by hand.")
    job.refresh_from_db()
    return job
