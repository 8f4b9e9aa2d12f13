"""What the population teaches, begun at the standing figures, and what analysers put in."""

import math
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from fleet import drift
from fleet.assess.foresight.entries import Entry
from fleet.assess.foresight.learning import learn_from
from fleet.assess.foresight.panels import Corrections, digest_of, panel_of
from fleet.assess.foresight.series import Corridor, Series
from fleet.models import Appliance, SheetVersion, Snapshot
from fleet.services.forecasts import put_in_force
from tests.cast import NOON

BIASED, GOOD = "biased", ("good 1", "good 2")
FIRST = date(2021, 3, 1)


def fleet(count: int = 60, bias: float = 0.0, seed: int = 1) -> list[Series]:
    """Series that drift a little; each visit's analyser by lot, one of which reads high in the last year."""
    rng = np.random.default_rng(seed)
    return [_one(number, rng, bias) for number in range(count)]


def _one(number: int, rng: np.random.Generator, bias: float) -> Series:
    pace, level, entries = rng.normal(-0.05, 0.08), 9.4, []
    for year in range(5):
        day = FIRST + timedelta(days=365 * year + int(rng.integers(0, 60)))
        by = BIASED if year == 4 and number % 3 == 0 else GOOD[int(rng.integers(0, 2))]
        read = level + pace * year + rng.normal(0, 0.12) + (bias if by == BIASED else 0.0)
        entries.append(Entry(day, f"{number}/{year}", read, math.nan, read, None, False, False, 1.0, by, f"{number}"))
    appliance = Appliance(sheet_id=Appliance().id)
    return Series(appliance, SheetVersion(), "high", "co2", tuple(entries), Corridor(9.0, 9.8, 9.4))


def refitted(known: list[Series], now: datetime = NOON) -> Snapshot:
    return put_in_force(learnt=learn_from(known, quantity="co2", rate="high"), now=now)


@pytest.mark.django_db
def test_an_analyser_that_reads_high_is_found_and_its_appliances_are_not_blamed() -> None:
    known = fleet(bias=0.4)
    snapshot = refitted(known)
    assert not snapshot.from_assumptions
    assert [name for name, each in snapshot.biases["checks"].items() if each["alarm"]] == [BIASED]
    off = Corrections(**snapshot.biases)
    theirs = [each.entries[-1] for each in known if each.entries[-1].analyser == BIASED]
    assert np.mean([off.of(each) for each in theirs]) == pytest.approx(0.4, abs=0.12)
    others = [each.entries[-1] for each in known if each.entries[-1].analyser != BIASED]
    assert abs(np.mean([off.of(each) for each in others])) < 0.05
    assert np.mean(panel_of(known, off).as_found[-1]) == pytest.approx(
        np.mean([each.entries[-1].found for each in known]) - 0.4 / 3, abs=0.06
    )


@pytest.mark.django_db
def test_good_analysers_raise_no_alarm() -> None:
    snapshot = refitted(fleet())
    assert not any(each["alarm"] for each in snapshot.biases["checks"].values())


@pytest.mark.django_db
def test_without_a_new_reading_nothing_is_learnt_again(monkeypatch: pytest.MonkeyPatch) -> None:
    known = fleet(30)
    first = refitted(known)

    def never(*_given: Any, **_named: Any) -> Any:
        raise AssertionError("fitted again")

    monkeypatch.setattr(drift, "fit", never)
    assert refitted(known[::-1], NOON + timedelta(days=1)) == first


@pytest.mark.django_db
def test_a_refit_begins_at_the_standing_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    first = refitted(fleet(30))
    fit, began = drift.fit, []

    def watched(*given: Any, warm: Any = None, **named: Any) -> Any:
        began.append(warm)
        return fit(*given, warm=warm, **named)

    monkeypatch.setattr(drift, "fit", watched)
    second = refitted(fleet(31))
    assert began[0].version == first.digest
    assert second.in_force and second != first


def test_a_changed_reading_changes_what_a_snapshot_was_learnt_from() -> None:
    known = fleet(3)
    assert digest_of(known) == digest_of(known[::-1])
    assert digest_of(known) != digest_of(known[:2])
