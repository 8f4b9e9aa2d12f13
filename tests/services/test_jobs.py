"""Jobs: requested once, claimed by one, done once; failures wait and in the end are given up with an alarm."""

import threading
import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import QuerySet
from pytest_django.fixtures import Settings

from fleet import clock, tasks
from fleet.assess.jobs import DONE_KEPT, due_jobs, is_broker_unheard
from fleet.errors import Conflict
from fleet.models import Appliance, Job, User
from fleet.services import forecasts, jobs
from fleet.timetable import next_slots, slots_due
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
    assert [each.key for each in due_jobs(NOON)] == ["child"]
    child = jobs.claim_job(job_id=Job.objects.get(key="child").id, now=NOON)
    jobs.finish_job(job=child, now=NOON)
    assert [each.key for each in due_jobs(NOON)] == ["parent"]


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
    assert Job.objects.get().state == "failed"
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


def slots_at(moment: datetime) -> dict[str, str]:
    return {kind: key for kind, key, _due in slots_due(moment)}


def test_a_daily_slot_begins_at_its_hour_of_the_offices_day() -> None:
    assert "nightly" not in slots_at(NOON.replace(hour=1))
    assert slots_at(NOON.replace(hour=2))["nightly"] == "2026-03-02"
    assert slots_at(NOON.replace(hour=23))["nightly"] == "2026-03-02"


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Pacific/Apia"])
@pytest.mark.parametrize("month", [3, 4, 10, 11])
def test_a_daily_slot_comes_once_a_local_day_through_both_changes_of_the_clocks(
    settings: Settings, zone: str, month: int
) -> None:
    settings.TIME_ZONE = zone
    begun = datetime(2026, month, 1, tzinfo=UTC)
    asked = [slots_at(begun + timedelta(minutes=10 * n)).get("nightly") for n in range(30 * 144)]
    days = list(dict.fromkeys(each for each in asked if each))
    first = date.fromisoformat(days[0])
    assert days == [f"{first + timedelta(days=n)}" for n in range(len(days))]
    assert len(days) >= 30


def test_a_stretch_has_one_slot_wherever_in_it_one_asks() -> None:
    keys = {slots_at(NOON + timedelta(seconds=n))["heartbeat"] for n in (0, 30, 59)}
    assert keys == {"2026-03-02T12:00:00Z"}
    assert slots_at(NOON + timedelta(seconds=60))["heartbeat"] == "2026-03-02T12:01:00Z"


def test_what_comes_next_is_told_soonest_first_and_after_the_moment() -> None:
    coming = next_slots(NOON)
    assert dict(coming)["nightly"] == NOON.replace(day=3, hour=2)
    assert dict(coming)["heartbeat"] == NOON + timedelta(minutes=1)
    assert [when for _kind, when in coming] == sorted(when for _kind, when in coming)
    assert dict(next_slots(NOON.replace(hour=1)))["nightly"] == NOON.replace(hour=2)


@pytest.mark.django_db
def test_no_slot_is_added_while_an_earlier_one_of_its_kind_waits() -> None:
    jobs.request_slot(kind="heartbeat", key="12:00", due_at=NOON)
    jobs.request_slot(kind="heartbeat", key="12:01", due_at=NOON)
    assert [each.key for each in Job.objects.all()] == ["12:00"]
    Job.objects.update(state="done")
    jobs.request_slot(kind="heartbeat", key="12:01", due_at=NOON)
    assert Job.objects.count() == 2


