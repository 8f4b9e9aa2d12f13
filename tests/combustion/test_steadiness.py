"""When a series counts as steady, why not, and how uncertain its mean is."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from fleet.combustion.steadiness import Criterion, Steadiness, co_rise, mean_uncertainty, overall, steadiness
from fleet.presentation.questions import unsteady_words
from tests.combustion.cases import property_settings

# Three minutes, a sample every five seconds: the window holds the last 13.
TIMES_S = np.arange(0.0, 181.0, 5.0)
FLAT = np.zeros(TIMES_S.size)
IN_WINDOW = TIMES_S >= 120


def judged(name: str, values: object, times_s: object = TIMES_S, **how: object) -> Steadiness:
    return steadiness(times_s, {name: values}, **how)[name]  # type: ignore[arg-type, dict-item]  # columns and figures of the cases


def words(found: Steadiness) -> str:
    return unsteady_words(found.reason)


def with_range(level: float, spread: float) -> NDArray[np.float64]:
    """A series that stays at a level but for one sample in the window."""
    values = FLAT + level
    values[-4] += spread
    return values


def autoregressive(correlation: float, count: int, length: int) -> NDArray[np.float64]:
    """Series of unit variance in which each sample remembers the one before."""
    rng = np.random.default_rng(1_954)
    series = rng.standard_normal((count, length))
    for n in range(1, length):
        series[:, n] = correlation * series[:, n - 1] + np.sqrt(1 - correlation**2) * series[:, n]
    return series


# ---- the verdict ----


@pytest.mark.parametrize(
    ("name", "level", "allowed"), [("o2", 5.0, 0.2), ("co2", 9.0, 0.1), ("co", 20.0, 5.0), ("co", 0.0, 5.0)]
)
def test_exactly_what_is_allowed_is_steady_and_a_hair_more_is_not(name: str, level: float, allowed: float) -> None:
    on, over, under = (judged(name, with_range(level, spread)) for spread in (allowed, allowed + 1e-6, allowed / 2))
    assert (on.steady, over.steady, under.steady) == (True, False, True)
    assert (on.reason, under.reason) == (None, None)
    assert over.range == pytest.approx(allowed + 1e-6)


def test_much_co_may_move_by_a_share_of_its_mean() -> None:
    """The one sample also lifts the mean: 13 of 100, one of 100 + x, and x a tenth of their mean."""
    allowed = 10 / (1 - 0.1 / 13)
    assert judged("co", with_range(100.0, allowed)).steady is True
    assert judged("co", with_range(100.0, allowed + 1e-5)).steady is False


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_the_flue_may_warm_or_cool_by_two_kelvin_a_minute(way: float) -> None:
    on, over = (judged("flue_temp", 150 + way * k_min * TIMES_S / 60) for k_min in (2.0, 2.0001))
    assert on.steady is True
    assert over.steady is False
    assert on.slope_per_min == pytest.approx(way * 2.0)
    assert words(over) == f"flue temperature {'rises' if way > 0 else 'falls'} 2.0001 K/min; 2 is allowed"


def test_what_happened_before_the_window_is_forgiven() -> None:
    values = np.where(TIMES_S < 120, 9.0, 5.0)
    assert judged("o2", values).steady is True
    assert judged("o2", np.where(TIMES_S <= 120, 9.0, 5.0)).steady is False


def test_a_minute_is_counted_to_the_second_and_start_from_cold_needs_longer() -> None:
    times_s = np.arange(0.0, 121.0, 1.0)
    assert judged("o2", np.full(121, 5.0), times_s).steady is True
    assert judged("o2", np.full(120, 5.0), times_s[:-1]).steady is False
    assert words(judged("o2", np.full(121, 5.0), times_s, from_cold=True)) == (
        "only 120 s at this rate; 300 s are needed"
    )
    assert judged("o2", np.full(61, 5.0), np.arange(0.0, 305.0, 5.0), from_cold=True).steady is True


def test_reasons_are_words_for_a_technician_with_the_figures() -> None:
    short_s = TIMES_S[TIMES_S <= 70]
    sparse = np.where(np.isin(TIMES_S, [130.0, 150.0, 170.0]), 5.0, np.nan)
    gap = np.where((TIMES_S > 130) & (TIMES_S < 170), np.nan, 5.0)
    found = [
        judged("o2", with_range(5.0, 0.4)),
        judged("co", with_range(50.0, 12.0)),
        judged("co2", with_range(9.0, 0.15)),
        judged("o2", short_s * 0 + 5.0, short_s),
        judged("o2", sparse),
        judged("co", gap),
        judged("co2", FLAT * np.nan),
        judged("co", FLAT + 2000, over_range={"co": TIMES_S > 150}),
    ]
    assert [(each.steady, words(each)) for each in found] == [
        (False, "O₂ moved 0.4 points in the last 60 s; 0.2 is allowed"),
        (False, "CO moved 12 ppm in the last 60 s; 5.09 is allowed"),
        (False, "CO₂ moved 0.15 points in the last 60 s; 0.1 is allowed"),
        (False, "only 70 s at this rate; 120 s are needed"),
        (None, "too few samples: 3 in the last 60 s"),
        (None, "gap of 40 s in the series"),
        (None, "no CO₂ in the last 60 s"),
        (None, "CO was over range in the last 60 s"),
    ]


def test_what_is_shown_never_contradicts_the_verdict() -> None:
    assert words(judged("o2", with_range(5.0, 0.2004))) == "O₂ moved 0.2004 points in the last 60 s; 0.2 is allowed"


def test_a_series_that_ends_early_for_one_quantity_has_a_gap() -> None:
    assert words(judged("o2", np.where(TIMES_S > 155, np.nan, 5.0))) == "gap of 25 s in the series"
    assert judged("o2", np.where(TIMES_S > 160, np.nan, 5.0)).steady is True


def test_over_range_before_the_window_is_forgiven() -> None:
    found = judged("co", FLAT + 20, over_range={"co": TIMES_S < 60})
    assert found.steady is True
    hidden = judged("co", FLAT + 2000, over_range={"co": TIMES_S > 150})
    assert np.isnan([hidden.mean, hidden.u, hidden.range, hidden.slope_per_min]).all()


def test_each_quantity_is_judged_by_itself() -> None:
    found = steadiness(TIMES_S, {"o2": FLAT + 5, "co": with_range(20.0, 30.0), "flue_temp": 60 + TIMES_S})
    assert {name: each.steady for name, each in found.items()} == {"o2": True, "co": False, "flue_temp": False}


def test_an_empty_series_tells_nothing() -> None:
    found = judged("o2", [], [])
    assert (found.steady, found.n, words(found)) == (None, 0, "no O₂ in the last 60 s")


def test_the_criterion_is_the_contractors() -> None:
    values = with_range(5.0, 0.4)
    assert judged("o2", values, criterion=Criterion(o2_range_pct=0.5)).steady is True
    assert judged("o2", values, criterion=Criterion(window_s=10.0, min_samples=3)).steady is True
    assert judged("o2", FLAT + 5, criterion=Criterion(min_time_s=181.0)).steady is False


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(Criterion)])
@pytest.mark.parametrize("figure", [0.0, -1.0, np.nan])
def test_a_criterion_of_nothing_is_refused(field: str, figure: float) -> None:
    with pytest.raises(ValueError, match=f"{field}: is .* but must be above 0"):
        Criterion(**{field: figure})  # type: ignore[arg-type]  # columns and figures of the cases


@pytest.mark.parametrize(
    ("times_s", "values", "words"),
    [
        ([0.0, 2.0, 1.0], {"o2": [5.0] * 3}, "time_s: 1 s follows 2 s"),
        ([0.0, 1.0, 1.0], {"o2": [5.0] * 3}, "time_s: 1 s follows 1 s"),
        ([0.0, np.nan], {"o2": [5.0] * 2}, "time_s: must be"),
        ([[0.0, 1.0]], {"o2": [[5.0, 5.0]]}, "time_s: must be"),
        ([0.0, 1.0], {"o2": [5.0]}, "values: o2 has shape"),
        ([0.0, 1.0], {"draught": [5.0] * 2}, "values: 'draught' is not one of o2, co2, co, flue_temp"),
    ],
)
def test_misuse_is_told_by_name(times_s: object, values: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=f"^{words}"):
        steadiness(times_s, values)  # type: ignore[arg-type]  # columns and figures of the cases
    with pytest.raises(ValueError, match=r"^over_range: 'draught'"):
        steadiness([0.0], {"o2": [5.0]}, over_range={"draught": [True]})


# ---- to the last sample and the last digit ----


def test_the_criterion_that_nobody_chose() -> None:
    assert dataclasses.asdict(Criterion()) == {
        "min_time_s": 120.0,
        "min_time_cold_s": 300.0,
        "window_s": 60.0,
        "o2_range_pct": 0.2,
        "co2_range_pct": 0.1,
        "co_range_ppm": 5.0,
        "co_range_pct": 10.0,
        "flue_temp_slope_k_min": 2.0,
        "min_samples": 5,
        "max_gap_s": 20.0,
    }


@pytest.mark.parametrize(("short_s", "steady"), [(0.0, True), (5e-7, True), (2e-6, False)])
def test_time_is_told_to_a_microsecond(short_s: float, steady: bool) -> None:
    """A clock in binary fractions may lack a hair of the minute, of the window and of the gap."""
    at_s = np.array([0.0, 30.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 120.0 - short_s])
    assert judged("o2", at_s * 0 + 5.0, at_s).steady is steady
    window = judged("o2", TIMES_S * 0 + 5.0, np.where(TIMES_S == 120, 120.0 - short_s, TIMES_S))
    assert window.n == (13 if steady else 12)
    gap_s = np.array([0.0, 60.0, 80.0, 100.0, 110.0, 130.0 + short_s, 140.0])
    assert words(judged("o2", gap_s * 0 + 5.0, gap_s)) == ("" if steady else "gap of 20 s in the series")


def test_five_samples_are_enough_and_the_gap_reaches_to_both_ends() -> None:
    at_s = np.array([0.0, 60.0, 70.0, 80.0, 100.0, 120.0])
    assert judged("o2", at_s * 0 + 5.0, at_s).steady is True
    assert words(judged("o2", at_s[1:] * 0 + 5.0, at_s[1:])) == "only 60 s at this rate; 120 s are needed"
    late = np.array([0.0, 90.0, 100.0, 105.0, 110.0, 120.0])
    assert words(judged("o2", late * 0 + 5.0, late)) == "gap of 30 s in the series"
    odd = np.array([0.0, 60.0, 80.126, 101.0, 110.0, 120.0])
    assert words(judged("o2", odd * 0 + 5.0, odd)) == "gap of 20.87 s in the series"


def test_a_series_shorter_than_its_window_is_looked_at_from_its_start() -> None:
    at_s = np.array([100.0, 110.0, 120.0, 130.0, 140.0])
    found = judged("o2", at_s * 0 + 5.0, at_s, criterion=Criterion(min_time_s=40.0))
    assert (found.steady, found.window_s, found.n) == (True, 40.0, 5)


def test_as_many_decimals_are_shown_as_tell_the_two_apart() -> None:
    for over, shown in ((0.004, "0.204"), (2e-8, "0.20000002"), (3e-9, "0.200000003")):
        assert words(judged("o2", with_range(5.0, 0.2 + over))).startswith(f"O₂ moved {shown} points")
    assert judged("o2", with_range(5.0, 0.2 + 5e-10)).steady is True
    uneven = Criterion(o2_range_pct=0.29)
    assert words(judged("o2", with_range(5.0, 0.4), criterion=uneven)).endswith("; 0.29 is allowed")
    assert words(judged("co", with_range(0.0, 7.127))) == "CO moved 7.13 ppm in the last 60 s; 5 is allowed"


def test_a_window_without_samples_has_no_figures() -> None:
    found = judged("o2", np.where(TIMES_S < 100, 5.0, np.nan))
    assert (found.steady, found.n, found.window_s) == (None, 0, 0.0)
    assert np.isnan([found.mean, found.u, found.range, found.slope_per_min]).all()
    endless = judged("o2", np.where(TIMES_S == 150, np.inf, 5.0))
    assert (endless.steady, endless.n) == (True, 12)


def test_every_quantity_is_called_by_its_name() -> None:
    nothing = steadiness(TIMES_S, dict.fromkeys(("o2", "co2", "co", "flue_temp"), FLAT * np.nan))
    assert {name: words(each) for name, each in nothing.items()} == {
        "o2": "no O₂ in the last 60 s",
        "co2": "no CO₂ in the last 60 s",
        "co": "no CO in the last 60 s",
        "flue_temp": "no flue temperature in the last 60 s",
    }


def by_the_equation(samples: list[float]) -> float:
    """s sqrt((1 + r) / (1 - r) / n) with r = (n r' + 1) / (n - 4), no less than 0."""
    x, n = np.array(samples) - np.mean(samples), len(samples)
    r = max(0.0, (n * float(x[1:] @ x[:-1]) / float(x @ x) + 1) / (n - 4))
    return float(np.std(samples, ddof=1) * np.sqrt((1 + r) / (1 - r) / n))


def test_the_uncertainty_of_a_mean_by_its_equation() -> None:
    some = [5.0, 5.3, 5.1, 5.2, 5.2, 5.0, 4.9, 5.1, 4.9, 5.2, 5.0, 5.1]
    assert mean_uncertainty(some) == pytest.approx(by_the_equation(some), rel=1e-12)
    longer = [*some, *(each + 0.15 for each in some)]
    assert mean_uncertainty(longer) == pytest.approx(by_the_equation(longer), rel=1e-12)
    assert mean_uncertainty([1.0, 2.0, 1.0, 2.0, 1.0]) == pytest.approx(np.std([1, 2, 1, 2, 1], ddof=1) / 5**0.5)


def test_a_series_that_only_rises_counts_for_two() -> None:
    rising = np.linspace(5.0, 5.2, 60)
    assert mean_uncertainty(rising) == pytest.approx(np.std(rising, ddof=1) / np.sqrt(2), rel=1e-12)


def test_scatter_that_is_only_rounding_is_none() -> None:
    wave = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    assert mean_uncertainty(1000 + 1e-7 * wave) == 0.0
    assert mean_uncertainty(0.1 + 1e-10 * wave) == 0.0
    assert mean_uncertainty(1000 + 1e-6 * wave) > 0
    assert mean_uncertainty(0.1 + 1e-9 * wave) > 0


# ---- properties ----

wandering = st.lists(st.floats(-3.0, 3.0), min_size=TIMES_S.size, max_size=TIMES_S.size).map(np.array)
levels = st.integers(1, 400).map(float)
names = st.sampled_from(["o2", "co2", "co", "flue_temp"])


@property_settings
@given(names, levels)
def test_a_series_that_stands_still_is_steady_and_certain(name: str, level: float) -> None:
    found = judged(name, FLAT + level)
    assert (found.steady, found.reason, found.n, found.window_s) == (True, None, 13, 60.0)
    assert (found.mean, found.range) == (level, 0.0)
    assert found.u == pytest.approx(0.0, abs=1e-9)
    assert found.slope_per_min == pytest.approx(0.0, abs=1e-9)


@property_settings
@given(st.sampled_from(["o2", "co2", "flue_temp"]), wandering, levels)
def test_more_of_everything_changes_the_mean_alone(name: str, values: NDArray[np.float64], more: float) -> None:
    one, other = judged(name, values), judged(name, values + more)
    assert other.mean == pytest.approx(one.mean + more)
    assert (other.u, other.range, other.slope_per_min) == pytest.approx(
        (one.u, one.range, one.slope_per_min), rel=1e-6, abs=1e-6
    )


@property_settings
@given(names, wandering, st.floats(0.0, 1e6))
def test_the_clock_may_start_anywhere(name: str, values: NDArray[np.float64], later_s: float) -> None:
    one, other = judged(name, values), judged(name, values, TIMES_S + later_s)
    assert (other.mean, other.u, other.n) == pytest.approx((one.mean, one.u, one.n))


@property_settings
@given(wandering, st.floats(1.0, 10.0))
def test_a_slower_clock_with_a_slower_criterion_says_the_same(values: NDArray[np.float64], factor: float) -> None:
    plain = Criterion()
    slower = Criterion(
        min_time_s=plain.min_time_s * factor,
        window_s=plain.window_s * factor,
        flue_temp_slope_k_min=plain.flue_temp_slope_k_min / factor,
        max_gap_s=plain.max_gap_s * factor,
    )
    one, other = judged("flue_temp", values), judged("flue_temp", values, TIMES_S * factor, criterion=slower)
    assert other.slope_per_min == pytest.approx(one.slope_per_min / factor, rel=1e-6, abs=1e-9)
    assert (other.mean, other.u, other.n) == pytest.approx((one.mean, one.u, one.n))
    if abs(abs(one.slope_per_min) - 2.0) > 1e-6:
        assert other.steady == one.steady


@property_settings
@given(wandering, st.sets(st.integers(1, TIMES_S.size - 2), max_size=30))
def test_samples_that_are_missing_might_as_well_not_be_there(values: NDArray[np.float64], lost: set[int]) -> None:
    kept = np.array([n for n in range(TIMES_S.size) if n not in lost])
    holed = np.full(TIMES_S.size, np.nan)
    holed[kept] = values[kept]
    one, other = judged("o2", holed), judged("o2", values[kept], TIMES_S[kept])
    assert (one.steady, one.reason, one.n) == (other.steady, other.reason, other.n)
    assert (one.mean, one.u) == pytest.approx((other.mean, other.u), nan_ok=True)


@property_settings
@given(names, wandering, st.floats(0.1, 5.0))
def test_a_stricter_criterion_never_finds_more_steady(name: str, values: NDArray[np.float64], share: float) -> None:
    def allowing(factor: float) -> bool | None:
        ranges = {"o2_range_pct": 2.0, "co2_range_pct": 2.0, "co_range_ppm": 2.0, "flue_temp_slope_k_min": 2.0}
        return judged(name, values, criterion=Criterion(**{key: f * factor for key, f in ranges.items()})).steady  # type: ignore[arg-type]  # columns and figures of the cases

    assert allowing(share * 1.5) or not allowing(share)


# ---- how uncertain the mean is ----


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.8, 0.9])
def test_the_mean_scatters_as_its_uncertainty_says(correlation: float) -> None:
    """Over 2000 series of 60 samples, the mean uncertainty against the scatter of the means."""
    series = autoregressive(correlation, 2000, 60)
    u = np.mean([mean_uncertainty(each) for each in series])
    assert np.std(series.mean(axis=1)) / u == pytest.approx(1.0, abs=0.10)


