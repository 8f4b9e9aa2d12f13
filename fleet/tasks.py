"""Run one job: claim it, do its work, and mark it done in the same transaction as the effect."""

import uuid
from collections.abc import Callable

import structlog
from django.db import transaction

from fleet import clock
from fleet.models import Appliance, Job
from fleet.services import forecasts, jobs, revisits

log = structlog.get_logger()


def run_job(job_id: uuid.UUID) -> bool:
    """True if the job was ours and is done. Safe to call any number of times, from any worker."""
    job = jobs.claim_job(job_id=job_id, now=clock.now())
    if job is None:
        return False
    try:
        with transaction.atomic():
            HANDLERS[job.kind](job)
            jobs.finish_job(job=job, now=clock.now())
    except jobs.LostClaim:
        return False
    except Exception as bad:
        log.exception("job_failed", kind=job.kind, job=str(job.id))
        jobs.fail_job(job=job, error=f"{type(bad).__name__}: {bad}", now=clock.now())
        return False
    return True


def _refresh_appliance(job: Job) -> None:
    appliance = Appliance.objects.select_related("building", "sheet").get(id=job.key)
    revisits.refresh_appliance(appliance=appliance, now=clock.now())


def _nightly(job: Job) -> None:
    """One refit a series as children, and a barrier that refreshes everybody when they are through."""
    now = clock.now()
    known = Appliance.objects.filter(sheet__isnull=False).select_related("sheet")
    series = sorted(forecasts.series_kinds(known))
    barrier, _made = Job.objects.get_or_create(
        kind="refresh_everybody", key=job.key, state=Job.State.WAITING, defaults={"due_at": now}
    )
    for quantity, rate in series:
        jobs.request_job(kind="refit", key=f"{quantity}/{rate}", due_at=now, parent=barrier)


def _refit(job: Job) -> None:
    quantity, rate = job.key.split("/")
    forecasts.refit(quantity=quantity, rate=rate, now=clock.now())


def _refresh_everybody(job: Job) -> None:
    revisits.refresh_everybody(now=clock.now())


HANDLERS: dict[str, Callable[[Job], None]] = {
    "refresh_appliance": _refresh_appliance,
    "nightly": _nightly,
    "refit": _refit,
    "refresh_everybody": _refresh_everybody,
}
