"""How a number is written: held against decimal arithmetic, and read back as people read it."""

from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.numerals import MINUS, MOST_DECIMALS, NARROW_SPACE, decimals_shown, figure, figure_apart, limit_figure

FIGURES = st.floats(-1e7, 1e7, allow_nan=False)
# Limits as sets give them: at most four decimals.
LIMITS = st.integers(-50_000, 50_000).map(lambda n: n / 10_000)


def read_back(shown: str) -> Decimal:
    return Decimal(shown.replace(MINUS, "-").replace(NARROW_SPACE, ""))


@given(FIGURES, st.integers(0, 6))
def test_it_is_the_figure_rounded_by_decimal_arithmetic(value: float, decimals: int) -> None:
    """Decimal(float) is the float's exact value, so that both round the same number."""
    exact = Decimal(value).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
    shown = figure(value, decimals)
    assert read_back(shown) == exact
    assert len(shown.partition(".")[2]) == decimals


@given(FIGURES, st.integers(0, 3))
def test_a_figure_and_its_opposite_differ_by_the_sign_alone_and_nothing_rounds_to_less_than_nothing(
    value: float, decimals: int
) -> None:
    above, below = figure(abs(value), decimals), figure(-abs(value), decimals)
    assert MINUS not in above and "-" not in above + below
    assert below == (MINUS + above if read_back(above) else above)


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (0.0, 0, "0"),
        (-0.0, 2, "0.00"),
        (-0.04, 1, "0.0"),
        (-0.06, 1, "−0.1"),
        (999.0, 0, "999"),
        (1_000.0, 0, "1000"),
        (9_999.0, 0, "9999"),
        (10_000.0, 0, "10\u202f000"),
        (-1_234_567.891, 2, "−1\u202f234\u202f567.89"),
    ],
)
def test_worked_figures(value: float, decimals: int, shown: str) -> None:
    assert figure(value, decimals) == shown


def test_what_is_rounded_up_to_ten_thousand_is_written_as_ten_thousand_is() -> None:
    assert figure(9_999.6, 0) == figure(10_000.0, 0)
    assert figure(-9_999.96, 1) == figure(-10_000.0, 1)
    assert figure(9_999.4, 0) == "9999"


@given(FIGURES, st.integers(0, 3), st.lists(LIMITS, max_size=3))
def test_no_figure_looks_like_a_limit_that_it_is_not(value: float, decimals: int, limits: list[float]) -> None:
    shown = figure_apart(value, decimals, limits)
    more = len(shown.partition(".")[2])
    others = [limit for limit in limits if limit != value]
    assert shown == figure(value, more)
    assert more == MOST_DECIMALS or all(shown != figure(limit, more) for limit in others)
    # And with no more decimals than that takes.
    assert more == decimals or any(figure(value, more - 1) == figure(limit, more - 1) for limit in others)


def test_a_figure_on_its_limit_is_written_as_short_as_ever() -> None:
    assert figure_apart(250.0, 0, [250.0]) == "250"
    assert figure_apart(250.0, 0, [250.0, 249.6]) == "250.0"
    assert figure_apart(0.00401, 0, [0.004]) == "0.00401"


def test_what_differs_only_beyond_six_decimals_is_written_with_six() -> None:
    assert figure_apart(250.000_000_1, 0, [250.0]) == "250.000000"


@given(st.lists(LIMITS, min_size=1, max_size=4), st.integers(0, 3))
def test_every_limit_keeps_its_own_decimals_and_a_reading_beside_it_has_as_many(
    limits: list[float], least: int
) -> None:
    own = [max(least, -min(0, Decimal(str(each)).normalize().as_tuple().exponent)) for each in limits]
    assert [read_back(limit_figure(each, least)) for each in limits] == [Decimal(str(each)) for each in limits]
    assert [len(limit_figure(each, least).partition(".")[2]) for each in limits] == own
    assert decimals_shown(least, limits) == max(own)


def test_without_a_limit_a_reading_has_its_own_decimals() -> None:
    assert decimals_shown(2, []) == 2