@pytest.mark.parametrize(("correlation", "length", "short"), [(0.95, 60, 0.30), (0.8, 12, 0.36)])
def test_strong_correlation_in_a_short_series_is_underrated_as_stated(
    correlation: float, length: int, short: float
) -> None:
    series = autoregressive(correlation, 2000, length)
    u = np.mean([mean_uncertainty(each) for each in series])
    assert 1 - u / np.std(series.mean(axis=1)) == pytest.approx(short, abs=0.05)


def test_independent_samples_give_the_usual_figure() -> None:
    """s over the root of n (JCGM 100:2008, 4.2.3): alternating samples show no positive correlation."""
    samples = np.array([5.0, 5.2] * 8)
    assert mean_uncertainty(samples) == pytest.approx(np.std(samples, ddof=1) / 4)


def test_a_drifting_series_counts_as_few_samples() -> None:
    rising = np.linspace(5.0, 5.2, 60)
    assert mean_uncertainty(rising) > 4 * np.std(rising, ddof=1) / np.sqrt(60)
    assert mean_uncertainty(rising) <= np.std(rising, ddof=1) / np.sqrt(2)


def test_four_samples_say_nothing_of_their_scatter() -> None:
    assert np.isnan(mean_uncertainty([5.0, 5.1, 5.0, 5.1]))


