from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm

from fleet.drift import Group, Panel, State, filter, innovations
from tests.drift.simulate import FleetLaw, simulate
from tests.drift.states import loglik, make_full_hyper, make_hyper, update

NAN = np.nan
GROUPS = {"0": Group(0.1, 0.02, 0.005, 0.001), "1": Group(-0.1, 0.01, 0.02, 0.003)}
LAWS = {"plain": make_hyper(), "full": make_full_hyper(groups=GROUPS)}
both_laws = pytest.mark.parametrize("hyper", LAWS.values(), ids=LAWS.keys())


def random_panel(seed, n_units=60, n_visits=7, new_parts=0.1):
    """Irregular visits: a tenth of readings missing, four in ten adjusted, one in ten with a new part; three groups."""
    rng = np.random.default_rng(seed)
    size = n_units * n_visits
    found, left = 9.0 + 0.3 * rng.standard_normal((2, size))
    return Panel.from_records(
        np.repeat(np.arange(n_units), n_visits),
        np.repeat(np.arange(n_units) % 3, n_visits),
        rng.uniform(0.0, 8.0, size),
        np.where(rng.random(size) < 0.1, NAN, found),
        np.where(rng.random(size) < 0.2, NAN, left),
        rng.random(size) < 0.4,
        rng.uniform(0.3, 2.0, size),
        rng.random(size) < new_parts,
        target=9.0,
    )


def dense_loglik(panel, hyper, unit):
    """Log-density of a unit's readings as one multivariate normal, written from the model and not its filter.

    Each adjustment opens a segment with a level of its own, each replaced part an era with its own drift.
    A reading of some age since its segment opened holds level + drift * age + wandering + noise, so
    cov = s2 age_j age_k within an era + (var of level + q min(age_j, age_k)) within a segment + noise.
    """
    visits = np.flatnonzero(np.isfinite(panel.t_years[:, unit]))
    column = {name: getattr(panel, name)[visits, unit] for name in ("t_years", "as_found", "as_left")}
    start, level, spread = column["t_years"][0], column["as_found"][0], hyper.r * panel.noise_scale[0, unit]
    segment = era = 0
    rows = []
    for k, t in enumerate(column["t_years"]):
        if k > 0 and np.isfinite(column["as_found"][k]):
            noise = hyper.r * panel.noise_scale[k, unit]
            rows.append((column["as_found"][k], level, t - start, segment, era, spread, noise))
        if panel.reset[k, unit]:
            left = column["as_left"][k]
            missing = np.isnan(left)
            level = 9.0 if missing else 9.0 + hyper.rho * (left - 9.0)
            spread = hyper.prior.missing_left_sd**2 if missing else hyper.w2
            start, segment, era = t, segment + 1, era + panel.replaced[k, unit]
    if not rows:
        return 0.0
    reading, level, age, segment, era, spread, noise = np.array(rows).T
    same_segment, same_era = segment[:, None] == segment, era[:, None] == era
    cov = hyper.s2 * np.outer(age, age) * same_era + np.diag(noise)
    cov += (spread + hyper.q * np.minimum.outer(age, age)) * same_segment
    return multivariate_normal.logpdf(reading, level + hyper.m * age, cov)


@pytest.mark.parametrize("seed", range(3))
def test_the_filter_agrees_with_the_dense_normal_density_of_all_readings(seed):
    panel, hyper = random_panel(seed), make_hyper()
    expected = [dense_loglik(panel, hyper, unit) for unit in range(panel.n_units)]
    np.testing.assert_allclose(filter(panel, hyper).loglik, expected, atol=1e-9, rtol=0)
    assert loglik(panel, hyper) == pytest.approx(sum(expected), abs=1e-8)


