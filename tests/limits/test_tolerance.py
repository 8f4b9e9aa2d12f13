import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits import band
from fleet.limits.tolerance import Band, exact

bounded = settings(max_examples=60, deadline=None, derandomize=True)
figures = st.decimals(min_value=1, max_value=20, places=2)


def test_one_percent_written_gives_three_different_bands():
    points = band("9.2", "1", basis="points")
    share = band("9.2", "1", basis="percent_of_target")
    width = band("9.2", "1", basis="range")
    assert (points.lower, points.upper) == (8.2, 10.2)
    assert (share.lower, share.upper) == (9.108, 9.292)
    assert (width.lower, width.upper) == (8.7, 9.7)


def test_the_check_readings_fall_differently_into_the_three_bands():
    found, left = 9.02, 9.19
    bases = ("points", "percent_of_target", "range")
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
        (None, "0.2", {"basis": "percent_of_target"}),
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


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ((9.2, 9.0, 9.4, "percent"), "tolerance basis must be one of points, percent_of_target, range, not 'percent'"),
        ((9.2, None, None, "range"), "a band needs a lower or an upper figure"),
        ((None, 9.4, 9.0, "range"), "the lower figure 9.4 is above the upper figure 9.0"),
        ((8.9, 9.0, 9.4, "points"), "the target 8.9 lies outside its own band"),
        ((9.5, 9.0, 9.4, "points"), "the target 9.5 lies outside its own band"),
        ((8.9, 9.0, None, "range"), "the target 8.9 lies outside its own band"),
        ((9.5, None, 9.4, "range"), "the target 9.5 lies outside its own band"),
    ],
)
def test_a_band_is_made_only_of_figures_that_fit_together(fields, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        Band(*fields)


@pytest.mark.parametrize("target", [9.0, 9.4, None])
def test_a_target_may_lie_on_either_end_of_its_band(target):
    assert Band(target, 9.0, 9.4, "range").target == target


def test_a_band_may_have_no_width_and_may_be_open_on_a_side():
    assert Band(None, 9.0, 9.0, "range").contains(9.0)
    assert not Band(None, 9.0, 9.0, "range").contains(9.01)
    floor, ceiling = Band(None, 9.0, None, "range"), Band(None, None, 9.0, "range")
    assert [floor.contains(value) for value in (8.99, 9.0, 99.0)] == [False, True, True]
    assert [ceiling.contains(value) for value in (-99.0, 9.0, 9.01)] == [True, True, False]


def test_a_band_keeps_its_figures():
    with pytest.raises(AttributeError):
        band("9.2", "1", basis="points").lower = 0.0


@pytest.mark.parametrize("word", ["nine", "9,2", "", "nan", "inf", "-inf", None, True, False])
def test_what_is_not_a_number_is_named(word):
    with pytest.raises(ValueError, match=f"^not a number: {word!r}$"):
        exact(word)


@pytest.mark.parametrize("number", ["9.20", " 9.2 ", 9.2])
def test_numbers_and_their_strings_are_the_same_decimal(number):
    assert exact(number) == exact("9.2")


@pytest.mark.parametrize(
    ("target", "tolerance", "more", "said"),
    [
        (None, "0.2", {"basis": "points"}, "a tolerance in points needs a target and a tolerance"),
        ("9.2", None, {"basis": "percent_of_target"}, "a tolerance in percent_of_target needs a target"),
        ("9.2", None, {"basis": "range"}, "a tolerance in range needs a target and a tolerance"),
        ("9.2", "-0.1", {"basis": "range"}, "a tolerance can't be negative: -0.1"),
        ("9.2", "1", {"basis": "percent"}, "tolerance basis must be one of points, percent_of_target, range"),
        ("9.2", "1", {"basis": "of the range", "lower": "9.0"}, "tolerance basis must be one of"),
        ("much", "1", {"basis": "points"}, "not a number: 'much'"),
        (None, None, {"basis": "range", "upper": "much"}, "not a number: 'much'"),
    ],
)
def test_a_band_that_cannot_be_worked_out_says_why(target, tolerance, more, said):
    with pytest.raises(ValueError, match=f"^{said}"):
        band(target, tolerance, **more)


def test_the_ends_are_for_a_range_alone_and_go_before_its_width():
    assert band("9.2", "0.2", basis="points", lower="1", upper="2") == Band(9.2, 9.0, 9.4, "points")
    assert band("9.2", "0.2", basis="range", upper="9.5") == Band(9.2, None, 9.5, "range")
    assert band("9.2", "0.2", basis="range") == Band(9.2, 9.1, 9.3, "range")


@pytest.mark.parametrize("basis", ["points", "percent_of_target", "range"])
def test_a_tolerance_of_nothing_leaves_the_target_alone(basis):
    assert band("9.2", 0, basis=basis) == Band(9.2, 9.2, 9.2, basis)


def test_a_share_of_a_negative_target_still_has_its_lower_end_below():
    assert band("-10", "10", basis="percent_of_target") == Band(-10.0, -11.0, -9.0, "percent_of_target")


@pytest.mark.parametrize("basis", ["points", "percent_of_target", "range"])
def test_neither_a_target_nor_a_tolerance_is_taken_for_granted(basis):
    for figures_given in ({"target": "9.2"}, {"tolerance": "1"}, {}):
        with pytest.raises(ValueError, match=f"^a tolerance in {basis} needs a target and a tolerance$"):
            band(**figures_given, basis=basis)