def test_the_window_is_what_the_mean_is_of() -> None:
    values = 5 + 0.1 * np.sin(TIMES_S)
    found = judged("o2", values)
    assert found.mean == pytest.approx(values[IN_WINDOW].mean())
    assert found.u == mean_uncertainty(values[IN_WINDOW])


# ---- several quantities ----


def said(**steady: bool | None) -> dict[str, Steadiness]:
    plain = judged("o2", FLAT)
    return {name: dataclasses.replace(plain, steady=each) for name, each in steady.items()}


@pytest.mark.parametrize(
    ("steady", "expected"),
    [
        ({"o2": True, "co": True}, True),
        ({"o2": True, "co": True, "flue_temp": False}, True),
        ({"co2": True, "co": True}, True),
        ({"o2": None, "co2": True, "co": True}, True),
        ({"o2": False, "co2": True, "co": True}, False),
        ({"o2": True, "co": False}, False),
        ({"o2": False, "co": None}, False),
        ({"o2": None, "co": False}, False),
        ({"o2": True}, None),
        ({"co": True}, None),
        ({"o2": True, "co": None}, None),
        ({}, None),
    ],
)
def test_oxygen_and_co_decide(steady: dict[str, bool | None], expected: bool | None) -> None:
    assert overall(said(**steady)) is expected