def test_the_state_is_the_conditional_normal_of_level_and_drift():
    """Against the textbook formula for a normal given part of it, for one reading after an adjustment."""
    hyper = make_hyper()
    panel = Panel.from_records("aa", "gg", [0.0, 2.0], [9.4, 8.8], [9.1, NAN], [True, False], target=9.0)
    state = filter(panel, hyper)
    prior_mean = np.array([9.0 + hyper.rho * 0.1 + 2.0 * hyper.m, hyper.m])
    prior = np.array([[hyper.w2 + 4.0 * hyper.s2 + 2.0 * hyper.q, 2.0 * hyper.s2], [2.0 * hyper.s2, hyper.s2]])
    gain = prior[:, 0] / (prior[0, 0] + hyper.r)
    np.testing.assert_allclose([state.x[0], state.mu[0]], prior_mean + gain * (8.8 - prior_mean[0]))
    left = prior - np.outer(gain, prior[0])
    np.testing.assert_allclose([state.Pxx[0], state.Pxm[0], state.Pmm[0]], [left[0, 0], left[0, 1], left[1, 1]])


def assert_same(one, other):
    assert one.group_ids.tolist() == other.group_ids.tolist()
    names = [each.name for each in fields(State) if each.name not in ("parts", "group_ids")]
    pairs = [(name, getattr(one, name), getattr(other, name)) for name in names]
    for name, this, that in [*pairs, *zip(one.parts._fields, one.parts, other.parts, strict=True)]:
        np.testing.assert_allclose(this, that, rtol=1e-12, atol=1e-13, err_msg=name)


def first_visits(panel, n):
    names = ("t_years", "dt_years", "as_found", "as_left", "noise_scale", "adjusted", "replaced")
    grids = (getattr(panel, name)[:n] for name in names)
    return Panel(panel.unit_ids, panel.group_ids, panel.target, *grids)


@both_laws
@pytest.mark.parametrize("n", [1, 3, 6])
def test_updating_visit_by_visit_says_what_filtering_all_of_them_says(n, hyper):
    full = random_panel(5)
    panel = full.take(np.flatnonzero(np.isfinite(full.t_years[-1])))
    state = filter(first_visits(panel, n), hyper)
    for k in range(n, len(panel.t_years)):
        state = update(
            state,
            hyper,
            panel.dt_years[k],
            panel.as_found[k],
            panel.as_left[k],
            panel.adjusted[k],
            noise_scale=panel.noise_scale[k],
            replaced=panel.replaced[k],
        )
    assert panel.n_units > 20
    assert_same(state, filter(panel, hyper))


@both_laws
def test_a_short_series_says_the_same_beside_long_ones(hyper):
    panel = simulate(FleetLaw(n_units=40, min_visits=1, max_visits=9), 2).panel()
    together = filter(panel, hyper)
    for unit in range(panel.n_units):
        assert_same(together.take(unit), filter(panel.take(unit), hyper))


def test_the_first_reading_of_a_unit_without_a_level_begins_it():
    empty = Panel.from_records("a", "g", [0.0], [NAN], [NAN], [False], target=9.0)
    begun = Panel.from_records("aa", "gg", [0.0, 1.0], [NAN, 8.9], [NAN] * 2, [False] * 2, target=9.0)
    assert_same(update(filter(empty, make_hyper()), make_hyper(), 1.0, 8.9), filter(begun, make_hyper()))


def test_no_reading_means_no_state():
    panel = Panel.from_records("a", "g", [0.0], [NAN], [NAN], [False], target=9.0)
    state = filter(panel, make_hyper())
    assert np.isnan(state.x[0])
    assert state.n_visits[0] == 0
    assert state.loglik[0] == 0.0


def test_one_visit_leaves_the_drift_to_the_fleet():
    hyper = make_hyper()
    state = filter(Panel.from_records("a", "g", [0.0], [8.9], [NAN], [False], target=9.0), hyper)
    np.testing.assert_allclose([state.x[0], state.Pxx[0], state.mu[0], state.Pmm[0]], [8.9, hyper.r, hyper.m, hyper.s2])


