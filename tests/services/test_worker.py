"""The clock publishes what is due; a dead broker delays work and loses none."""

import threading
import time
from datetime import timedelta
from typing import Any

import pytest
from celery.worker import state
from kombu.transport.redis import Channel
from pytest_django.fixtures import Settings

from fleet import clock, tasks, timetable, worker
from fleet.models import Appliance, Job, User
from fleet.services import jobs
from tests.cast import store


@pytest.fixture
def waiting(body: dict[str, Any], technician: User, monkeypatch: pytest.MonkeyPatch) -> Job:
    """The job that looks at a visit's appliance again, due a quarter of a minute ago; nothing else on the timetable."""
    monkeypatch.setattr(timetable, "TIMETABLE", {})
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
    assert (waiting.state, waiting.published_at) == ("waiting", None)


def test_the_broker_is_set_to_bring_back_soon_what_a_dead_worker_had(settings: Settings) -> None:
    """By the names that the installed transport knows: one that it doesn't know would be ignored in silence."""
    settings.BROKER_URL = "redis://127.0.0.1:6379/0"
    options = worker._transport_options()
    assert set(options) <= set(Channel.from_transport_options)
    assert options["unacked_restore_interval"] * options["unacked_restore_throttle"] <= 10


def test_what_lay_for_ten_seconds_is_taken_from_the_table(waiting: Job, boiler: Appliance) -> None:
    assert worker.run_left_lying() == 1
    assert sorted(boiler.forecasts.values_list("quantity", "rate")) == [
        (quantity, rate) for quantity in ("co", "co2") for rate in ("high", "low")
    ]
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
    monkeypatch.setattr(timetable, "TIMETABLE", {"nightly": 0})
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


@pytest.fixture
def ended(monkeypatch: pytest.MonkeyPatch) -> list[tuple[float, int]]:
    """With which status, and within how long, this process would have ended."""
    cut: list[tuple[float, int]] = []
    monkeypatch.setattr(worker, "_cut_off_after", lambda seconds, status: cut.append((seconds, status)))
    monkeypatch.setattr(worker, "_stop", threading.Event())
    monkeypatch.setattr(worker, "_life", worker._Life())
    monkeypatch.setattr(state, "should_stop", None)
    return cut


def beats_only_by_the_table() -> None:
    for minute in range(4):
        at = clock.now() - timedelta(minutes=minute)
        Job.objects.create(kind="heartbeat", key=f"{at}", is_slot=True, state="done", due_at=at, published_at=at,
                           carrier="table")  # fmt: skip


def test_a_worker_that_hears_nothing_while_the_broker_takes_heartbeats_ends_to_be_started_anew(
    installation: User, ended: list[tuple[float, int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    beats_only_by_the_table()
    assert worker.end_if_wanted() == 0  # it has only just begun
    worker._life.heard_at -= worker.DEAF_AFTER.total_seconds() + 1
    monkeypatch.setattr(state, "reserved_requests", {"one"})
    assert worker.end_if_wanted() == 0  # it is busy: what waits for it waits rightly
    monkeypatch.setattr(state, "reserved_requests", set())
    assert worker.end_if_wanted() == worker.DEAF
    assert ended == [(worker.ENDS_WITHIN_S, worker.DEAF)]
    assert state.should_stop == worker.DEAF
    assert worker._stop.is_set()


def test_a_quiet_night_or_a_dead_broker_ends_no_worker(installation: User, ended: list[tuple[float, int]]) -> None:
    worker._life.heard_at -= worker.DEAF_AFTER.total_seconds() + 1
    assert worker.end_if_wanted() == 0
    beats_only_by_the_table()
    Job.objects.update(published_at=None)
    assert worker.end_if_wanted() == 0
    assert ended == []


def test_whatever_the_broker_brings_counts_as_heard(ended: list[tuple[float, int]]) -> None:
    worker._life.heard_at = 0.0
    worker._hear()
    assert worker._life.heard_at > 0


def test_a_worker_that_has_run_so_many_jobs_ends_to_be_started_anew(
    waiting: Job, ended: list[tuple[float, int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(worker, "MOST_JOBS_A_PROCESS", 1)
    assert worker.end_if_wanted() == 0
    assert worker.run_left_lying() == 1
    assert worker.end_if_wanted() == worker.WORN
    assert state.should_stop == worker.WORN
