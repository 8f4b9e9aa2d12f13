from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from fleet.drift import Hyper, Limits, Panel, Prior, filter, innovations, reading_distribution, reliability
from fleet.drift.calibration import DOUBTFUL, Calibration, Surprises, chances
from tests.drift.simulate import FleetLaw, simulate
from tests.drift.states import make_full_hyper


def test_intervals_are_the_exact_binomial_ones():
    """scipy.stats.binomtest, method "exact"."""
    chance = np.repeat([0.05, 0.3, 0.7], [40, 25, 10])
    outside = np.concatenate([np.arange(40) < 3, np.arange(25) < 0, np.arange(10) < 10])
    table = reliability(chance, outside, edges=[0, 0.1, 0.5, 1.0])
    for hits, count, low, high in zip((3, 0, 10), (40, 25, 10), table.share_low, table.share_high, strict=True):
        expected = binomtest(hits, count).proportion_ci(0.95, "exact")
        assert (low, high) == pytest.approx((expected.low, expected.high))
    np.testing.assert_array_equal(table.count, [40, 25, 10])
    np.testing.assert_allclose(table.share, [0.075, 0.0, 1.0])
    np.testing.assert_allclose(table.forecast, [0.05, 0.3, 0.7])


def test_an_empty_bin_says_nothing():
    table = reliability([0.05], [True], edges=[0, 0.1, 1.0])
    assert table.count[1] == 0
    assert np.isnan(table.share[1]) and np.isnan(table.forecast[1])
    assert (table.share_low[1], table.share_high[1]) == (0.0, 1.0)


def test_chances_outside_the_edges_are_refused():
    with pytest.raises(ValueError, match="forecast"):
        reliability([1.2], [True])
    with pytest.raises(ValueError, match="forecast"):
        reliability([np.nan], [True])


LAW = FleetLaw(n_units=1500, group_drift_sd=0.0)
TRUE = Hyper(
    LAW.drift_mean, LAW.drift_sd**2, LAW.diffusion_sd**2, LAW.reading_sd**2, LAW.rho, LAW.w2, 1500, Prior.of("co2")
)


def calibrate(panel, hyper, limits, *, labels=()):
    """Each reading as forecast from the visits before it, against what was found; surprises by a record's label too."""
    chance, told = chances(panel, hyper, limits), innovations(panel, hyper)
    z = np.where(told.w_out + told.w_step > DOUBTFUL, np.nan, told.z)
    outside, scored = (panel.as_found < limits.floor) | (panel.as_found > limits.ceiling), np.isfinite(chance)
    by_label = {}
    if labels:
        place = panel.places(len(labels))
        at_record = np.where(place >= 0, z.ravel()[place], np.nan)
        by_label = {each: Surprises.of(at_record[np.array(labels) == each]) for each in set(labels)}
    return Calibration(reliability(chance[scored], outside[scored]), Surprises.of(z), by_label)


def test_the_true_law_is_found_calibrated():
    """Surprises are then standard normal: mean within 4 / sqrt(n), sd within 4 / sqrt(2 n)."""
    found = calibrate(simulate(LAW, 21).panel(), TRUE, Limits(8.5, 9.5))
    assert found.n > 4000
    assert abs(found.z_mean) < 4 / np.sqrt(found.n)
    assert found.z_sd == pytest.approx(1.0, abs=4 / np.sqrt(2 * found.n))
    table = found.reliability
    filled = table.count > 50
    error = np.sqrt(table.forecast * (1 - table.forecast) / table.count)[filled]
    assert filled.sum() >= 4
    assert (np.abs(table.share - table.forecast)[filled] < 4 * error).all()


def test_a_law_that_is_too_sure_is_found_out():
    sure = Hyper(TRUE.m, TRUE.s2 / 9, TRUE.q / 9, TRUE.r / 9, TRUE.rho, TRUE.w2 / 9, 1500, TRUE.prior)
    found = calibrate(simulate(LAW, 21).panel(), sure, Limits(8.5, 9.5))
    assert found.z_sd > 1.5
    table = found.reliability
    assert table.share_high[0] > table.share[0] > table.forecast[0]
    assert table.share_low[0] > table.forecast[0]


