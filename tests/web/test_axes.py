from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.web.charts import month_ticks, tick_decimals, value_ticks

DAYS = st.dates(date(1990, 1, 1), date(2060, 12, 31))


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e5), st.integers(2, 12))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_value_ticks_are_few_even_and_inside(low: float, length: float, at_most: int) -> None:
    ticks = value_ticks(low, low + length, at_most)
    steps = {round(b - a, 9) for a, b in pairwise(ticks)}
    assert len(ticks) <= at_most + 1
    assert len(steps) <= 1
    assert all(low - length * 1e-6 <= tick <= low + length * (1 + 1e-6) for tick in ticks)


def test_ticks_stand_at_round_numbers() -> None:
    assert value_ticks(0, 100, 5) == [0, 20, 40, 60, 80, 100]
    assert value_ticks(8.05, 10.05, 9) == [8.5, 9.0, 9.5, 10.0]


def test_ticks_are_written_with_as_many_decimals_as_tell_them_apart() -> None:
    assert tick_decimals([8.5, 9.0, 9.5]) == 1
    assert tick_decimals([0.05, 0.1]) == 2
    assert tick_decimals([100, 200]) == 0
    assert tick_decimals([1.0]) == 0


def test_a_range_that_does_not_rise_has_no_ticks() -> None:
    with pytest.raises(ValueError, match="no ticks"):
        value_ticks(3, 3, 5)


@given(DAYS, st.integers(40, 12_000))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_day_ticks_are_first_days_of_months_and_fit(first: date, days: int) -> None:
    last = first + timedelta(days=days)
    ticks, months_apart = month_ticks(first, last, 4, 6)
    assert len(ticks) <= (4 if months_apart < 12 else 6)
    assert all(tick.day == 1 and first <= tick <= last for tick in ticks)
    assert all((b.year - a.year) * 12 + b.month - a.month == months_apart for a, b in pairwise(ticks))


def test_years_begin_in_january() -> None:
    ticks, months_apart = month_ticks(date(2019, 5, 3), date(2024, 2, 1), 4, 6)
    assert (ticks, months_apart) == ([date(year, 1, 1) for year in range(2020, 2025)], 12)