# ---- how CO moved ----


def test_co_that_climbs_is_seen_by_its_slope() -> None:
    co = np.where(TIMES_S < 60, 20.0, 20 + 12 * (TIMES_S - 60) / 60)
    found = co_rise(TIMES_S, co)
    assert found.slope_ppm_min == pytest.approx(12.0)
    assert found.first_minute_max_ppm == pytest.approx(20.0)
    assert found.last_mean_ppm == pytest.approx(38.0)


def test_co_of_ignition_is_high_at_first_and_low_at_last() -> None:
    found = co_rise(TIMES_S, 30 + 600 * np.exp(-TIMES_S / 10))
    assert found.first_minute_max_ppm == pytest.approx(630.0)
    assert found.last_mean_ppm == pytest.approx(30.0, abs=0.1)
    assert abs(found.slope_ppm_min) < 1


@property_settings
@given(st.floats(-50.0, 50.0), st.floats(0.0, 500.0), st.floats(30.0, 180.0))
def test_a_straight_line_has_its_slope_over_any_stretch(slope: float, start: float, last_s: float) -> None:
    found = co_rise(TIMES_S, start + slope * TIMES_S / 60, last_s=last_s)
    assert found.slope_ppm_min == pytest.approx(slope, abs=1e-6)


def test_the_first_minute_is_not_the_last() -> None:
    short_s = TIMES_S[TIMES_S <= 60]
    found = co_rise(short_s, short_s * 0 + 40)
    assert found.first_minute_max_ppm == 40.0
    assert np.isnan(found.last_mean_ppm)