def test_a_visit_without_reading_only_moves_time():
    hyper = make_hyper()
    once = filter(Panel.from_records("a", "g", [0.0], [8.9], [NAN], [False], target=9.0), hyper)
    later = update(once, hyper, 2.0, NAN)
    assert later.x[0] == pytest.approx(8.9 + 2.0 * hyper.m)
    assert later.Pxx[0] == pytest.approx(hyper.r + 4.0 * hyper.s2 + 2.0 * hyper.q)
    assert (later.loglik[0], later.n_visits[0], later.t_last[0]) == (0.0, 1, 2.0)
    assert np.isnan(later.z[0])


def test_an_adjustment_keeps_the_drift_and_a_replaced_part_forgets_it():
    hyper = make_hyper()
    state = filter(random_panel(2), hyper)
    adjusted = update(state, hyper, 1.0, NAN, 9.1, True)
    replaced = update(state, hyper, 1.0, NAN, 9.1, replaced=True)
    np.testing.assert_array_equal(adjusted.mu, state.mu)
    np.testing.assert_array_equal(adjusted.Pxm, 0.0)
    np.testing.assert_allclose(adjusted.x, 9.0 + hyper.rho * 0.1)
    np.testing.assert_allclose(replaced.mu, hyper.m)
    np.testing.assert_allclose(replaced.Pmm, hyper.s2)
    np.testing.assert_allclose(replaced.x, adjusted.x)


def test_a_missing_as_left_reading_puts_the_level_on_target_and_says_so():
    hyper = make_hyper()
    state = filter(Panel.from_records("a", "g", [0.0], [8.4], [NAN], [True], target=9.0), hyper)
    np.testing.assert_allclose([state.x[0], state.Pxx[0]], [9.0, hyper.prior.missing_left_sd**2])
    assert state.level_assumed[0]
    assert update(state, hyper, 1.0, NAN).level_assumed[0]
    assert not update(state, hyper, 1.0, 9.0).level_assumed[0]


def test_believing_as_left_readings_fully_gives_the_plain_reset():
    hyper = make_hyper(rho=1.0, w2=0.0144)
    adjusted = Panel.from_records("a", "g", [0.0], [8.4], [9.2], [True], target=9.0)
    read = Panel.from_records("a", "g", [0.0], [9.2], [NAN], [False], target=9.0)
    for name in ("x", "Pxx", "mu", "Pmm"):
        np.testing.assert_allclose(getattr(filter(adjusted, hyper), name), getattr(filter(read, hyper), name))


def test_innovations_repeat_the_likelihood():
    panel, hyper = random_panel(4), make_hyper()
    told = innovations(panel, hyper)
    density = -0.5 * (np.log(2 * np.pi * told.sd**2) + told.z**2)
    np.testing.assert_allclose(np.nansum(density), loglik(panel, hyper))
    assert np.isnan(told.z[0]).all()


@pytest.mark.parametrize("dt_years", [0.0, -1.0, NAN])
def test_an_update_must_move_forward_in_time(dt_years):
    state = filter(random_panel(1), make_hyper())
    with pytest.raises(ValueError, match="dt_years"):
        update(state, make_hyper(), dt_years, 9.0)


def test_an_infinite_reading_is_refused():
    state = filter(random_panel(1), make_hyper())
    with pytest.raises(ValueError, match="as_found"):
        update(state, make_hyper(), 1.0, np.inf)
    with pytest.raises(ValueError, match="noise_scale"):
        update(state, make_hyper(), 1.0, 9.0, noise_scale=0.0)


# ---- fast units, groups, outliers and steps ----


def test_two_drift_components_are_two_normal_densities_mixed():
    """Each component against the dense density with its own drift variance, 25 times as wide for fast units."""
    panel, hyper = random_panel(6, new_parts=0.0), make_hyper(pi=0.1)
    for unit in range(panel.n_units):
        alone = [dense_loglik(panel, make_hyper(s2=hyper.s2 * wide), unit) for wide in (1.0, 25.0)]
        state = filter(panel.take(unit), hyper)
        assert state.loglik[0] == pytest.approx(logsumexp(alone, b=[0.9, 0.1]), abs=1e-9)
        fast = 0.1 * np.exp(alone[1] - logsumexp(alone, b=[0.9, 0.1]))
        assert state.weight[1, 0] == pytest.approx(fast, abs=1e-9)


