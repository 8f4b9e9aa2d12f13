"""Which calibration of an analyser is in force on a day."""

from datetime import date
from typing import Any

import pytest

from fleet.models import Analyser, User
from fleet.models.register import new_id
from fleet.services.register import add_calibration
from tests.cast import NOON


def calibrated(analyser: Analyser, actor: User, done_on: str, valid_to: str, *, passed: bool = True) -> None:
    content: dict[str, Any] = {"done_on": done_on, "valid_to": valid_to, "passed": passed}
    content |= {"certificate": f"of {done_on}, {'passed' if passed else 'failed'}", "by": "a laboratory"}
    add_calibration(analyser=analyser, content=content, actor=actor, now=NOON, id=new_id())


@pytest.fixture
def bare(manager: User) -> Analyser:
    return Analyser.objects.create(name="Analyser 2", co2="calculated")


def test_a_failed_calibration_ends_the_one_before_it(bare: Analyser, manager: User) -> None:
    calibrated(bare, manager, "2026-01-10", "2030-01-10")
    calibrated(bare, manager, "2026-02-10", "2030-02-10", passed=False)
    before = bare.calibration_on(date(2026, 2, 9))
    assert before is not None
    assert before.certificate == "of 2026-01-10, passed"
    assert bare.calibration_on(date(2026, 2, 10)) is None
    assert bare.calibration_on(date(2026, 3, 2)) is None


def test_the_newest_calibration_counts_even_where_an_older_one_lasts_longer(bare: Analyser, manager: User) -> None:
    calibrated(bare, manager, "2026-01-10", "2030-01-10")
    calibrated(bare, manager, "2026-02-10", "2026-08-10")
    assert bare.calibration_on(date(2026, 8, 10)) is not None
    assert bare.calibration_on(date(2026, 8, 11)) is None


def test_repaired_and_passed_on_the_day_it_failed_is_in_force(bare: Analyser, manager: User) -> None:
    calibrated(bare, manager, "2026-02-10", "2027-02-10", passed=False)
    calibrated(bare, manager, "2026-02-10", "2027-02-10")
    newest = bare.calibration_on(date(2026, 2, 10))
    assert newest is not None
    assert newest.passed