def test_the_first_minute_ends_with_its_sixtieth_second_and_the_last_begins_with_it() -> None:
    at_s = np.array([0.0, 30.0, 60.0, 61.0, 120.0, 150.0, 180.0])
    found = co_rise(at_s, [1.0, 2.0, 9.0, 20.0, 40.0, 60.0, 80.0])
    assert (found.first_minute_max_ppm, found.last_mean_ppm) == (9.0, 60.0)
    soon = co_rise(at_s[:4], [1.0, 2.0, 9.0, 20.0])
    assert (soon.first_minute_max_ppm, soon.last_mean_ppm) == (9.0, 20.0)
    assert np.isnan(co_rise(at_s, [np.nan] * 3 + [1.0] * 4).first_minute_max_ppm)


def test_a_slope_of_co_needs_five_samples_of_the_last_two_minutes() -> None:
    at_s = np.array([0.0, 60.0, 90.0, 120.0, 150.0, 180.0])
    co = np.array([500.0, 10.0, 15.0, 20.0, 25.0, 30.0])
    assert co_rise(at_s, co).slope_ppm_min == pytest.approx(10.0)
    assert np.isnan(co_rise(at_s, co, last_s=119.9).slope_ppm_min)
    assert np.isnan(co_rise(at_s[2:], co[2:]).slope_ppm_min)


def test_too_little_co_shows_nothing() -> None:
    assert np.isnan(dataclasses.astuple(co_rise([], []))).all()
    few = co_rise([0.0, 5.0, 10.0, 15.0], [10.0, np.nan, 30.0, 40.0])
    assert np.isnan(few.slope_ppm_min)
    assert few.first_minute_max_ppm == 40.0
    with pytest.raises(ValueError, match=r"^co_ppm: co has shape"):
        co_rise([0.0, 5.0], [1.0])
    with pytest.raises(ValueError, match=r"^last_s: is 0"):
        co_rise([0.0], [1.0], last_s=0)