def test_a_unit_follows_its_groups_law_and_of_an_unknown_group_the_fleets():
    panel = Panel.from_records("abc", "01x", [0.0] * 3, [9.0] * 3, [NAN] * 3, [False] * 3, target=9.0)
    state = filter(panel, make_hyper(om2=0.03, groups=GROUPS))
    np.testing.assert_allclose(state.mu, [0.1, -0.1, -0.05])
    np.testing.assert_allclose(state.Pmm, [0.02 + 0.001, 0.01 + 0.003, 0.0144 + 0.03])


def test_a_replaced_part_may_be_another_kind_of_unit():
    hyper = make_full_hyper()
    state = filter(random_panel(3), hyper)
    renewed = update(state, hyper, 1.0, 9.3, 9.1, replaced=True)
    assert state.weight[1].std() > 0.01
    np.testing.assert_allclose(renewed.weight[1], hyper.pi)
    assert (renewed.loglik != state.loglik).all()


def gpb1(x, mu, cov, y, dt, hyper, noise_scale=1.0):
    """One reading by the textbook: three Kalman updates, their mixture, its mean and covariance."""
    step = np.array([[1.0, dt], [0.0, 1.0]])
    mean, cov = step @ [x, mu], step @ cov @ step.T + np.diag([hyper.q * dt, 0.0])
    calm = np.exp(-hyper.lam * dt)
    chances = [(1 - hyper.e_o) * calm, hyper.e_o, (1 - hyper.e_o) * (1 - calm)]
    noise = hyper.r * noise_scale
    told = []
    for chance, jump, more in zip(chances, (0, 0, 36), (0, 64, 0), strict=True):
        prior = cov + np.diag([jump * hyper.r, 0.0])
        variance = prior[0, 0] + noise + more * hyper.r
        gain = prior[:, 0] / variance
        density = chance * norm.pdf(y, mean[0], np.sqrt(variance))
        told.append((density, mean + gain * (y - mean[0]), prior - np.outer(gain, prior[0])))
    total = sum(density for density, *_ in told)
    weights = [density / total for density, *_ in told]
    centre = sum(w * m for w, (_, m, _) in zip(weights, told, strict=True))
    spread = sum(w * (c + np.outer(m - centre, m - centre)) for w, (_, m, c) in zip(weights, told, strict=True))
    return np.log(total), centre, spread, weights


@pytest.mark.parametrize("second", [8.9, 9.35, 9.9, 11.5])
def test_a_reading_is_weighed_as_regular_outlier_or_step(second):
    hyper = make_hyper(e_o=0.02, lam=0.05)
    panel = Panel.from_records("a" * 3, "g" * 3, [0.0, 1.0, 2.5], [9.0, 9.1, second], [NAN] * 3, [0] * 3, target=9.0)
    state, told = filter(panel, hyper), innovations(panel, hyper)
    log_1, mean, cov, _ = gpb1(9.0, hyper.m, np.diag([hyper.r, hyper.s2]), 9.1, 1.0, hyper)
    log_2, mean, cov, weights = gpb1(*mean, cov, second, 1.5, hyper)
    np.testing.assert_allclose([state.x[0], state.mu[0]], mean, atol=1e-12)
    np.testing.assert_allclose(
        [state.Pxx[0], state.Pxm[0], state.Pmm[0]], [cov[0, 0], cov[0, 1], cov[1, 1]], atol=1e-12
    )
    np.testing.assert_allclose([state.w_out[0], state.w_step[0]], weights[1:], atol=1e-12)
    np.testing.assert_allclose([told.w_out[2, 0], told.w_step[2, 0]], weights[1:], atol=1e-12)
    assert state.loglik[0] == pytest.approx(log_1 + log_2, abs=1e-12)


