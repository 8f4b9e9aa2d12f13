import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits import band
from fleet.limits.tolerance import Band, exact

bounded = settings(max_examples=60, deadline=None, derandomize=True)
figures = st.decimals(min_value=1, max_value=20, places=2)


def test_one_percent_written_gives_three_different_bands():
    points = band("9.2", "1", basis="points")
    share = band("9.2", "1", basis="percent of target")
    width = band("9.2", "1", basis="range")
    assert (points.lower, points.upper) == (8.2, 10.2)
    assert (share.lower, share.upper) == (9.108, 9.292)
    assert (width.lower, width.upper) == (8.7, 9.7)


def test_the_check_readings_fall_differently_into_the_three_bands():
    found, left = 9.02, 9.19
    bases = ("points", "percent of target", "range")
    assert [band("9.2", "1", basis=basis).contains(found) for basis in bases] == [True, False, True]
    assert all(band("9.2", "1", basis=basis).contains(left) for basis in bases)
    assert all(band("9.0", "1", basis=basis).contains(9.0) for basis in bases)


def test_a_range_may_be_given_by_its_ends():
    assert band(basis="range", lower="8.5", upper="9.5") == Band(None, 8.5, 9.5, "range")
    assert band("9.2", basis="range", lower="9.0") == Band(9.2, 9.0, None, "range")


@pytest.mark.parametrize("basis", ["", "percent", "%", "Points", None])
def test_the_basis_is_never_guessed(basis):
    with pytest.raises(ValueError, match="basis"):
        band("9.2", "1", basis=basis)


@pytest.mark.parametrize(
    ("target", "tolerance", "more"),
    [
        ("9.2", None, {"basis": "points"}),
        (None, "0.2", {"basis": "percent of target"}),
        ("9.2", "-0.2", {"basis": "points"}),
        ("9,2", "0.2", {"basis": "points"}),
        ("nan", "0.2", {"basis": "points"}),
        (True, "0.2", {"basis": "points"}),
        (None, None, {"basis": "range"}),
        (None, None, {"basis": "range", "lower": "9.5", "upper": "9.0"}),
        ("8.0", None, {"basis": "range", "lower": "9.0", "upper": "9.5"}),
    ],
)
def test_a_band_that_makes_no_sense_is_refused(target, tolerance, more):
    with pytest.raises(ValueError, match=r"."):
        band(target, tolerance, **more)


@bounded
@given(figures, st.decimals(min_value=0, max_value=3, places=2))
def test_the_ends_are_the_decimal_sums_and_belong_to_the_band(target, tolerance):
    made = band(target, tolerance, basis="points")
    assert made.lower == float(exact(target) - exact(tolerance))
    assert made.contains(made.lower)
    assert made.contains(made.upper)


@bounded
@given(figures, st.decimals(min_value="0.01", max_value=3, places=2))
def test_a_range_is_half_as_wide_on_each_side_as_points(target, tolerance):
    narrow, wide = band(target, tolerance, basis="range"), band(target, tolerance, basis="points")
    assert wide.upper - wide.lower == pytest.approx(2 * (narrow.upper - narrow.lower))