def test_the_alarm_is_silent_on_the_true_law_and_rings_when_it_is_too_sure():
    panel, limits = simulate(LAW, 21).panel(), Limits(8.5, 9.5)
    honest, sure = calibrate(panel, TRUE, limits), calibrate(panel, replace(TRUE, r=TRUE.r / 4, q=TRUE.q / 4), limits)
    assert not honest.lost
    assert sure.lost and sure.surprises.spread_off and sure.reliability.off.any()


def test_a_bin_is_off_only_beyond_its_share_of_the_false_alarms():
    """Three filled bins at 5 % together: exact binomial tails of 1/60 a bin on both sides together (scipy.stats)."""
    for hits in range(31):
        outside = np.concatenate([np.arange(100) < hits, np.arange(30) < 9, np.arange(30) < 18])
        table = reliability(np.repeat([0.15, 0.3, 0.6], [100, 30, 30]), outside, edges=[0, 0.2, 0.4, 0.8, 1.0])
        interval = binomtest(hits, 100).proportion_ci(1 - 0.05 / 3, "exact")
        assert table.off[0] == (not interval.low <= 0.15 <= interval.high)
    assert not table.off[1:].any()


def test_surprises_are_told_apart_by_label():
    law = FleetLaw(n_units=400, group_drift_sd=0.0, analyser_biases=(0.25, 0.0, 0.0, 0.0))
    fleet = simulate(law, 9)
    found = calibrate(fleet.panel(), TRUE, Limits(8.5, 9.5), labels=fleet.analyser_of)
    assert sum(each.n for each in found.by_label.values()) == found.n
    off = {label for label, each in found.by_label.items() if each.mean_off}
    assert "analyser-000" in off
    assert found.by_label["analyser-000"].mean > 0.7


def test_doubtful_readings_stay_out_of_the_surprises_but_in_the_table():
    panel = Panel.from_records("aaa", "ggg", [0, 1, 2], [9.0, 9.0, 12.0], [np.nan] * 3, [0] * 3, target=9.0)
    found = calibrate(panel, replace(TRUE, e_o=0.02), Limits(8.5, 9.5))
    assert (found.n, found.reliability.count.sum()) == (1, 2)


def test_chances_are_those_of_the_forecast_made_before_the_visit():
    hyper = make_full_hyper()
    before = Panel.from_records("aa", "gg", [0.0, 1.0], [9.1, 8.9], [np.nan] * 2, [False] * 2, target=9.0)
    after = Panel.from_records("aaa", "ggg", [0.0, 1.0, 2.3], [9.1, 8.9, 8.6], [np.nan] * 3, [False] * 3, target=9.0)
    ahead = reading_distribution(filter(before, hyper), hyper, 1.3)
    np.testing.assert_allclose(chances(after, hyper, Limits(8.5, 9.5))[2], ahead.prob_outside(Limits(8.5, 9.5)))


def test_each_unit_may_have_limits_of_its_own():
    panel = simulate(FleetLaw(n_units=5000, min_visits=2, max_visits=2), 2).panel()
    lower = np.linspace(8.0, 8.9, 5000)
    told = chances(panel, TRUE, Limits(lower, None))
    alone = chances(panel.take([4500]), TRUE, Limits(lower[4500], None))
    np.testing.assert_allclose(told[1, 4500], alone[1, 0])


def test_no_reading_to_compare_says_nothing():
    panel = Panel.from_records("a", "g", [0.0], [9.0], [np.nan], [False], target=9.0)
    found = calibrate(panel, TRUE, Limits(8.5, 9.5))
    assert (found.n, found.lost) == (0, False)
    assert np.isnan(found.z_mean)
