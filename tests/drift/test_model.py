from dataclasses import fields

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from fleet.drift import (
    FleetLaw,
    Panel,
    State,
    filter,
    innovations,
    loglik,
    simulate,
    update,
)
from tests.drift.states import make_hyper

NAN = np.nan


def random_panel(seed, n_units=60, n_visits=7):
    """Irregular visits: a tenth of readings missing, four in ten adjusted, one in ten with a new part."""
    rng = np.random.default_rng(seed)
    size = n_units * n_visits
    found, left = 9.0 + 0.3 * rng.standard_normal((2, size))
    return Panel.from_records(
        np.repeat(np.arange(n_units), n_visits),
        ["g"] * size,
        rng.uniform(0.0, 8.0, size),
        np.where(rng.random(size) < 0.1, NAN, found),
        np.where(rng.random(size) < 0.2, NAN, left),
        rng.random(size) < 0.4,
        rng.uniform(0.3, 2.0, size),
        rng.random(size) < 0.1,
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
    for field in fields(State):
        np.testing.assert_allclose(
            getattr(one, field.name), getattr(other, field.name), rtol=1e-12, atol=1e-13, err_msg=field.name
        )


def first_visits(panel, n):
    names = ("t_years", "dt_years", "as_found", "as_left", "noise_scale", "adjusted", "replaced")
    grids = (getattr(panel, name)[:n] for name in names)
    return Panel(panel.unit_ids, panel.group_ids, panel.target, *grids)


@pytest.mark.parametrize("n", [1, 3, 6])
def test_updating_visit_by_visit_says_what_filtering_all_of_them_says(n):
    full = random_panel(5)
    panel, hyper = full.take(np.flatnonzero(np.isfinite(full.t_years[-1]))), make_hyper()
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


def test_a_short_series_says_the_same_beside_long_ones():
    panel, hyper = simulate(FleetLaw(n_units=40, min_visits=1, max_visits=9), 2).panel(), make_hyper()
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
    assert (state.x[0], state.Pxx[0], state.mu[0], state.Pmm[0]) == (8.9, hyper.r, hyper.m, hyper.s2)


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
    np.testing.assert_array_equal(replaced.mu, hyper.m)
    np.testing.assert_array_equal(replaced.Pmm, hyper.s2)
    np.testing.assert_allclose(replaced.x, adjusted.x)


def test_a_missing_as_left_reading_puts_the_level_on_target_and_says_so():
    hyper = make_hyper()
    state = filter(Panel.from_records("a", "g", [0.0], [8.4], [NAN], [True], target=9.0), hyper)
    assert (state.x[0], state.Pxx[0]) == (9.0, hyper.prior.missing_left_sd**2)
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
