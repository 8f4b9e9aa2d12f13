import numpy as np
import pytest
from scipy.stats import binomtest

from fleet.drift import FleetLaw, Hyper, Limits, Prior, calibrate, reliability, simulate


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
    LAW.drift_mean,
    LAW.drift_sd**2,
    LAW.diffusion_sd**2,
    LAW.reading_sd**2,
    LAW.rho,
    LAW.w2,
    1500,
    Prior.of("co2"),
)


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
