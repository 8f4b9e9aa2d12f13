"""The Celery app, and every clock of the service on one page.

The job table is the truth; the broker only carries ids of due jobs. The clock publishes them; a worker that sees
work left lying for ten seconds takes it from the table itself, so a dead broker delays work and loses none.
"""

import os
import threading
import time
import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import structlog
from celery import Celery
from celery.signals import worker_ready, worker_shutdown, worker_shutting_down
from django.conf import settings
from django.db import close_old_connections

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

log = structlog.get_logger()
LEFT_LYING = timedelta(seconds=10)
STOPS_WITHIN_S = 2.0
RELEASES_WITHIN_S = 0.5

# What runs by itself: kind of job, hour of the office's day.
TIMETABLE = {"nightly": 2}


def _transport_options() -> dict[str, object]:
    if settings.BROKER_URL.startswith("filesystem"):
        settings.BROKER_DIR.mkdir(parents=True, exist_ok=True)
        folder = str(settings.BROKER_DIR)
        control = str(settings.BROKER_DIR / "control")
        return {
            "data_folder_in": folder,
            "data_folder_out": folder,
            "control_folder": control,
            "polling_interval": 0.1,
        }
    return {"visibility_timeout": 600, "unacked_restore_interval": 2, "unacked_restore_throttle": 1}


app = Celery("fleet")
app.conf.update(
    broker_url=settings.BROKER_URL,
    broker_transport_options=_transport_options(),
    broker_connection_retry_on_startup=True,
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
    from fleet import tasks

    close_old_connections()
    tasks.run_job(uuid.UUID(job_id))
    close_old_connections()


def scan() -> int:
    """Request what the timetable wants, publish due jobs, swallow broker errors. Returns how many were published."""
    from fleet import clock
    from fleet.services import jobs

    now = clock.now()
    for kind, key, due_at in slots_due(now):
        jobs.request_slot(kind=kind, key=key, due_at=due_at)
    published = 0
    for job_id in jobs.jobs_to_publish(now=now):
        try:
            run_job.apply_async(args=[str(job_id)], retry=False)
            published += 1
        except Exception as bad:
            log.warning("broker_unreachable", error=type(bad).__name__)
            break
    return published


def slots_due(now: datetime) -> list[tuple[str, str, datetime]]:
    """The timetable's slots of the office's present day that have begun: one key a local day, whatever DST does."""
    local = now.astimezone(ZoneInfo(settings.TIME_ZONE))
    return [(kind, f"{local:%Y-%m-%d}", now) for kind, hour in TIMETABLE.items() if local.hour >= hour]


def run_left_lying() -> int:
    """Claim from the table what was due ten seconds ago and nobody took: the broker's failure isn't ours."""
    from fleet import clock, tasks
    from fleet.services import jobs

    now = clock.now()
    ids = list(jobs.due_jobs(now=now - LEFT_LYING).values_list("id", flat=True)[:20])
    return sum(tasks.run_job(each) for each in ids if not _stop.is_set())


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


_stop = threading.Event()


@worker_ready.connect
def _watch_the_table(**_kwargs: object) -> None:
    threading.Thread(target=repeat, args=(run_left_lying, _stop), daemon=True).start()


@worker_shutting_down.connect
def _stop_watching(**_kwargs: object) -> None:
    """Under the supervisor, which promises to stop within 5 s, running work is cut off in time.

    It loses nothing: a job's effect and its `done` are one transaction; what was cut off waits again.
    """
    _stop.set()
    if not settings.SERVED:
        end = threading.Timer(STOPS_WITHIN_S, _cut_off)
        end.daemon = True
        end.start()


def _cut_off() -> None:
    _release()
    os._exit(0)


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
