"""Background work through the API: lists that can be narrowed, one with its error, acts, and how it stands."""

from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet import clock
from fleet.models import Job
from fleet.services import jobs
from tests.cast import NOON

LIST = "/api/v1/background-work"


def job(state: str, key: str = "1", **values: Any) -> Job:
    return Job.objects.create(**{"kind": "refit", "key": key, "state": state, "due_at": NOON} | values)


def test_the_list_is_narrowed_by_state_kind_key_and_parent(boss: APIClient) -> None:
    parent = job("done", "parent")
    job("waiting", "a", parent=parent)
    job("waiting", "b", kind="nightly")
    job("failed", "a")

    def keys(**query: Any) -> list[str]:
        return [each["key"] for each in boss.get(LIST, query).json()["results"]]

    assert keys(state="waiting") == ["a", "b"]
    assert keys(kind="nightly") == ["b"]
    assert keys(key="a") == ["a", "a"]
    assert keys(parent=str(parent.id)) == ["a"]
    assert boss.get(LIST, {"state": "lost"}).status_code == 400


def test_one_is_shown_with_its_error_in_full(boss: APIClient) -> None:
    failed = job("failed", tries=8, last_error="ValueError: no\nand more", failed_at=NOON, finished_at=NOON)
    shown = boss.get(f"{LIST}/{failed.id}").json()
    assert (shown["tries"], shown["last_error"]) == (8, "ValueError: no\nand more")
    assert shown["failed_at"] == "2026-03-02T12:00:00Z"


@pytest.mark.parametrize(("state", "status"), [("waiting", 200), ("failed", 200), ("done", 409), ("cancelled", 409)])
def test_what_rests_is_cancelled_and_what_has_ended_is_not(boss: APIClient, state: str, status: int) -> None:
    answer = boss.post(f"{LIST}/{job(state).id}/cancel")
    assert answer.status_code == status
    assert (answer.json().get("state"), answer.json().get("code")) == (
        ("cancelled", None) if status == 200 else (None, "ended")
    )


def test_running_work_is_asked_to_stop(boss: APIClient) -> None:
    running = job("running", claimed_at=NOON, claimed_until=NOON + jobs.CLAIM)
    answer = boss.post(f"{LIST}/{running.id}/cancel").json()
    assert (answer["state"], answer["cancel_requested"]) == ("running", True)


def test_how_it_stands_is_told_in_one_answer(boss: APIClient) -> None:
    now = clock.now()
    parent = job("done", "parent", finished_at=now)
    for key, state in (("a", "done"), ("b", "waiting")):
        job(state, key, parent=parent, finished_at=now if state == "done" else None)
    job("done", "beat", kind="heartbeat", is_slot=True, carrier="table", finished_at=now - timedelta(minutes=1))
    told = boss.get("/api/v1/background-work/summary").json()
    assert (told["is_worked_on"], told["is_heard"], told["broker_heartbeat_at"]) == (True, False, None)
    assert {each["kind"]: (each["waiting"], each["done"]) for each in told["kinds"]} == {
        "heartbeat": (0, 1), "refit": (1, 2)
    }  # fmt: skip
    assert told["parts"] == [{"parent": str(parent.id), "kind": "refit", "ended": 1, "of": 2}]
    assert {"nightly", "heartbeat", "prune_jobs"} <= {each["kind"] for each in told["next"]}


def test_nobody_but_the_manager_sees_any_of_it(office: APIClient) -> None:
    failed = job("failed")
    for path in (LIST, f"{LIST}/{failed.id}", "/api/v1/background-work/summary"):
        assert office.get(path).status_code == 403
    assert office.post(f"{LIST}/{failed.id}/cancel").status_code == 403
