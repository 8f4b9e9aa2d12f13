"""The Celery app: the clock that publishes what is due, and the worker that does it.

The job table is the truth; the broker only carries ids of due jobs. The clock publishes them; a worker that sees
work left lying for ten seconds takes it from the table itself, so a dead broker delays work and loses none.

A worker ends by itself, to be started anew, when the broker takes heartbeats that reach nobody (DEAF), or when it has
run so many jobs that what libraries leave behind in memory may matter (WORN).
"""

import os
import threading
import time
import uuid
from collections.abc import Callable
from datetime import timedelta

import structlog
from celery import Celery, bootsteps
from celery.signals import task_received, worker_shutdown, worker_shutting_down
from django.conf import settings
from django.db import close_old_connections

from fleet.timetable import slots_due

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

log = structlog.get_logger()
LEFT_LYING = timedelta(seconds=10)
STOPS_WITHIN_S = 2.0
RELEASES_WITHIN_S = 0.5
DEAF, WORN = 75, 76
DEAF_AFTER = timedelta(minutes=5)
LISTENS_EACH_S = 10.0
# Celery counts a child's tasks only where its pool has processes; a pool of threads silently ignores that setting.
MOST_JOBS_A_PROCESS = 20_000
ENDS_WITHIN_S = 60.0


def _transport_options() -> dict[str, object]:
    if settings.BROKER_URL.startswith("filesystem"):
        settings.BROKER_DIR.mkdir(parents=True, exist_ok=True)
        folder = str(settings.BROKER_DIR)
        control = str(settings.BROKER_DIR / "control")
        return {"data_folder_in": folder, "data_folder_out": folder, "control_folder": control, "polling_interval": 0.1}
    return {
        "visibility_timeout": 600,
        "unacked_restore_interval": 2,
        "unacked_restore_throttle": 1,
        # A broker that hangs must not hold the clock's publishing, nor a consumer on a half-open connection.
        "socket_connect_timeout": 2,
        "socket_timeout": 10,
    }


app = Celery("fleet")
app.conf.update(
    broker_url=settings.BROKER_URL,
    broker_transport_options=_transport_options(),
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,
    broker_connection_timeout=2,
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    worker_hijack_root_logger=False,
    worker_enable_remote_control=False,
    worker_max_tasks_per_child=500,
    enable_utc=True,
    timezone="UTC",
    task_publish_retry=False,
)
app.set_default()


@app.task(name="fleet.run_job")
def run_job(job_id: str) -> None:
    from fleet.models import Job

    close_old_connections()
    try:
        _run(uuid.UUID(job_id), Job.Carrier.BROKER)
    finally:
        close_old_connections()


def _run(job_id: uuid.UUID, carrier: str) -> bool:
    from fleet import tasks

    try:
        return tasks.run_job(job_id, carrier)
    finally:
        _life.jobs_run += 1


# ---- the clock ----


def scan() -> int:
    """Request what the timetable wants, publish due jobs, swallow broker errors. Returns how many were published."""
    from fleet import clock
    from fleet.failpoints import failpoint
    from fleet.models import Contractor
    from fleet.services import jobs

    now = clock.now()
    for kind, key, due_at in slots_due(now) if Contractor.objects.exists() else ():
        jobs.request_slot(kind=kind, key=key, due_at=due_at)
    ids = jobs.jobs_to_publish(now=now)
    failpoint("worker.marked")
    for number, job_id in enumerate(ids):
        try:
            run_job.apply_async(args=[str(job_id)], retry=False)
        except Exception as bad:
            log.warning("broker_unreachable", error=type(bad).__name__)
            jobs.withdraw_hints(job_ids=ids[number:])
            return number
        failpoint("worker.sent")
    return len(ids)


# ---- the worker ----


def run_left_lying() -> int:
    """Claim from the table what was due ten seconds ago and nobody took: the broker's failure isn't ours."""
    from fleet import clock
    from fleet.assess.jobs import due_jobs
    from fleet.models import Job

    now = clock.now()
    ids = list(due_jobs(now - LEFT_LYING).values_list("id", flat=True)[:20])
    return sum(_run(each, Job.Carrier.TABLE) for each in ids if not _stop.is_set())


def repeat(action: Callable[[], int], stop: threading.Event, every_s: float = 1.0) -> None:
    """Run `action` each second until told to stop; its failures are logged and don't end the clock."""
    while not stop.is_set():
        began = time.monotonic()
        try:
            close_old_connections()
            action()
        except Exception:
            log.exception("clock_failed", action=action.__name__)
        stop.wait(max(0.05, every_s - (time.monotonic() - began)))
    close_old_connections()


class _Life:
    """What this process has heard and done since it began."""

    def __init__(self) -> None:
        self.heard_at = time.monotonic()
        self.jobs_run = 0


_stop = threading.Event()
_life = _Life()


class TableWatch(bootsteps.StartStopStep):
    """Begins when the pool has its processes, before the broker is called: without a broker a worker works too."""

    requires = ("celery.worker.components:Pool",)

    def start(self, _worker: object) -> None:
        _life.heard_at = time.monotonic()
        threading.Thread(target=repeat, args=(run_left_lying, _stop), daemon=True).start()
        threading.Thread(target=repeat, args=(end_if_wanted, _stop, LISTENS_EACH_S), daemon=True).start()


app.steps["worker"].add(TableWatch)


@task_received.connect
def _hear(**_kwargs: object) -> None:
    _life.heard_at = time.monotonic()


def end_if_wanted() -> int:
    """End this process where that repairs something; 0 where it goes on, else the status that it ends with."""
    from celery.worker import state

    status = WORN if _life.jobs_run >= MOST_JOBS_A_PROCESS else DEAF if is_deaf() else 0
    if status:
        say = log.error if status == DEAF else log.info
        say("worker_ends", why="deaf" if status == DEAF else "worn", status=status)
        _stop.set()
        state.should_stop = status
        _cut_off_after(ENDS_WITHIN_S, status)
    return status


def is_deaf() -> bool:
    """Nothing came from the broker for long, though nothing here keeps it back, and no worker hears heartbeats."""
    from celery.worker import state

    from fleet import clock
    from fleet.assess.jobs import is_broker_unheard

    silent = time.monotonic() - _life.heard_at > DEAF_AFTER.total_seconds()
    if not silent or state.reserved_requests:
        return False
    return is_broker_unheard(clock.now(), DEAF_AFTER)


@worker_shutting_down.connect
def _stop_watching(**_kwargs: object) -> None:
    """Under the supervisor, which promises to stop within 5 s, running work is cut off in time.

    It loses nothing: a job's effect and its `done` are one transaction; what was cut off waits again.
    """
    _stop.set()
    if not settings.SERVED:
        _cut_off_after(STOPS_WITHIN_S, 0)


def _cut_off_after(seconds: float, status: int) -> None:
    end = threading.Timer(seconds, _cut_off, [status])
    end.daemon = True
    end.start()


def _cut_off(status: int) -> None:
    _release()
    os._exit(status)


@worker_shutdown.connect
def _release(**_kwargs: object) -> None:
    """Give back what this process holds, as far as that goes at once; otherwise its claims run out by themselves."""
    giving = threading.Thread(target=_give_back, daemon=True)
    giving.start()
    giving.join(RELEASES_WITHIN_S)


def _give_back() -> None:
    from fleet import tasks

    try:
        tasks.release_in_hand()
    except Exception:
        log.exception("release_failed")
    finally:
        close_old_connections()
