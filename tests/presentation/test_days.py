from datetime import date

import pytest

from fleet.presentation.days import day, long_day
from fleet.presentation.figures import figure, from_to


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (9.3, 2, "9.30"),
        (-3.04, 1, "−3.0"),
        (-0.04, 1, "0.0"),
        (2000.0, 0, "2000"),
        (12000.0, 0, "12\u202f000"),
        (-1234567.8, 1, "−1\u202f234\u202f567.8"),
    ],
)
def test_figures_keep_their_decimals_and_have_a_true_minus(value: float, decimals: int, shown: str) -> None:
    assert figure(value, decimals) == shown


def test_the_year_is_left_out_where_it_is_the_present_one() -> None:
    assert day(date(2027, 3, 2), date(2027, 12, 1)) == "2 Mar"
    assert day(date(2026, 3, 2), date(2027, 12, 1)) == "2 Mar 2026"
    assert day(date(2026, 3, 2)) == "2 Mar 2026"
    assert long_day(date(2026, 3, 2)) == "2 March 2026"


def test_a_range_may_be_open_at_either_end() -> None:
    assert from_to("8.7", "9.3") == "8.7 to 9.3"
    assert from_to("8.7", None) == "from 8.7"
    assert from_to(None, "9.3") == "up to 9.3"
