"""Run one job: claim it, calculate, then write its effect and its `done` in one transaction.

A handler calculates outside any transaction and gives what is to be written: where the database has one write lock, it
is held for the writing only, and a visit that comes in meanwhile doesn't wait for the calculation.
"""

import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

import structlog
from django.db import connections, transaction

from fleet import clock
from fleet.assess import appliances
from fleet.assess.due.required_checks import missing_required_checks
from fleet.assess.foresight.learning import learn
from fleet.assess.foresight.series import series_kinds
from fleet.assess.jobs import old_jobs
from fleet.assess.judging.diagnosing import suggested_elsewhere
from fleet.failpoints import failpoint
from fleet.models import Appliance, AuditEntry, Job, User, Visit
from fleet.models.jobs import HEARTBEAT
from fleet.presentation.alerts import address_changed_message, has_mail, new_password_message
from fleet.services import access, alerts, forecasts, jobs, judgements, required_checks, revisits, webhooks

log = structlog.get_logger()
Effect = Callable[[], object]
RENEWS_EACH_S = 20.0
# Work that hangs must not keep its claim for ever: after its tries it is given up like any other.
LONGEST_RUN_S = 2 * 3600.0
_in_hand: dict[uuid.UUID, Job] = {}


def run_job(job_id: uuid.UUID, carrier: str = Job.Carrier.BROKER) -> bool:
    """True if the job was ours and is done. Safe to call any number of times, from any worker."""
    job = jobs.claim_job(job_id=job_id, carrier=carrier, now=clock.now())
    if job is None:
        return False
    failpoint("tasks.claimed")
    _in_hand[job.id] = job
    try:
        with _claim_kept(job):
            _do(job)
    except jobs.LostClaim:
        return False
    except jobs.CancelRequested:
        jobs.cancel_run(job=job, now=clock.now())
        return False
    except Exception as bad:
        log.exception("job_failed", kind=job.kind, job=str(job.id))
        jobs.fail_job(job=job, error=f"{type(bad).__name__}: {bad}", now=clock.now())
        return False
    finally:
        _in_hand.pop(job.id, None)
    return True


def _do(job: Job) -> None:
    effect = HANDLERS[job.kind](job)
    failpoint("tasks.calculated")
    with transaction.atomic():
        effect()
        failpoint("tasks.effect")
        jobs.finish_job(job=job, now=clock.now())
        failpoint("tasks.finished")
    failpoint("tasks.written")


@contextmanager
def _claim_kept(job: Job) -> Iterator[None]:
    """Renew the job's claim beside its work: a long one must not be taken by another worker meanwhile."""
    over, ends = threading.Event(), time.monotonic() + LONGEST_RUN_S

    def keep() -> None:
        while not over.wait(RENEWS_EACH_S) and time.monotonic() < ends:
            try:
                jobs.renew_claim(job=job, now=clock.now())
            except Exception:
                log.exception("renewal_failed", job=str(job.id))
            finally:
                connections.close_all()

    threading.Thread(target=keep, daemon=True).start()
    try:
        yield
    finally:
        over.set()


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
    return partial(_request_refits, job, sorted(series_kinds(known)))


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
    return partial(forecasts.put_in_force, learnt=learn(quantity=quantity, rate=rate, now=now), now=now)


def _refresh_everybody(job: Job) -> Effect:
    """Some appliances a job: together they would keep the write lock for minutes."""
    keys = [f"{some[0].id}/{some[-1].id}" for some in appliances.everybody_in_shards()]
    return partial(jobs.request_jobs, kind="refresh_shard", keys=keys, due_at=clock.now(), parent=job)


def _refresh_shard(job: Job) -> Effect:
    """Forecasts before the lock, a few at a time; what they call for together with the job's end."""
    now = clock.now()
    some = appliances.shard_of(*(uuid.UUID(end) for end in job.key.split("/")))
    revisits.forecast_shard(appliances=some, now=now)
    return partial(revisits.propose_shard, appliances=some, now=now)


def _open_missing_required_checks(job: Job) -> Effect:
    """Some at a time, each in a transaction of its own: a set may have been put on thousands of appliances."""
    missing = missing_required_checks(now=clock.now())
    for first in range(0, len(missing), required_checks.AT_ONCE):
        some = missing[first : first + required_checks.AT_ONCE]
        required_checks.open_missing_required_checks(missing=some, now=clock.now())
        jobs.report_progress(job=job, progress=f"{first + len(some)} / {len(missing)}", now=clock.now())
    return lambda: None


def _compare_visit(job: Job) -> Effect:
    """Patterns that need other visits: calculated outside the lock, kept with what they were drawn from."""
    related = Visit.objects.select_related("appliance__building", "judgement")
    visit = related.prefetch_related("readings__analyser__calibrations").get(id=job.key)
    found = suggested_elsewhere(visit)
    return partial(judgements.put_elsewhere, visit=visit, found=found, now=clock.now())


def _send_password_link(job: Job) -> Effect:
    """Made and sent here, so that the link stands in no table."""
    if user := User.objects.filter(id=job.key, is_active=True).exclude(email="").first():
        new_password_message(user=user, job_id=job.id).send()
    return lambda: None


def _tell_old_address(job: Job) -> Effect:
    user = AuditEntry.objects.select_related("user").get(id=job.key).user
    if user and has_mail():
        address_changed_message(user=user, to=job.args["to"], job_id=job.id).send()
    return lambda: None


def _beat(_job: Job) -> Effect:
    """The service's pulse: the row itself, with how it came to a worker and when it ended, is all that it leaves."""
    return lambda: None


def _prune_jobs(job: Job) -> Effect:
    removed, of = 0, old_jobs(clock.now()).count()
    while batch := jobs.prune_jobs(now=clock.now()):
        removed += batch
        jobs.report_progress(job=job, progress=f"{removed} / {max(of, removed)}", now=clock.now())
    return partial(access.prune_log_ins, now=clock.now())


HANDLERS: dict[str, Callable[[Job], Effect]] = {
    "refresh_appliance": _refresh_appliance,
    "nightly": _nightly,
    "refit": _refit,
    "refresh_everybody": _refresh_everybody,
    "refresh_shard": _refresh_shard,
    "open_missing_required_checks": _open_missing_required_checks,
    "ration_extra_visits": lambda _job: partial(revisits.ration_extra_visits, now=clock.now()),
    "compare_visit": _compare_visit,
    HEARTBEAT: _beat,
    "prune_jobs": _prune_jobs,
    "alert_on_flag": lambda job: alerts.alert_on_flag_job(job=job, now=clock.now()),
    "send_alert": lambda job: alerts.send_alert_job(job=job, clock=clock.now),
    "plan_messages": lambda _job: partial(alerts.plan_messages, now=clock.now()),
    "daily_summary": lambda job: alerts.daily_summary_job(job=job, clock=clock.now),
    "feed_hooks": lambda job: webhooks.feed_hooks_job(job=job, now=clock.now()),
    "send_password_link": _send_password_link,
    "tell_old_address": _tell_old_address,
    "send_hook": lambda job: webhooks.send_hook_job(job=job, clock=clock.now),
}
