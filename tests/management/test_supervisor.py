"""What the supervisor does with children that end."""

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
