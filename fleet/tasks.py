"""Run one job: claim it, reckon, then write its effect and its `done` in one transaction.

A handler reckons outside any transaction and gives what is to be written: where the database has one write lock, it is
held for the writing only, and a visit that comes in meanwhile doesn't wait for the reckoning.
"""

import uuid
from collections.abc import Callable
from functools import partial

import structlog
from django.db import transaction

from fleet import clock
from fleet.models import Appliance, Job, Visit
from fleet.services import diagnoses, forecasts, jobs, revisits

log = structlog.get_logger()
Effect = Callable[[], object]
_in_hand: dict[uuid.UUID, Job] = {}


def run_job(job_id: uuid.UUID) -> bool:
    """True if the job was ours and is done. Safe to call any number of times, from any worker."""
    job = jobs.claim_job(job_id=job_id, now=clock.now())
    if job is None:
        return False
    _in_hand[job.id] = job
    try:
        effect = HANDLERS[job.kind](job)
        with transaction.atomic():
            effect()
            jobs.finish_job(job=job, now=clock.now())
    except jobs.LostClaim:
        return False
    except Exception as bad:
        log.exception("job_failed", kind=job.kind, job=str(job.id))
        jobs.fail_job(job=job, error=f"{type(bad).__name__}: {bad}", now=clock.now())
        return False
    finally:
        _in_hand.pop(job.id, None)
    return True


def release_in_hand() -> int:
    """Before this process ends: what it has claimed and not finished waits again at once. Returns how many."""
    return sum(jobs.release_claim(job=job, now=clock.now()) for job in list(_in_hand.values()))


def _refresh_appliance(job: Job) -> Effect:
    def refresh() -> None:
        appliance = Appliance.objects.select_related("building", "sheet").get(id=job.key)
        revisits.refresh_appliance(appliance=appliance, now=clock.now())

    return refresh


def _nightly(job: Job) -> Effect:
    """One refit a series as children, and a barrier that has everybody refreshed when they are through."""
    known = Appliance.objects.filter(sheet__isnull=False).select_related("sheet").prefetch_related("sheet__versions")
    return partial(_request_refits, job, sorted(forecasts.series_kinds(known)))


def _request_refits(job: Job, series: list[tuple[str, str]]) -> None:
    now = clock.now()
    barrier, _made = Job.objects.get_or_create(
        kind="refresh_everybody", key=job.key, state=Job.State.WAITING, defaults={"due_at": now}
    )
    for quantity, rate in series:
        jobs.request_job(kind="refit", key=f"{quantity}/{rate}", due_at=now, parent=barrier)


def _refit(job: Job) -> Effect:
    quantity, rate = job.key.split("/")
    now = clock.now()
    return partial(forecasts.put_in_force, forecasts.learn(quantity=quantity, rate=rate, now=now), now=now)


def _refresh_everybody(_job: Job) -> Effect:
    """A job for each appliance: together they would keep the write lock for minutes."""
    keys = [str(each) for each in Appliance.objects.values_list("id", flat=True)]
    return partial(jobs.request_jobs, kind="refresh_appliance", keys=keys, due_at=clock.now())


def _compare_visit(job: Job) -> Effect:
    """Patterns that need other visits: reckoned outside the lock, kept with what they were drawn from."""
    related = Visit.objects.select_related("appliance__building", "judgement")
    visit = related.prefetch_related("readings__analyser__calibrations").get(id=job.key)
    found = diagnoses.suggested_elsewhere(visit)
    return partial(diagnoses.put_elsewhere, visit=visit, found=found, now=clock.now())


HANDLERS: dict[str, Callable[[Job], Effect]] = {
    "refresh_appliance": _refresh_appliance,
    "nightly": _nightly,
    "refit": _refit,
    "refresh_everybody": _refresh_everybody,
    "compare_visit": _compare_visit,
}
