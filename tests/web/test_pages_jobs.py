"""The manager's page of background work: what failed comes first, what can be done about it, whether anybody works."""

from datetime import timedelta
from typing import Any

import pytest
from pytest_django.fixtures import Settings

from fleet import clock
from fleet.models import Job, User
from fleet.services import jobs
from tests.cast import NOON
from tests.web.markup import words_of
from tests.web.opened import browser_of, checked, opened, queries_of, sent

PAGE = "/background-work/"


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - (clock.now() - settings.CLOCK_OFFSET)


def job(state: str, key: str = "1", **values: Any) -> Job:
    return Job.objects.create(**{"kind": "refit", "key": key, "state": state, "due_at": NOON} | values)


def beat(minutes_ago: float, carrier: str) -> None:
    at = NOON - timedelta(minutes=minutes_ago)
    job("done", f"{at}", kind="heartbeat", is_slot=True, finished_at=at, carrier=carrier)


def died(key: str = "co2/high") -> Job:
    values = {"tries": 8, "finished_at": NOON, "failed_at": NOON}
    return job("failed", key, last_error="ValueError: no\nTraceback <b>of</b> it", **values)


def test_what_died_comes_first_with_its_error_and_what_can_be_done(manager: User) -> None:
    died()
    page = opened(manager, PAGE)
    words = words_of(page)
    assert "One piece of background work has failed after its tries." in words
    assert "Learn drift anew, CO₂ at high fire" in words
    assert "after 8 tries" in words
    assert "ValueError: no" in words
    assert "Traceback &lt;b&gt;of&lt;/b&gt; it" in page


def test_the_start_page_tells_the_manager_and_nobody_else(manager: User, dispatcher: User) -> None:
    assert "Background work" in words_of(opened(manager, "/"))
    died()
    assert "1 piece of background work has failed" in words_of(opened(manager, "/"))
    assert "ackground work" not in words_of(opened(dispatcher, "/"))


@pytest.mark.parametrize(
    ("beats", "said"),
    [
        ([], "No heartbeat yet: is the worker started, and the clock?"),
        ([(7, "broker")], "The last heartbeat was done 7 minutes ago; one is due each minute."),
        ([(30, "broker"), (1, "table")], "Work is taken from the table: the broker brings none."),
        ([(1, "broker")], "The last heartbeat was done 1 minute ago."),
    ],
)
def test_it_says_whether_anybody_works_and_which_way_work_comes(
    manager: User, beats: list[tuple[int, str]], said: str
) -> None:
    for minutes_ago, carrier in beats:
        beat(minutes_ago, carrier)
    assert said in words_of(opened(manager, PAGE))


def test_it_counts_and_says_how_long_the_oldest_has_waited_and_what_comes_next(manager: User) -> None:
    beat(1, "broker")
    job("waiting", "late", due_at=NOON - timedelta(minutes=90))
    job("waiting", "later", due_at=NOON + timedelta(hours=1))
    job("running", claimed_at=NOON, claimed_until=NOON + jobs.CLAIM, progress="3 / 7", tries=1)
    words = words_of(opened(manager, PAGE))
    assert "Background work goes on: one in hand and two waiting." in words
    assert "The oldest work that is due has waited 1 hour." in words
    assert "3 / 7" in words
    assert "Learn drift anew 2 1 0 0 0" in words
    assert "3 March 2026, 02:00 Work of the night" in words


def test_larger_work_is_shown_as_so_many_of_so_many(manager: User) -> None:
    barrier = job("waiting", "2026-03-02", kind="refresh_everybody")
    for number, state in enumerate(["done", "failed", "waiting", "running"]):
        moment = {"claimed_at": NOON, "claimed_until": NOON} if state == "running" else {}
        job(state, str(number), parent=barrier, finished_at=NOON, **moment)
    said = "Have every appliance looked at again. Learn drift anew: 2 of 4"
    assert said in words_of(opened(manager, PAGE))


def test_failed_work_is_tried_again_or_seen_to_by_the_manager(manager: User) -> None:
    first, second = died("a"), died("b")
    assert sent(manager, f"{PAGE}{first.id}/retry/").status_code == 302
    assert sent(manager, f"{PAGE}{second.id}/cancel/").status_code == 302
    states = dict(Job.objects.values_list("key", "state"))
    assert states == {"a": "waiting", "b": "cancelled"}


def test_running_work_is_asked_to_stop(manager: User) -> None:
    running = job("running", claimed_at=NOON, claimed_until=NOON + jobs.CLAIM)
    sent(manager, f"{PAGE}{running.id}/cancel/")
    running.refresh_from_db()
    assert (running.state, running.cancel_requested) == ("running", True)
    assert "asked to stop" in words_of(opened(manager, PAGE))


def test_what_cannot_be_done_is_said_and_changes_nothing(manager: User) -> None:
    done = job("done", finished_at=NOON)
    answer = sent(manager, f"{PAGE}{done.id}/retry/")
    assert answer.status_code == 409
    assert "Only work that has failed" in words_of(checked(answer))
    assert sent(manager, f"{PAGE}{User.objects.first().pk}/retry/").status_code == 404


def test_only_managers_come_here(dispatcher: User, technician: User, auditor: User) -> None:
    failed = died()
    for user in (dispatcher, technician, auditor):
        assert browser_of(user).get(PAGE).status_code == 403
        assert sent(user, f"{PAGE}{failed.id}/retry/").status_code == 403
    failed.refresh_from_db()
    assert failed.state == "failed"


def test_it_takes_as_many_queries_for_many_rows_as_for_few(manager: User) -> None:
    def more(count: int) -> None:
        for number in range(Job.objects.count(), Job.objects.count() + count):
            parent = job("done", f"parent {number}", finished_at=NOON)
            job("waiting", f"{number}", parent=parent)
            died(f"dead {number}")

    more(1)
    few = queries_of(manager, PAGE)
    more(8)
    assert queries_of(manager, PAGE) == few
