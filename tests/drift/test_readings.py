import numpy as np
import pytest
from scipy.stats import norm

from fleet.drift import Limits, Panel, filter, innovations, reading_distribution
from tests.drift.states import make_full_hyper, make_hyper, make_state, mixed

LIMITS = Limits(8.5, 9.5, 9.0)


def test_the_reading_forecast_is_the_normal_of_level_and_noise():
    state, hyper = make_state([9.1, 8.8], [0.1, -0.2], 0.1, 0.2, 0.3), make_hyper()
    ahead = reading_distribution(state, hyper, 2.0)
    variance = 0.01 + 2 * 2 * 0.3 * 0.1 * 0.2 + 4 * 0.04 + 2 * hyper.q + hyper.r
    np.testing.assert_allclose(ahead.mean, [9.3, 8.4])
    np.testing.assert_allclose(ahead.sd, np.sqrt(variance))
    np.testing.assert_allclose(ahead.quantile(0.9), norm.ppf(0.9, ahead.mean, ahead.sd))
    outside = norm.cdf(8.5, ahead.mean, ahead.sd) + norm.sf(9.5, ahead.mean, ahead.sd)
    np.testing.assert_allclose(ahead.prob_outside(LIMITS), outside)
    np.testing.assert_allclose(ahead.prob_outside(Limits(None, 9.5)), norm.sf(9.5, ahead.mean, ahead.sd))


def test_the_reading_forecast_is_what_the_filter_then_expects():
    hyper = make_hyper()
    panel = Panel.from_records("aa", "gg", [0.0, 1.0], [9.1, 8.9], [np.nan] * 2, [False] * 2, target=9.0)
    before = filter(panel.take([0]), hyper)
    ahead = reading_distribution(before, hyper, 1.3)
    longer = Panel.from_records("aaa", "ggg", [0.0, 1.0, 2.3], [9.1, 8.9, 8.6], [np.nan] * 3, [False] * 3, target=9.0)
    np.testing.assert_allclose(filter(longer, hyper).z, (8.6 - ahead.mean) / ahead.sd)


def two_components():
    one, other = make_state([9.1, 8.8], [0.1, -0.2], 0.1, 0.2, 0.3), make_state([9.0, 8.9], [0.4, -0.6], 0.1, 0.5)
    return mixed(one, other, [0.8, 0.6])


def test_a_reading_may_be_an_outlier_or_follow_a_step():
    """Six normals written out: two drift components times regular, outlier (64 r more) and step (36 r more)."""
    hyper, state = make_full_hyper(), two_components()
    ahead = reading_distribution(state, hyper, 1.5)
    calm = np.exp(-hyper.lam * 1.5)
    kinds = [((1 - hyper.e_o) * calm, 0), (hyper.e_o, 64), ((1 - hyper.e_o) * (1 - calm), 36)]
    expected = np.zeros(2)
    for c in range(2):
        x, mu, xx, xm, mm = (part[c] for part in state.parts)
        variance = xx + 2 * 1.5 * xm + 1.5**2 * mm + hyper.q * 1.5 + hyper.r
        for chance, more in kinds:
            sd = np.sqrt(variance + more * hyper.r)
            share = state.weight[c] * chance
            expected += share * (norm.cdf(8.5, x + 1.5 * mu, sd) + norm.sf(9.5, x + 1.5 * mu, sd))
    np.testing.assert_allclose(ahead.prob_outside(LIMITS), expected, rtol=1e-12)
    np.testing.assert_allclose(ahead.part_weight.sum(axis=0), 1.0)


@pytest.mark.parametrize("p", [1e-4, 0.05, 0.5, 0.95, 0.9999])
def test_a_quantile_is_where_the_chance_below_is_reached(p):
    ahead = reading_distribution(two_components(), make_full_hyper(), np.array([[0.0], [0.5], [3.0]]))
    np.testing.assert_allclose(ahead.below(ahead.quantile(p)), p, atol=1e-9)


def test_several_quantiles_come_at_once():
    ahead = reading_distribution(two_components(), make_full_hyper(), 1.0)
    together = ahead.quantile([[0.05], [0.95]])
    assert together.shape == (2, 2)
    np.testing.assert_allclose(together, [ahead.quantile(0.05), ahead.quantile(0.95)], atol=1e-9)


def test_mean_and_spread_are_those_of_draws():
    ahead, rng = reading_distribution(two_components().take(0), make_full_hyper(), 1.0), np.random.default_rng(2)
    part = rng.choice(ahead.part_weight.shape[0], 400_000, p=ahead.part_weight[:, 0])
    drawn = rng.normal(ahead.part_mean[part, 0], ahead.part_sd[part, 0])
    assert ahead.mean[0] == pytest.approx(drawn.mean(), abs=4 * drawn.std() / np.sqrt(drawn.size))
    assert ahead.sd[0] == pytest.approx(drawn.std(), rel=0.02)


def test_the_surprise_is_measured_on_a_regular_reading():
    hyper = make_full_hyper()
    panel = Panel.from_records("aaa", "ggg", [0.0, 1.0, 2.3], [9.1, 8.9, 8.6], [np.nan] * 3, [False] * 3, target=9.0)
    before = filter(Panel.from_records("aa", "gg", [0, 1], [9.1, 8.9], [np.nan] * 2, [False] * 2, target=9.0), hyper)
    told = innovations(panel, hyper)
    variance = before.Pxx + 2 * 1.3 * before.Pxm + 1.3**2 * before.Pmm + 1.3 * hyper.q + hyper.r
    np.testing.assert_allclose(told.mean[2], before.x + 1.3 * before.mu)
    np.testing.assert_allclose(told.sd[2], np.sqrt(variance))
    np.testing.assert_allclose(told.z[2], (8.6 - told.mean[2]) / told.sd[2])


def test_a_share_outside_0_and_1_is_refused():
    with pytest.raises(ValueError, match="p must"):
        reading_distribution(make_state(9.0, 0.0, 0.1, 0.1), make_hyper(), 1.0).quantile(1.0)