@pytest.mark.django_db
def test_a_slot_that_another_clock_made_in_between_is_left_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both looked and found none; the other was faster, and its job is done by now."""
    jobs.request_slot(kind="nightly", key="2026-03-02", due_at=NOON)
    Job.objects.update(state="done")
    monkeypatch.setattr(QuerySet, "exists", lambda _rows: False)
    jobs.request_slot(kind="nightly", key="2026-03-02", due_at=NOON)
    assert Job.objects.count() == 1


def test_running_a_job_leaves_its_effect_and_done_together(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    store(body, technician)
    job = Job.objects.get(kind="refresh_appliance")
    assert tasks.run_job(job.id)
    assert not tasks.run_job(job.id)
    assert boiler.forecasts.filter(quantity="co2").count() == 2
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
    (asked,) = Job.objects.filter(kind="refresh_shard")
    assert (asked.key, asked.state) == (f"{boiler.id}/{boiler.id}", "waiting")
    assert tasks.run_job(asked.id)


@pytest.mark.django_db
def test_the_long_calculation_of_a_fit_happens_outside_the_transaction(monkeypatch: pytest.MonkeyPatch) -> None:
    def depth(*_given: Any, **_named: Any) -> None:
        depths.append(len(connection.savepoint_ids))

    depths: list[int] = []
    depth()
    monkeypatch.setattr(tasks, "learn", depth)
    monkeypatch.setattr(forecasts, "put_in_force", depth)
    jobs.request_job(kind="refit", key="co2/high", due_at=NOON)
    assert tasks.run_job(Job.objects.get().id)
    around, calculation, writing = depths
    assert around == calculation < writing


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
    assert (given_up.state, given_up.tries) == ("failed", jobs.MOST_TRIES)
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


# ---- long work ----


@pytest.mark.django_db
def test_a_renewed_claim_keeps_the_job_from_others() -> None:
    request()
    job = claim()
    assert job
    later = NOON + jobs.CLAIM - timedelta(seconds=1)
    assert jobs.renew_claim(job=job, now=later)
    assert claim(NOON + jobs.CLAIM + timedelta(seconds=1)) is None
    assert claim(later + jobs.CLAIM + timedelta(seconds=1))
    assert not jobs.renew_claim(job=job, now=later)


@pytest.mark.django_db
def test_the_claim_of_work_in_hand_is_renewed_until_it_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    renewed, enough = [], threading.Event()

    def renew(*, job: Job, now: datetime) -> bool:
        renewed.append(job.id)
        enough.set()
        return True

    monkeypatch.setattr(tasks, "RENEWS_EACH_S", 0.01)
    monkeypatch.setattr(jobs, "renew_claim", renew)
    monkeypatch.setitem(tasks.HANDLERS, "refit", lambda _job: lambda: enough.wait(30))
    request()
    job = Job.objects.get()
    assert tasks.run_job(job.id)
    assert set(renewed) == {job.id}


@pytest.mark.django_db
def test_work_that_hangs_is_renewed_no_longer_than_the_longest_run(monkeypatch: pytest.MonkeyPatch) -> None:
    renewed: list[int] = []
    monkeypatch.setattr(tasks, "RENEWS_EACH_S", 0.01)
    monkeypatch.setattr(tasks, "LONGEST_RUN_S", 0.0)
    monkeypatch.setattr(jobs, "renew_claim", lambda **_given: renewed.append(1))
    before = {each.ident for each in threading.enumerate()}

    def keepers_are_gone(_job: Job) -> tasks.Effect:
        for each in threading.enumerate():
            if each.ident not in before:
                each.join(30)
        return lambda: None

    monkeypatch.setitem(tasks.HANDLERS, "refit", keepers_are_gone)
    request()
    assert tasks.run_job(Job.objects.get().id)
    assert renewed == []


@pytest.mark.django_db
def test_progress_is_said_with_the_claim_renewed() -> None:
    request()
    job = claim()
    assert job
    later = NOON + timedelta(seconds=30)
    jobs.report_progress(job=job, progress="2 / 5", now=later)
    job.refresh_from_db()
    assert (job.progress, job.claimed_until) == ("2 / 5", later + jobs.CLAIM)
    Job.objects.update(token=uuid.uuid4())
    with pytest.raises(jobs.LostClaim):
        jobs.report_progress(job=job, progress="3 / 5", now=later)


# ---- cancel, retry ----


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["waiting", "failed"])
def test_what_rests_is_cancelled_at_once_and_can_be_taken_up_again(state: str) -> None:
    request()
    Job.objects.update(state=state, last_error="ValueError: no", tries=8)
    job = jobs.cancel_job(job=Job.objects.get(), now=NOON)
    assert (job.state, job.finished_at) == ("cancelled", NOON)
    assert claim() is None
    job = jobs.retry_job(job=job, now=NOON)
    assert (job.state, job.tries, job.cancel_requested, job.last_error) == ("waiting", 0, False, "ValueError: no")
    assert claim()


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["done", "cancelled"])
def test_what_has_ended_is_not_cancelled(state: str) -> None:
    request()
    Job.objects.update(state=state)
    with pytest.raises(Conflict) as refused:
        jobs.cancel_job(job=Job.objects.get(), now=NOON)
    assert refused.value.code == "ended"


def called_off(job: Job) -> None:
    jobs.cancel_job(job=job, now=NOON)


def between_its_steps(job: Job) -> tasks.Effect:
    called_off(job)
    jobs.report_progress(job=job, progress="1 / 2", now=clock.now())
    raise AssertionError("went on")


def before_its_effect(job: Job) -> tasks.Effect:
    called_off(job)
    return lambda: jobs.request_job(kind="refit", key="effect", due_at=NOON)


@pytest.mark.django_db
@pytest.mark.parametrize("handler", [between_its_steps, before_its_effect])
def test_running_work_stops_without_effect_when_it_is_called_off(
    monkeypatch: pytest.MonkeyPatch, handler: Callable[[Job], tasks.Effect]
) -> None:
    monkeypatch.setitem(tasks.HANDLERS, "refit", handler)
    request()
    assert not tasks.run_job(Job.objects.get().id)
    assert [(each.key, each.state) for each in Job.objects.all()] == [("1", "cancelled")]


@pytest.mark.django_db
def test_work_called_off_while_its_worker_was_gone_is_not_taken_up() -> None:
    request()
    assert claim()
    jobs.cancel_job(job=Job.objects.get(), now=NOON)
    assert claim(NOON + jobs.CLAIM + timedelta(seconds=1)) is None
    assert Job.objects.get().state == "cancelled"


@pytest.mark.django_db
def test_a_failure_keeps_what_when_and_how_often_and_when_it_is_tried_next() -> None:
    request()
    job = claim()
    assert job
    jobs.fail_job(job=job, error="ValueError: no", now=NOON)
    job.refresh_from_db()
    assert (job.tries, job.last_error, job.failed_at) == (1, "ValueError: no", NOON)
    assert job.due_at == NOON + timedelta(seconds=2)


# ---- bulk work gives way ----


@pytest.mark.django_db
def test_what_is_asked_for_by_itself_is_published_before_bulk_work_that_was_due_earlier() -> None:
    jobs.request_jobs(kind="refit", keys=[str(n) for n in range(3)], due_at=NOON - timedelta(hours=1))
    request("urgent")
    first, *_others = jobs.jobs_to_publish(now=NOON)
    assert Job.objects.get(id=first).key == "urgent"


@pytest.mark.django_db
def test_only_so_many_hints_of_bulk_work_are_out_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "PUBLISH_AT_ONCE", 2)
    jobs.request_jobs(kind="refit", keys=[str(n) for n in range(5)], due_at=NOON)
    assert len(jobs.jobs_to_publish(now=NOON)) == 2
    assert jobs.jobs_to_publish(now=NOON) == []
    request("urgent")
    assert len(jobs.jobs_to_publish(now=NOON)) == 1
    Job.objects.filter(published_at__isnull=False).update(state="done")
    assert len(jobs.jobs_to_publish(now=NOON)) == 2


@pytest.mark.django_db
def test_bulk_work_that_somebody_asks_for_by_itself_gives_way_no_longer() -> None:
    jobs.request_jobs(kind="refit", keys=["1"], due_at=NOON)
    request("1")
    assert [each.is_bulk for each in Job.objects.all()] == [False]


@pytest.mark.django_db
def test_hints_that_the_broker_did_not_take_are_published_again_at_once() -> None:
    request()
    ids = jobs.jobs_to_publish(now=NOON)
    jobs.withdraw_hints(job_ids=ids)
    assert jobs.jobs_to_publish(now=NOON) == ids


# ---- house-keeping ----


def test_old_rows_are_removed_and_dead_ones_stay(installation: User) -> None:
    long_ago = clock.now() - DONE_KEPT - timedelta(days=1)
    for state in ("done", "cancelled", "failed"):
        Job.objects.create(kind="refit", key=state, state=state, due_at=long_ago, finished_at=long_ago)
    parent = Job.objects.create(kind="refit", key="parent", state="done", due_at=long_ago, finished_at=long_ago)
    for key, state in (("child", "done"), ("dead child", "failed")):
        Job.objects.create(kind="refit", key=key, state=state, parent=parent, due_at=long_ago, finished_at=long_ago)
    lately = clock.now() - timedelta(days=3)
    Job.objects.create(kind="refit", key="lately", state="done", due_at=lately, finished_at=lately)
    for key, at in (("old", lately), ("new", clock.now())):
        Job.objects.create(kind="heartbeat", key=key, is_slot=True, state="done", due_at=at, finished_at=at)
    jobs.request_job(kind="prune_jobs", key="today", due_at=lately)
    pruning = Job.objects.get(kind="prune_jobs")
    assert tasks.run_job(pruning.id)
    left = set(Job.objects.exclude(kind="prune_jobs").values_list("key", flat=True))
    assert left == {"failed", "dead child", "parent", "lately", "new"}
    pruning.refresh_from_db()
    assert (pruning.state, pruning.progress) == ("done", "4 / 4")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("published", "carrier", "unheard"), [(True, "table", True), (True, "broker", False), (False, "table", False)]
)
def test_the_broker_is_unheard_when_it_took_heartbeats_that_only_the_table_brought(
    published: bool, carrier: str, unheard: bool
) -> None:
    for minute in range(4):
        at = NOON - timedelta(minutes=minute)
        Job.objects.create(
            kind="heartbeat", key=f"{at}", is_slot=True, state="done", due_at=at, finished_at=at, carrier=carrier,
            published_at=at if published else None,
        )  # fmt: skip
    assert is_broker_unheard(NOON, timedelta(minutes=5)) is unheard
    assert not is_broker_unheard(NOON + timedelta(minutes=9), timedelta(minutes=5))