def test_without_outliers_and_steps_the_filter_is_the_exact_one():
    """The three-way path with next to no chance of either, against the plain path."""
    panel, hyper = simulate(FleetLaw(n_units=80), 3).panel(), make_hyper(pi=0.05)
    exact, limit = filter(panel, hyper), filter(panel, replace(hyper, e_o=1e-13, lam=1e-13))
    assert exact.w_out[0] == 0.0
    for one, other in zip(exact.parts, limit.parts, strict=True):
        np.testing.assert_allclose(one, other, atol=1e-8)
    np.testing.assert_allclose(exact.loglik, limit.loglik, atol=1e-8)


def test_a_wild_reading_hardly_moves_a_robust_filter():
    def level(hyper, last):
        times, found = [0.0, 1.0, 2.0, 3.0], [9.0, 9.0, 8.9, last]
        panel = Panel.from_records("a" * 4, "g" * 4, times, found, [NAN] * 4, [False] * 4, target=9.0)
        return filter(panel, hyper).x[0]

    assert abs(level(make_hyper(), 12.0) - level(make_hyper(), 8.9)) > 1.0
    robust = make_hyper(e_o=0.02, lam=0.001)
    assert abs(level(robust, 12.0) - level(robust, 8.9)) < 0.2


def test_no_reading_is_too_far_off_to_be_weighed():
    hyper = make_hyper(e_o=0.0, lam=0.02)
    panel = Panel.from_records("aa", "gg", [0.0, 1.0], [9.0, 1e6], [NAN] * 2, [False] * 2, target=9.0)
    state = filter(panel, hyper)
    assert np.isfinite([state.x[0], state.Pxx[0], state.loglik[0]]).all()


def test_the_last_two_surprises_are_kept():
    hyper = make_full_hyper()
    panel = random_panel(9)
    state, told = filter(panel, hyper), innovations(panel, hyper)
    for unit in range(panel.n_units):
        last = np.flatnonzero(np.isfinite(panel.t_years[:, unit]))[-1]
        np.testing.assert_array_equal(state.z[unit], told.z[last, unit])
        before = told.z[:last, unit]
        known = before[np.isfinite(before)]
        np.testing.assert_array_equal(state.z_before[unit], known[-1] if known.size else NAN)


def test_a_state_belongs_to_the_law_that_made_it():
    state = filter(random_panel(1), make_hyper())
    with pytest.raises(ValueError, match="components"):
        update(state, make_hyper(pi=0.1), 1.0, 9.0)


def test_the_filter_agrees_with_statsmodels_kalman_filter():
    """statsmodels.tsa.statespace, level and drift with known start, time-varying transitions."""
    kalman = pytest.importorskip("statsmodels.tsa.statespace.kalman_filter")
    hyper, rng = make_hyper(), np.random.default_rng(4)
    for _ in range(20):
        time, scale = np.cumsum(rng.uniform(0.2, 2.0, 12)), rng.uniform(0.3, 2.0, 12)
        found = np.where(rng.random(12) < 0.2, NAN, 9.0 + 0.3 * rng.standard_normal(12))
        found[0] = 9.0
        panel = Panel.from_records(
            "a" * 12, "g" * 12, time, found, [NAN] * 12, [False] * 12, noise_scale=scale, target=9.0
        )
        gaps = np.diff(time)
        other = kalman.KalmanFilter(k_endog=1, k_states=2)
        other.bind(found[1:][:, None])
        other["design"] = np.array([[1.0, 0.0]])
        other["selection"] = np.eye(2)
        later = np.append(gaps[1:], 1.0)
        other["transition"] = np.array([[np.ones(11), later], [np.zeros(11), np.ones(11)]])
        other["state_cov"] = np.array([[hyper.q * later, np.zeros(11)], [np.zeros(11), np.zeros(11)]])
        other["obs_cov"] = (hyper.r * scale[1:])[None, None]
        step = np.array([[1.0, gaps[0]], [0.0, 1.0]])
        start = step @ np.diag([hyper.r * scale[0], hyper.s2]) @ step.T + np.diag([hyper.q * gaps[0], 0.0])
        other.initialize_known(step @ [9.0, hyper.m], start)
        assert filter(panel, hyper).loglik[0] == pytest.approx(other.loglike(), abs=1e-8)
