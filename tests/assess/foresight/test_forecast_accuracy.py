"""Forecasts held against what was found, and the analysers that read too far on one side."""

import math
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fleet.assess.foresight.forecast_accuracy import Check, analysers_that_are_off, held_against
from fleet.models import Snapshot
from tests.cast import NOON

CHECKS = st.lists(
    st.builds(
        Check, quantity=st.just("o2"), ahead=st.booleans(), chance=st.floats(0, 1), outside=st.booleans(),
        surprise=st.none() | st.floats(-4, 4), analyser=st.sampled_from(["A", "B", None]),
    ),
    max_size=20,
)  # fmt: skip


@given(CHECKS)
def test_shares_are_of_all_readings_and_surprises_of_those_that_have_one(checks: list[Check]) -> None:
    told = held_against(checks)
    if not checks:
        assert told is None
        return
    assert told is not None
    assert (told.readings, told.outside) == (len(checks), sum(each.outside for each in checks))
    assert told.forecast_share == pytest.approx(sum(each.chance for each in checks) / len(checks))
    assert told.found_share == told.outside / told.readings
    all_of, by_label = told.calibration.surprises, told.calibration.by_label
    assert all_of.n == sum(each.surprise is not None for each in checks)
    assert sum(each.n for each in by_label.values()) == all_of.n
    assert set(by_label) == {each.analyser for each in checks}
    shown = [each.surprise for each in checks if each.surprise is not None]
    if len(shown) > 1:
        assert all_of.mean == pytest.approx(float(np.mean(shown)), abs=1e-9)


def test_honest_forecasts_look_honest() -> None:
    """Each reading is outside by the very chance that was forecast: by the binomial law the shares agree."""
    rng = np.random.default_rng(5)
    chances = rng.uniform(0, 0.6, 3000)
    checks = [
        Check("o2", True, float(chance), bool(rng.random() < chance), float(rng.normal()), "A") for chance in chances
    ]
    told = held_against(checks)
    assert told is not None
    spread = math.sqrt(float(np.sum(chances * (1 - chances)))) / 3000
    assert abs(told.found_share - told.forecast_share) < stats.norm.ppf(1 - 1e-5) * spread
    assert abs(told.calibration.surprises.mean) < 0.1


# ---- analysers ----


def snapshot(**values: Any) -> Snapshot:
    row = {"quantity": "o2", "rate": "high", "digest": "d" * 64, "in_force": True, "from_assumptions": False,
           "made_at": NOON, "series_count": 40, "parameters": {}}  # fmt: skip
    return Snapshot.objects.create(**row | values)


def biases(*, alarm: bool = True) -> dict[str, Any]:
    """Of analyser a-1: 0.2 high for ever, and in its newest quarter, the 8105th since the year 1, 0.3 more."""
    quarters = {"a-1/8100": [0.9, 0.1, 3], "a-1/8105": [0.3, 0.1, 12], "a-10/8106": [5.0, 0.1, 1]}
    checks = {"a-1": {"alarm": alarm, "score": 4.2}, "gone": {"alarm": True, "score": 9.0}}
    return {"quarter": quarters, "analyser": {"a-1": [0.2, 0.05, 80]}, "checks": checks}


NAMES = {"a-1": "Analyser 1", "a-10": "Analyser 10"}


@pytest.mark.django_db
def test_an_analyser_is_off_by_its_own_error_and_its_newest_quarters() -> None:
    snapshot(biases=biases())
    (off,) = analysers_that_are_off(NAMES)
    assert (off.name, off.quantity, off.rate, off.readings, off.score) == ("Analyser 1", "o2", "high", 12, 4.2)
    assert off.off == pytest.approx(0.5)
    # 8105 quarters of 91.3125 days are 740 087.8 days: from the 740 088th day since 1 January of the year 1.
    assert off.since == date(1, 1, 1) + timedelta(days=740_087)


@pytest.mark.django_db
def test_nobody_is_blamed_by_assumptions_by_an_older_snapshot_or_without_an_alarm() -> None:
    snapshot(biases=biases(), from_assumptions=True)
    snapshot(biases=biases(), in_force=False, rate="low")
    snapshot(biases=biases(alarm=False), quantity="co")
    snapshot(biases={}, quantity="co2")
    assert list(analysers_that_are_off(NAMES)) == []


@pytest.mark.django_db
def test_an_analyser_that_was_never_used_in_any_quarter_is_off_by_its_own_error_alone() -> None:
    told = biases() | {"quarter": {}}
    snapshot(biases=told)
    (off,) = analysers_that_are_off(NAMES)
    assert (off.off, off.readings, off.since) == (0.2, 0, date(1, 1, 1))
