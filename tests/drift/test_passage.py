import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import invgauss

from fleet.drift.passage import survival_below, survival_between


def test_one_limit_agrees_with_the_inverse_gaussian_law():
    """First passage of a Wiener process with fixed drift is inverse Gaussian: scipy.stats.invgauss."""
    rng = np.random.default_rng(1)
    distance, drift = rng.uniform(0.01, 3.0, 3000), rng.uniform(0.01, 3.0, 3000)
    q, years = 10 ** rng.uniform(-3, 0.5, 3000), rng.uniform(0.05, 10, 3000)
    shape = distance**2 / q
    expected = invgauss.sf(years, distance / drift / shape, scale=shape)
    got = survival_below(distance, drift, np.zeros(3000), q, years)
    np.testing.assert_allclose(got, expected, atol=1e-10, rtol=0)


def sine_series(start, width, drift, q, years, terms=400):
    """Survival between two limits as the eigenfunction series of the heat equation with drift.

    Solution by separation of variables, e.g. Cox & Miller, The Theory of Stochastic Processes (1965), section
    5.7 [section from memory]; quite unlike the images, and good where q years / width^2 is not small.
    """
    n = np.arange(1, terms + 1)[:, None]
    wave = n * np.pi / width
    decay = (0.5 * wave**2 * q + 0.5 * drift**2 / q) * years
    a = drift / q
    ends = np.exp(-a * start - decay) - (-1.0) ** n * np.exp(a * (width - start) - decay)
    return (2 / width * np.sin(wave * start) * wave / (a**2 + wave**2) * ends).sum(axis=0)


def test_two_limits_agree_with_the_sine_series():
    rng = np.random.default_rng(2)
    width = rng.uniform(0.3, 3.0, 2000)
    start, q = width * rng.uniform(0, 1, 2000), 10 ** rng.uniform(-2, 0.5, 2000)
    years = width**2 / q * 10 ** rng.uniform(-1.7, 1.0, 2000)
    drift = q / width * rng.uniform(-8, 8, 2000)
    got = survival_between(start, width, drift, np.zeros(2000), q, years)
    np.testing.assert_allclose(got, sine_series(start, width, drift, q, years), atol=1e-10, rtol=0)


def averaged_over_drift(survival, drift, drift_var, nodes=240, reach=8.5):
    """Gauss-Legendre over +-8.5 standard deviations of the drift."""
    point, weight = np.polynomial.legendre.leggauss(nodes)
    z = reach * point
    share = reach * weight * np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    return sum(s * survival(drift + np.sqrt(drift_var) * zi) for s, zi in zip(share, z, strict=True))


@pytest.mark.parametrize("seed", [3, 4])
def test_an_uncertain_drift_is_the_average_over_certain_ones(seed):
    rng = np.random.default_rng(seed)
    n = 150
    start, width, zero = rng.uniform(0.02, 0.98, n), np.ones(n), np.zeros(n)
    drift, drift_var = rng.normal(0, 0.4, n), rng.uniform(0.001, 0.1, n)
    q, years = 10 ** rng.uniform(-2.5, -0.3, n), rng.uniform(0.1, 4, n)
    between = averaged_over_drift(lambda m: survival_between(start, width, m, zero, q, years), drift, drift_var)
    below = averaged_over_drift(lambda m: survival_below(start, m, zero, q, years), drift, drift_var)
    np.testing.assert_allclose(survival_between(start, width, drift, drift_var, q, years), between, atol=1e-9)
    np.testing.assert_allclose(survival_below(start, drift, drift_var, q, years), below, atol=1e-9)


def test_one_far_limit_may_as_well_be_missing():
    start = np.linspace(0.05, 2.0, 40)
    drift, drift_var, q, years = (np.full(40, v) for v in (0.3, 0.05, 0.1, 1.5))
    far = np.full(40, 60.0)
    both = survival_between(far - start, far, drift, drift_var, q, years)
    np.testing.assert_allclose(both, survival_below(start, drift, drift_var, q, years), atol=1e-12)


def test_nearly_no_wandering_follows_the_straight_line():
    """Without wandering a path leaves (0, 1) exactly if start + drift * years does: a normal probability."""
    start, years = np.linspace(0.1, 0.9, 9), np.full(9, 2.0)
    q, drift, drift_var = np.full(9, 1e-6), np.full(9, 0.1), np.full(9, 0.04)
    straight = ndtr((1 - start - 0.2) / 0.4) - ndtr((0 - start - 0.2) / 0.4)
    got = survival_between(start, np.ones(9), drift, drift_var, q, years)
    np.testing.assert_allclose(got, straight, atol=2e-3)  # the wandering left is 1.4e-3 of the width


def test_on_a_limit_nothing_survives_and_in_no_time_all_does():
    one = np.ones(2)
    edges = survival_between(np.array([0.0, 1.0]), one, 0.3 * one, 0.1 * one, 0.05 * one, one)
    np.testing.assert_allclose(edges, 0.0, atol=1e-12)
    soon = survival_between(0.5 * one, one, 0.3 * one, 0.1 * one, 0.05 * one, 1e-9 * one)
    np.testing.assert_allclose(soon, 1.0, atol=1e-12)


def test_extreme_figures_stay_probabilities():
    rng = np.random.default_rng(6)
    start, q, years = rng.uniform(0, 1, 5000), 10 ** rng.uniform(-6, 3, 5000), 10 ** rng.uniform(-9, 4, 5000)
    drift, drift_var = rng.normal(0, 10, 5000), 10 ** rng.uniform(-8, 2, 5000)
    with np.errstate(all="raise", under="ignore"):
        got = survival_between(start, np.ones(5000), drift, drift_var, q, years)
        below = survival_below(1 - start, drift, drift_var, q, years)
    assert np.isfinite(got).all() and ((got >= 0) & (got <= 1)).all()
    assert np.isfinite(below).all() and (got <= below + 1e-9).all()
