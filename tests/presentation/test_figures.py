"""Figures, units and times in print."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.presentation.days import day_and_time, offset
from fleet.presentation.figures import figure, figure_apart, limit_figure, read_figure, read_with_unit
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [(9.3, 2, "9.30"), (-12.0, 1, "−12.0"), (-0.04, 1, "0.0"), (1980.0, 0, "1980"), (100900.0, 0, "100\u202f900")],
)
def test_figures_have_their_decimals_a_true_minus_and_thousands_apart(
    value: float, decimals: int, expected: str
) -> None:
    assert figure(value, decimals) == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0, 1000), st.integers(0, 1000))
def test_a_value_never_looks_like_the_limit_that_it_is_not(value: float, limit: int) -> None:
    shown = figure_apart(value, 0, [float(limit)])
    assert shown != figure(float(limit), 0) or value == limit or abs(value - limit) < 1e-6


def test_a_limit_keeps_its_own_decimals() -> None:
    assert [limit_figure(each, 0) for each in (250.0, 0.004, 0.0625)] == ["250", "0.004", "0.0625"]


def test_readings_are_shown_in_the_unit_they_are_offered_in() -> None:
    assert read_with_unit(CONDITION_QUANTITIES["barometric_pressure"], 100900.0) == "1009 hPa"
    assert read_with_unit(READING_QUANTITIES["oil_pressure"], 1_200_000.0) == "1200 kPa"
    assert read_with_unit(READING_QUANTITIES["flue_temp"], 58.0) == "58.0 °C"
    assert read_with_unit(READING_QUANTITIES["smoke"], 1.0) == "1"


def test_qualifiers_are_words() -> None:
    co = READING_QUANTITIES["co"]
    assert read_figure(co, 4000.0, "more_than") == "more than 4000"
    assert read_figure(co, None, "not_measured") == "not read"
    assert read_figure(co, None, "sensor_fault") == "fault"


@pytest.mark.parametrize(
    ("zone", "expected"), [("Europe/Lisbon", "UTC+1"), ("America/St_Johns", "UTC−2:30"), ("Asia/Kathmandu", "UTC+5:45")]
)
def test_a_time_carries_its_distance_from_utc(zone: str, expected: str) -> None:
    assert offset(datetime(2026, 7, 1, 12, 0, tzinfo=UTC), ZoneInfo(zone)) == expected


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "25 October 2026, 01:30 UTC+1"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "25 October 2026, 01:30 UTC+0"),
        (datetime(2026, 10, 25, 2, 30, tzinfo=UTC), "25 October 2026, 02:30"),
        (datetime(2026, 7, 1, 12, 0, tzinfo=UTC), "1 July 2026, 13:00"),
    ],
)
def test_a_time_names_its_distance_from_utc_only_where_the_clocks_show_it_twice(
    moment: datetime, expected: str
) -> None:
    assert day_and_time(moment, ZoneInfo("Europe/Lisbon")) == expected
