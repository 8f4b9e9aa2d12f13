"""The pattern of a decimal's bounds takes what a comparison of numbers takes."""

import re
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fleet.intake.decimals import PLAIN, decimal_pattern, plain_decimal

ENDS = st.sampled_from(
    [None, -450, -40, -0.5, 0, 0.001, 0.0001, 0.9999, 1, 9, 10, 21, 25, 100, 1500, 50_000, 1_000_000]
)
TEXTS = st.from_regex(PLAIN, fullmatch=True) | st.sampled_from(["-0", "0", "000.000", "0021", "21.000001", "1500.0"])


@given(ENDS, ENDS, TEXTS)
@example(0.001, 50, "0.001")
@example(0.001, 50, "0.0009")
@example(0.0001, 0.9999, "0.99991")
def test_it_takes_what_lies_between_the_ends(low: float | None, high: float | None, text: str) -> None:
    value = Decimal(text)
    between = (low is None or value >= Decimal(str(low))) and (high is None or value <= Decimal(str(high)))
    assert bool(re.search(decimal_pattern(low, high), text)) == between


@pytest.mark.parametrize("text", ["", ".5", "1.", "+1", "1e3", "1234567890", "1.1234567", " 1"])
def test_what_is_no_plain_decimal_is_none_whatever_the_ends(text: str) -> None:
    assert not re.search(decimal_pattern(0, 21), text)
    assert not re.search(decimal_pattern(), text)


@given(st.decimals(-999_999, 999_999, places=9))
def test_a_record_s_decimal_is_plain(value: Decimal) -> None:
    assert re.fullmatch(PLAIN, plain_decimal(value))
    assert Decimal(plain_decimal(value)) == round(value, 6)
