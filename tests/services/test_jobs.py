"""Jobs: requested once, claimed by one, done once; failures wait and in the end are given up with an alarm."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from fleet import tasks
from fleet.models import Appliance, Job, User
from fleet.services import forecasts, jobs
from fleet.worker import slots_due
from tests.cast import NOON, store


def request(key: str = "1", **changes: Any) -> None:
    jobs.request_job(kind="refit", key=key, due_at=NOON, **changes)


def claim(now: Any = NOON) -> Job | None:
    return jobs.claim_job(job_id=Job.objects.order_by("id").first().id, now=now)


@pytest.mark.django_db
def test_a_request_while_one_waits_changes_nothing_but_the_time() -> None:
    request()
    jobs.request_job(kind="refit", key="1", due_at=NOON - timedelta(hours=1))
    assert Job.objects.get().due_at == NOON - timedelta(hours=1)


@pytest.mark.django_db
def test_a_request_during_the_run_makes_a_new_row() -> None:
    request()
    assert claim()
    request()
    assert Job.objects.count() == 2


@pytest.mark.django_db
def test_only_one_of_a_kind_and_key_runs_at_a_time() -> None:
    request()
    claim()
    request()
    assert jobs.claim_job(job_id=Job.objects.get(state="waiting").id, now=NOON) is None


@pytest.mark.django_db
def test_a_claimed_job_is_not_claimed_again_until_its_claim_runs_out() -> None:
    request()
    first = claim()
    assert claim() is None
    assert claim(NOON + jobs.CLAIM + timedelta(seconds=1))
    with pytest.raises(jobs.LostClaim):
        jobs.finish_job(job=first, now=NOON)


@pytest.mark.django_db
def test_a_job_not_yet_due_is_left_alone() -> None:
    jobs.request_job(kind="refit", key="1", due_at=NOON + timedelta(minutes=1))
    assert claim() is None


@pytest.mark.django_db
def test_a_parent_waits_until_no_child_is_open() -> None:
    request("parent")
    parent = Job.objects.get()
    request("child", parent=parent)
    assert [each.key for each in jobs.due_jobs(now=NOON)] == ["child"]
    child = jobs.claim_job(job_id=Job.objects.get(key="child").id, now=NOON)
    jobs.finish_job(job=child, now=NOON)
    assert [each.key for each in jobs.due_jobs(now=NOON)] == ["parent"]


@pytest.mark.django_db
def test_failures_wait_longer_each_time_and_end_dead() -> None:
    request()
    now, delays = NOON, []
    for _try in range(jobs.MOST_TRIES):
        job = claim(now)
        jobs.fail_job(job=job, error="boom", now=now)
        waiting = Job.objects.get()
        delays.append((waiting.due_at - now).total_seconds())
        now = max(waiting.due_at, now)
    assert Job.objects.get().state == "dead"
    assert Job.objects.get().last_error == "boom"
    assert delays[:4] == [2, 4, 8, 16]


@pytest.mark.django_db
def test_ids_are_published_once_and_again_only_when_the_hint_may_be_lost() -> None:
    request()
    assert len(jobs.jobs_to_publish(now=NOON)) == 1
    assert jobs.jobs_to_publish(now=NOON + timedelta(seconds=5)) == []
    assert len(jobs.jobs_to_publish(now=NOON + jobs.REPUBLISH + timedelta(seconds=1))) == 1


@pytest.mark.django_db
def test_a_slot_of_the_timetable_happens_once_however_many_clocks_ask() -> None:
    for _clock in range(3):
        jobs.request_slot(kind="nightly", key="2026-03-02", due_at=NOON)
    Job.objects.update(state="done")
    jobs.request_slot(kind="nightly", key="2026-03-02", due_at=NOON)
    assert Job.objects.count() == 1


def test_the_nightly_slot_begins_at_two_in_the_offices_day() -> None:
    assert slots_due(NOON.replace(hour=1)) == []
    assert [each[:2] for each in slots_due(NOON.replace(hour=2))] == [("nightly", "2026-03-02")]


def test_running_a_job_leaves_its_effect_and_done_together(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    store(body, technician)
    job = Job.objects.get(kind="refresh_appliance")
    assert tasks.run_job(job.id)
    assert not tasks.run_job(job.id)
    assert boiler.forecasts.count() == 2
    job.refresh_from_db()
    assert job.state == "done"


def test_an_effect_whose_claim_was_lost_is_not_kept(
    body: dict[str, Any], technician: User, boiler: Appliance, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(body, technician)
    job = Job.objects.get(kind="refresh_appliance")

    def steal() -> None:
        boiler.name = "changed"
        boiler.save()
        Job.objects.filter(id=job.id).update(token=None)

    monkeypatch.setitem(tasks.HANDLERS, "refresh_appliance", lambda _job: steal)
    assert not tasks.run_job(job.id)
    boiler.refresh_from_db()
    assert boiler.name == "Boiler 1"


def test_a_failing_job_keeps_nothing_and_says_why(
    body: dict[str, Any], technician: User, boiler: Appliance, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(body, technician)

    def fail() -> None:
        Appliance.objects.update(name="half")
        raise ValueError("no")

    monkeypatch.setitem(tasks.HANDLERS, "refresh_appliance", lambda _job: fail)
    job = Job.objects.get(kind="refresh_appliance")
    assert not tasks.run_job(job.id)
    job.refresh_from_db()
    boiler.refresh_from_db()
    assert (job.state, job.tries, job.last_error, boiler.name) == ("waiting", 1, "ValueError: no", "Boiler 1")


def test_a_request_rolled_back_with_its_transaction_leaves_no_job(installation: User) -> None:
    with pytest.raises(RuntimeError), transaction.atomic():
        request()
        raise RuntimeError
    assert not Job.objects.exists()


def test_the_nightly_job_refits_each_series_and_then_has_everybody_refreshed(boiler: Appliance) -> None:
    jobs.request_job(kind="nightly", key="2026-03-02", due_at=NOON)
    Job.objects.exclude(kind="nightly").delete()
    tasks.run_job(Job.objects.get().id)
    assert set(Job.objects.filter(kind="refit").values_list("key", flat=True)) == {"co2/high", "co2/low"}
    barrier = Job.objects.get(kind="refresh_everybody")
    assert not tasks.run_job(barrier.id)
    for each in Job.objects.filter(kind="refit"):
        assert tasks.run_job(each.id)
    assert tasks.run_job(barrier.id)
    (asked,) = Job.objects.filter(kind="refresh_appliance")
    assert (asked.key, asked.state) == (str(boiler.id), "waiting")
    assert tasks.run_job(asked.id)


@pytest.mark.django_db
def test_the_long_reckoning_of_a_fit_happens_outside_the_transaction(monkeypatch: pytest.MonkeyPatch) -> None:
    def depth(*_given: Any, **_named: Any) -> None:
        depths.append(len(connection.savepoint_ids))

    depths: list[int] = []
    depth()
    monkeypatch.setattr(forecasts, "learn", depth)
    monkeypatch.setattr(forecasts, "put_in_force", depth)
    jobs.request_job(kind="refit", key="co2/high", due_at=NOON)
    assert tasks.run_job(Job.objects.get().id)
    around, reckoning, writing = depths
    assert around == reckoning < writing


@pytest.mark.django_db
def test_many_requests_at_once_leave_what_waits_and_bring_it_forward() -> None:
    jobs.request_job(kind="refit", key="1", due_at=NOON + timedelta(hours=1))
    jobs.request_jobs(kind="refit", keys=["1", "2"], due_at=NOON)
    assert list(Job.objects.order_by("key").values_list("key", "due_at")) == [("1", NOON), ("2", NOON)]


@pytest.mark.django_db
def test_a_job_that_ends_its_workers_is_given_up_after_its_tries() -> None:
    request()
    now = NOON
    for _worker in range(jobs.MOST_TRIES):
        assert claim(now)
        now += jobs.CLAIM + timedelta(seconds=1)
    assert claim(now) is None
    given_up = Job.objects.get()
    assert (given_up.state, given_up.tries) == ("dead", jobs.MOST_TRIES)
    assert "ended without a word" in given_up.last_error


@pytest.mark.django_db
def test_a_released_job_waits_at_once_with_the_try_given_back_and_its_old_claim_ends_nothing() -> None:
    request()
    first = claim()
    assert first
    assert jobs.release_claim(job=first, now=NOON)
    assert not jobs.release_claim(job=first, now=NOON)
    with pytest.raises(jobs.LostClaim):
        jobs.finish_job(job=first, now=NOON)
    again = claim()
    assert again
    assert again.tries == 1


@pytest.mark.django_db
def test_a_released_job_whose_work_already_waits_anew_is_left_to_that() -> None:
    request()
    first = claim()
    assert first
    request()
    assert jobs.release_claim(job=first, now=NOON)
    assert sorted(Job.objects.values_list("state", flat=True)) == ["done", "waiting"]


def test_a_worker_that_stops_gives_back_what_it_holds_and_keeps_nothing_of_it(
    body: dict[str, Any], technician: User, boiler: Appliance, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(body, technician)

    def stopped(_job: Job) -> tasks.Effect:
        assert tasks.release_in_hand() == 1
        return lambda: Appliance.objects.update(name="half")

    monkeypatch.setitem(tasks.HANDLERS, "refresh_appliance", stopped)
    job = Job.objects.get(kind="refresh_appliance")
    assert not tasks.run_job(job.id)
    job.refresh_from_db()
    boiler.refresh_from_db()
    assert (job.state, job.tries, boiler.name) == ("waiting", 0, "Boiler 1")
    assert tasks.release_in_hand() == 0
