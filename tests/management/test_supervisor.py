"""What the supervisor does with children that end."""

import subprocess
import sys
from types import SimpleNamespace

import pytest

from fleet.management import supervisor
from fleet.management.supervisor import Child, Supervisor


def ended(code: int, lived_s: float, monkeypatch: pytest.MonkeyPatch, failures: int = 0) -> tuple[Child, float]:
    """A child that ended with this status after so long, and the seconds until it is started again."""
    moment = [1000.0]
    monkeypatch.setattr(supervisor, "time", SimpleNamespace(monotonic=lambda: moment[0]))
    child = Child("worker", [sys.executable, "-c", f"raise SystemExit({code})"], renews=frozenset({75}))
    watched = Supervisor([child], lambda _said: None)
    watched._tend(child)
    assert child.process is not None
    child.process.wait(60)
    child.failures = failures
    moment[0] += lived_s
    watched._tend(child)
    assert child.process is None
    return child, child.start_at - moment[0]


def test_a_child_that_asks_to_be_renewed_is_started_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    assert ended(75, 600.0, monkeypatch)[1] == 0.0


def test_one_that_asks_again_and_again_has_to_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    child, wait = ended(75, 1.0, monkeypatch, failures=2)
    assert (child.failures, wait) == (3, 8.0)


def test_one_that_dies_soon_waits_longer_each_time_up_to_half_a_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    waits = [ended(1, 1.0, monkeypatch, failures=before)[1] for before in (0, 1, 2, 10)]
    assert waits == [2.0, 4.0, 8.0, supervisor.LONGEST_WAIT_S]


def test_one_that_lived_long_is_started_soon_after_its_death(monkeypatch: pytest.MonkeyPatch) -> None:
    child, wait = ended(1, 600.0, monkeypatch, failures=5)
    assert (child.failures, wait) == (0, 1.0)


def living(ends: str = "pass") -> Child:
    """A child that is ready once it has written a line, and then waits."""
    code = f"import signal, sys, time; {ends}; print('ready', flush=True); time.sleep(60)"
    child = Child("worker", [sys.executable, "-c", code])
    child.process = subprocess.Popen(child.command, stdout=subprocess.PIPE, start_new_session=True)
    assert child.process.stdout is not None
    child.process.stdout.readline()
    return child


def test_all_are_asked_to_stop_and_waited_for() -> None:
    children = [living("signal.signal(15, lambda *_: sys.exit(0))"), living()]
    assert Supervisor(children, lambda _said: None)._stop() == 0
    assert [each.process and each.process.returncode for each in children] == [0, -15]


def test_what_does_not_stop_in_time_is_killed_and_that_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervisor, "STOP_WITHIN_S", 0.2)
    children = [living("signal.signal(15, signal.SIG_IGN)"), Child("clock", ["never started"])]
    assert Supervisor(children, lambda _said: None)._stop() == 1
    assert children[0].process and children[0].process.returncode == -9


def test_what_ended_by_itself_is_said_with_its_status_and_when_it_is_started_again() -> None:
    said: list[str] = []
    child = Child("clock", [sys.executable, "-c", "raise SystemExit(7)"])
    watched = Supervisor([child], said.append)
    watched._tend(child)
    assert child.process is not None
    child.process.wait(60)
    watched._tend(child)
    assert said == ["clock ended with 7; starting it again in 2 s"]
    watched._tend(child)
    assert child.process is None
