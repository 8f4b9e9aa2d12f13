"""Background work by hand: look, retry, cancel, and drain without a broker."""

import uuid
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from fleet import clock, tasks
from fleet.models import Job

pytestmark = pytest.mark.django_db


def said(*arguments: str) -> str:
    out = StringIO()
    call_command("jobs", *arguments, stdout=out)
    return out.getvalue()


def job(state: str = "waiting", key: str = "1", **values: Any) -> Job:
    return Job.objects.create(**{"kind": "counted", "key": key, "state": state, "due_at": clock.now()} | values)


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The keys of the work that was done; work named `bad` fails."""
    keys: list[str] = []

    def counted(each: Job) -> tasks.Effect:
        if each.key == "bad":
            raise ValueError("no")
        return lambda: keys.append(each.key)

    monkeypatch.setitem(tasks.HANDLERS, "counted", counted)
    return keys


def test_the_list_shows_what_is_open_or_dead_and_can_be_narrowed() -> None:
    job("failed", "died", tries=8, last_error="ValueError: no\nmore")
    job("waiting", "waits")
    job("done", "ended")
    listed = said("list")
    assert "counted died  ValueError: no" in listed
    assert "counted waits" in listed
    assert "ended" not in listed
    assert "2 of 2 jobs." in listed
    assert "counted waits" not in said("list", "--state", "failed")
    assert said("list", "--kind", "other") == "0 of 0 jobs.\n"
    assert "1 of 2 jobs." in said("list", "--limit", "1")


def test_one_is_shown_whole() -> None:
    shown = said("show", str(job("failed", last_error="ValueError: no\nmore", args={"a": 1}).id))
    assert "ValueError: no\nmore" in shown
    assert "{'a': 1}" in shown


def test_failed_work_is_retried_and_cancelled() -> None:
    failed = job("failed", tries=8)
    assert "waiting" in said("retry", str(failed.id))
    assert "cancelled" in said("cancel", str(failed.id))
    failed.refresh_from_db()
    assert failed.state == "cancelled"


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("show", "7"), "id is '7'; it must be the id of a job"),
        (("cancel", str(uuid.UUID(int=1))), "There is no job"),
        (("list", "--limit", "0"), "limit is '0'; it must be a whole number above 0"),
        (("list", "--state", "lost"), "invalid choice: 'lost'"),
    ],
)
def test_what_cannot_be_read_is_refused_by_name(arguments: tuple[str, ...], why: str) -> None:
    with pytest.raises(CommandError, match=why):
        said(*arguments)


def test_what_is_not_failed_is_not_retried() -> None:
    with pytest.raises(CommandError, match="Only work that has failed"):
        said("retry", str(job().id))


def test_drain_does_what_is_due_until_none_is_and_leaves_what_is_not(done: list[str]) -> None:
    for key in "abc":
        job(key=key)
    job(key="tomorrow", due_at=clock.now() + timedelta(days=1))
    job(key="bad")
    told = said("drain")
    assert sorted(done) == ["a", "b", "c"]
    assert "3 done, 1 not done or taken by others, 0 still due." in told
    assert set(Job.objects.filter(state="done").values_list("carrier", flat=True)) == {"hand"}
    assert Job.objects.get(key="bad").last_error == "ValueError: no"


def test_drain_also_does_what_the_work_itself_asks_for(done: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(tasks.HANDLERS, "larger", lambda _job: lambda: job(key="part"))
    job(kind="larger")
    said("drain")
    assert done == ["part"]


def test_drain_stops_at_its_limit_its_time_or_its_kind(done: list[str]) -> None:
    for key in "abc":
        job(key=key)
    assert "2 done, 0 not done or taken by others, 1 still due." in said("drain", "--limit", "2")
    assert "0 done, 0 not done or taken by others, 1 still due." in said("drain", "--for-seconds", "0")
    assert "0 done" in said("drain", "--kind", "other")
    assert len(done) == 2
