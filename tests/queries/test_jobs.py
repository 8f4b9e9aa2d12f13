"""How background work stands: counts, what waits longest, whether anybody works on it, and how far larger work is."""

from datetime import timedelta
from typing import Any

import pytest

from fleet.models import Job, Role, User
from fleet.queries.jobs import BackgroundWork, KindCount, background_work, failed_jobs, visible_jobs
from tests.models.rows import MOMENT, made

pytestmark = pytest.mark.django_db
MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)


@pytest.fixture(autouse=True)
def nothing_yet() -> None:
    Job.objects.all().delete()


@pytest.fixture
def manager() -> User:
    return made(User, role=Role.MANAGER, sees_all_clients=True)


def job(state: str, kind: str = "refit", **values: Any) -> Job:
    values = {"due_at": MOMENT - MINUTE} | values
    if state in ("done", "failed", "cancelled"):
        values = {"finished_at": MOMENT - MINUTE} | values
    return made(Job, state=state, kind=kind, **values)


def seen(viewer: User) -> BackgroundWork:
    return background_work(viewer, MOMENT)


def test_only_a_manager_who_is_here_sees_any_of_it(manager: User) -> None:
    job("failed")
    assert (visible_jobs(manager).count(), failed_jobs(manager).count(), seen(manager).failed) == (1, 1, 1)
    others = [made(User, role=role) for role in Role.values if role != Role.MANAGER]
    for each in (*others, made(User, role=Role.MANAGER, is_active=False)):
        assert (visible_jobs(each).count(), failed_jobs(each).count(), seen(each).kinds) == (0, 0, ())


def test_what_ended_counts_for_a_day_and_what_failed_until_somebody_saw_to_it(manager: User) -> None:
    long_ago = MOMENT - 400 * DAY
    for state in ("waiting", "waiting", "running", "failed"):
        job(state, due_at=long_ago, finished_at=long_ago)
    for state in ("done", "cancelled"):
        for ended in (MOMENT - DAY, MOMENT - DAY - timedelta(seconds=1), MOMENT):
            job(state, finished_at=ended)
    job("done", kind="alert_on_flag")
    assert seen(manager).kinds == (
        KindCount("alert_on_flag", waiting=0, running=0, failed=0, done=1, cancelled=0),
        KindCount("refit", waiting=2, running=1, failed=1, done=2, cancelled=2),
    )
    assert (seen(manager).waiting, seen(manager).running, seen(manager).failed) == (2, 1, 1)


def test_what_waits_longest_is_due_and_waits_for_no_part_of_its_own(manager: User) -> None:
    assert seen(manager).oldest_due is None
    job("waiting", due_at=MOMENT + MINUTE)
    assert seen(manager).oldest_due is None
    whole = job("waiting", due_at=MOMENT - 9 * MINUTE)
    part = job("running", parent=whole)
    job("waiting", due_at=MOMENT - 4 * MINUTE)
    job("failed", due_at=MOMENT - DAY)
    assert seen(manager).oldest_due == MOMENT - 4 * MINUTE
    Job.objects.filter(id=part.id).update(state="done")
    assert seen(manager).oldest_due == MOMENT - 9 * MINUTE


@pytest.mark.parametrize(
    ("ago", "carrier", "worked_on", "heard"),
    [
        (timedelta(minutes=5), "broker", True, True),
        (timedelta(minutes=5, seconds=1), "broker", False, False),
        (timedelta(), "table", True, False),
    ],
)
def test_a_heartbeat_of_the_last_five_minutes_says_that_somebody_works(
    manager: User, ago: timedelta, carrier: str, worked_on: bool, heard: bool
) -> None:
    assert not seen(manager).is_worked_on
    job("done", kind="heartbeat", key="2026-03-02T11:59", is_slot=True, carrier=carrier, finished_at=MOMENT - ago)
    # Asked for by hand it is no slot, and waiting none has beaten yet.
    job("done", kind="heartbeat", key="9", carrier="broker", finished_at=MOMENT)
    job("waiting", kind="heartbeat", key="2026-03-02T12:00", is_slot=True)
    assert (seen(manager).is_worked_on, seen(manager).is_heard) == (worked_on, heard)


def test_the_newest_heartbeat_counts_and_the_newest_by_the_broker_beside_it(manager: User) -> None:
    for minute, carrier in ((57, "broker"), (58, "broker"), (59, "table")):
        ended = MOMENT.replace(hour=11, minute=minute)
        job("done", kind="heartbeat", key=f"{ended:%H:%M}", is_slot=True, carrier=carrier, finished_at=ended)
    told = seen(manager)
    assert (told.heartbeat_at, told.broker_heartbeat_at) == (
        MOMENT.replace(hour=11, minute=59),
        MOMENT.replace(hour=11, minute=58),
    )


def test_larger_work_is_so_many_of_so_many_by_kind_while_a_part_is_open(manager: User) -> None:
    whole, over = job("waiting", kind="nightly"), job("running", kind="nightly")
    for state in ("done", "failed", "cancelled", "waiting", "running"):
        job(state, parent=whole)
    job("waiting", kind="refresh", parent=whole)
    job("done", parent=over)
    assert [(each.parent, each.kind, each.ended, each.of) for each in seen(manager).parts] == [
        (whole, "refit", 3, 5),
        (whole, "refresh", 0, 1),
    ]
