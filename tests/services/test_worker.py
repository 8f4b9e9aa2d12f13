"""The clock publishes what is due; a dead broker delays work and loses none."""

import threading
import time
from datetime import timedelta
from typing import Any

import pytest

from fleet import clock, tasks, worker
from fleet.models import Appliance, Job, User
from fleet.services import jobs
from tests.cast import store


@pytest.fixture
def waiting(body: dict[str, Any], technician: User, monkeypatch: pytest.MonkeyPatch) -> Job:
    """The job that looks at a visit's appliance again, due a quarter of a minute ago; nothing else on the timetable."""
    monkeypatch.setattr(worker, "TIMETABLE", {})
    store(body, technician)
    Job.objects.exclude(kind="refresh_appliance").delete()
    Job.objects.update(due_at=clock.now() - timedelta(seconds=15))
    return Job.objects.get()


def test_the_scan_publishes_the_ids_of_due_jobs(waiting: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[list[str]] = []
    monkeypatch.setattr(worker.run_job, "apply_async", lambda args, retry: sent.append(args))
    assert worker.scan() == 1
    assert sent == [[str(waiting.id)]]
    assert worker.scan() == 0


def test_a_broker_that_does_not_answer_is_swallowed(waiting: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(args: list[str], retry: bool) -> None:
        raise ConnectionError("no broker")

    monkeypatch.setattr(worker.run_job, "apply_async", refuse)
    assert worker.scan() == 0
    waiting.refresh_from_db()
    assert waiting.state == "waiting"


def test_what_lay_for_ten_seconds_is_taken_from_the_table(waiting: Job, boiler: Appliance) -> None:
    assert worker.run_left_lying() == 1
    assert boiler.forecasts.count() == 2
    assert worker.run_left_lying() == 0


def test_what_has_just_come_due_is_left_to_the_broker(waiting: Job) -> None:
    Job.objects.update(due_at=clock.now() - timedelta(seconds=2))
    assert worker.run_left_lying() == 0


def test_a_job_whose_worker_died_is_taken_over_when_its_claim_has_run_out(waiting: Job, boiler: Appliance) -> None:
    long_ago = clock.now() - jobs.CLAIM - timedelta(minutes=1)
    Job.objects.update(due_at=long_ago - timedelta(seconds=30))
    assert jobs.claim_job(job_id=waiting.id, now=long_ago)
    assert worker.run_left_lying() == 1
    waiting.refresh_from_db()
    assert (waiting.state, waiting.tries) == ("done", 2)


def test_the_timetable_is_requested_by_the_scan(installation: User, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker.run_job, "apply_async", lambda args, retry: None)
    monkeypatch.setattr(worker, "TIMETABLE", {"nightly": 0})
    worker.scan()
    worker.scan()
    assert Job.objects.filter(kind="nightly").count() == 1


def test_a_worker_that_stops_takes_nothing_more_from_the_table(waiting: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    stopping = threading.Event()
    stopping.set()
    monkeypatch.setattr(worker, "_stop", stopping)
    assert worker.run_left_lying() == 0
    waiting.refresh_from_db()
    assert waiting.state == "waiting"


def test_giving_back_never_keeps_a_stopping_worker_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    never, began = threading.Event(), time.monotonic()
    monkeypatch.setattr(tasks, "release_in_hand", lambda: never.wait(30))
    worker._release()
    assert time.monotonic() - began < 10  # told apart from thirty, not measured
    never.set()
