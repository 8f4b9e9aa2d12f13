from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from fleet.drift import (
    HORIZON_GRID_YEARS,
    Group,
    Limits,
    Panel,
    crossing_probability,
    filter,
    horizon,
    reading_distribution,
)
from tests.drift.paths import bridge_monte_carlo
from tests.drift.states import make_hyper, make_state, mixed

LIMITS = Limits(8.5, 9.5, 9.0)


@pytest.mark.parametrize(
    ("x", "mu", "level_sd", "drift_sd", "correlation", "q", "years"),
    [
        (9.0, 0.0, 0.087, 0.1, 0.0, 0.02, 1.0),
        (9.3, 0.1, 0.10, 0.2, 0.4, 0.01, 1.5),
        (8.9, -0.2, 0.12, 0.1, -0.3, 0.09, 2.0),
        (9.45, -0.3, 0.06, 0.15, 0.2, 0.005, 1.0),
    ],
)
def test_the_crossing_agrees_with_simulated_paths(x, mu, level_sd, drift_sd, correlation, q, years):
    state, hyper = make_state(x, mu, level_sd, drift_sd, correlation), make_hyper(q=q)
    share, error = bridge_monte_carlo(state, hyper, LIMITS, years, paths=60_000, steps=60, seed=5)
    assert crossing_probability(state, hyper, LIMITS, years, nodes=24)[0] == pytest.approx(share, abs=3.5 * error)


@pytest.mark.parametrize(("lower", "upper"), [(None, 9.5), (8.5, None)])
def test_a_single_limit_agrees_with_simulated_paths(lower, upper):
    state, hyper, limits = make_state(9.1, 0.05, 0.1, 0.2, 0.3), make_hyper(), Limits(lower, upper)
    share, error = bridge_monte_carlo(state, hyper, limits, 2.0, paths=60_000, steps=60, seed=6)
    assert crossing_probability(state, hyper, limits, 2.0)[0] == pytest.approx(share, abs=3.5 * error)


def random_states(n, seed):
    """Beliefs of the sizes that filters of CO2 leave behind, and harder ones."""
    rng = np.random.default_rng(seed)
    return make_state(
        rng.uniform(8.5, 9.5, n),
        rng.normal(0, 0.3, n),
        rng.uniform(0.05, 0.14, n),
        rng.uniform(0.04, 0.24, n),
        rng.uniform(-0.7, 0.7, n),
    )


@pytest.mark.parametrize(
    ("nodes", "q", "worst", "usual"),
    [(16, 0.15, 1e-5, 1e-6), (16, 0.005, 1e-3, 3e-4), (24, 0.005, 1e-5, 2e-6), (24, 0.001, 1e-3, 5e-4)],
)
def test_few_nodes_are_enough(nodes, q, worst, usual):
    """Largest error and its 99th percentile; less wandering leaves a sharper edge at a limit, so harder."""
    state, hyper = random_states(2000, 7), make_hyper(q=q)
    fine = crossing_probability(state, hyper, LIMITS, 1.5, nodes=120)
    error = np.abs(crossing_probability(state, hyper, LIMITS, 1.5, nodes=nodes) - fine)
    assert error.max() < worst
    assert np.quantile(error, 0.99) < usual


def test_where_one_path_reaches_one_limit_only_each_is_taken_alone(monkeypatch):
    """The short cut against the images of both limits together."""
    state, hyper = random_states(2000, 11), make_hyper(q=0.01)
    usual = crossing_probability(state, hyper, LIMITS, 1.0)
    monkeypatch.setattr("fleet.drift.forecast._NEGLIGIBLE", -1.0)
    whole = crossing_probability(state, hyper, LIMITS, 1.0)
    assert 0 < np.abs(usual - whole).max() < 2e-6


def test_two_drift_components_mix_their_chances():
    one, other, hyper = random_states(40, 12), random_states(40, 13), make_hyper()
    weight = np.linspace(0.05, 0.95, 40)
    alone = [crossing_probability(state, hyper, LIMITS, 1.0) for state in (one, other)]
    together = crossing_probability(mixed(one, other, weight), hyper, LIMITS, 1.0)
    expected = weight * one.x + (1 - weight) * other.x
    inside = (expected > 8.5) & (expected < 9.5)
    np.testing.assert_allclose(together[inside], (weight * alone[0] + (1 - weight) * alone[1])[inside], atol=1e-12)


def test_sudden_steps_add_their_chance():
    """P_tot = 1 - (1 - P) exp(-lam h p_o), with p_o after a step of 6 readings' errors half-way."""
    state, hyper = random_states(50, 14), make_hyper(e_o=0.01, lam=0.05)
    calm = crossing_probability(state, hyper, LIMITS, 2.0, hazard=False)
    variance = state.Pxx + 2 * state.Pxm + state.Pmm + hyper.q + 36 * hyper.r
    out = norm.cdf(8.5, state.x + state.mu, np.sqrt(variance)) + norm.sf(9.5, state.x + state.mu, np.sqrt(variance))
    expected = 1 - (1 - calm) * np.exp(-0.05 * 2.0 * out)
    np.testing.assert_allclose(crossing_probability(state, hyper, LIMITS, 2.0), expected, atol=1e-12)
    np.testing.assert_allclose(calm, crossing_probability(state, make_hyper(), LIMITS, 2.0), atol=1e-12)
    assert (expected > calm).all()


def test_steps_are_still_to_be_feared_where_the_drift_goes_away_from_the_only_limit():
    state = make_state(9.0, -0.5, 0.05, 0.01)
    calm, stepping = (make_hyper(lam=lam) for lam in (0.0, 0.05))
    assert crossing_probability(state, calm, Limits(None, 9.5), 1.0)[0] < 1e-6
    assert crossing_probability(state, stepping, Limits(None, 9.5), 1.0)[0] > 1e-3


def test_the_group_says_how_much_a_unit_wanders():
    state = make_state([9.0, 9.0], 0.0, 0.08, 0.1)
    ids = np.array(["calm", "wild"], object)
    groups = {"calm": Group(0.0, 0.01, 0.0001, 0.0), "wild": Group(0.0, 0.01, 0.2, 0.0)}
    chance = crossing_probability(replace(state, group_ids=ids), make_hyper(groups=groups), LIMITS, 1.0)
    assert chance[1] > 5 * chance[0]


def test_now_is_the_chance_to_be_outside_already():
    state = random_states(50, 1)
    expected = norm.cdf(8.5, state.x, np.sqrt(state.Pxx)) + norm.sf(9.5, state.x, np.sqrt(state.Pxx))
    np.testing.assert_allclose(crossing_probability(state, make_hyper(), LIMITS, 0.0), expected, atol=1e-12)
    soon = crossing_probability(state, make_hyper(), LIMITS, 1e-9)
    np.testing.assert_allclose(soon, expected, atol=1e-4)


def test_a_unit_outside_already_is_due_now():
    state = make_state([8.4, 9.6, 20.0], 0.0, 0.05, 0.1)
    np.testing.assert_array_equal(crossing_probability(state, make_hyper(), LIMITS, [0.0, 1.0, 2.0]), 1.0)
    years, reached_by = horizon(state, make_hyper(), LIMITS, 0.08, 1.0)
    np.testing.assert_array_equal(years, 0.0)
    assert set(reached_by) == {"now"}


def test_years_broadcast_against_units():
    state, hyper = random_states(5, 2), make_hyper()
    grid = np.array([0.5, 1.0, 2.0])
    table = crossing_probability(state, hyper, LIMITS, grid[:, None])
    assert table.shape == (3, 5)
    np.testing.assert_allclose(table[1], crossing_probability(state, hyper, LIMITS, 1.0), atol=1e-12)
    own = crossing_probability(state, hyper, LIMITS, [0.5, 1.0, 2.0, 1.0, 0.5])
    np.testing.assert_allclose(own, table[[0, 1, 2, 1, 0], np.arange(5)], atol=1e-12)


def test_each_unit_may_have_limits_of_its_own():
    state, hyper = random_states(3, 3), make_hyper()
    lower, upper = np.array([8.0, 8.5, 8.7]), np.array([9.6, 9.5, 9.9])
    together = crossing_probability(state, hyper, Limits(lower, upper), 1.0)
    apart = [crossing_probability(state.take(i), hyper, Limits(lower[i], upper[i]), 1.0)[0] for i in range(3)]
    np.testing.assert_allclose(together, apart, atol=1e-12)


def test_a_unit_says_the_same_alone_and_in_a_crowd():
    state, hyper = random_states(9000, 4), make_hyper()
    crowd = crossing_probability(state, hyper, LIMITS, 1.0)
    chosen = [0, 4095, 4096, 8999]
    np.testing.assert_allclose(crossing_probability(state.take(chosen), hyper, LIMITS, 1.0), crowd[chosen], atol=1e-12)


bounded = settings(max_examples=60, derandomize=True, deadline=None)
beliefs = st.builds(
    make_state,
    x=st.floats(8.0, 10.0),
    mu=st.floats(-1.0, 1.0),
    level_sd=st.floats(0.02, 0.4),
    drift_sd=st.floats(0.0, 0.5),
    correlation=st.floats(-0.95, 0.95),
)
wanderings = st.floats(1e-6, 0.3).map(lambda q: make_hyper(q=q))
limit_pairs = st.sampled_from([Limits(8.5, 9.5), Limits(None, 9.5), Limits(8.5, None)])


@bounded
@given(beliefs, wanderings, limit_pairs)
def test_the_chance_is_a_probability_and_never_falls_with_time(state, hyper, limits):
    grid = np.array([0.0, 0.01, *HORIZON_GRID_YEARS, 10.0, 100.0])
    chance = crossing_probability(state, hyper, limits, grid[:, None])[:, 0]
    assert ((chance >= 0) & (chance <= 1)).all()
    assert (np.diff(chance) >= -1e-9).all()


@bounded
@given(beliefs, wanderings, st.floats(0.1, 3.0), st.floats(0.0, 0.4), st.floats(0.0, 0.4))
def test_tighter_limits_raise_the_chance(state, hyper, years, up, down):
    wide = crossing_probability(state, hyper, Limits(8.5, 9.5), years, nodes=200)
    tight = crossing_probability(state, hyper, Limits(8.5 + up, 9.5 - down), years, nodes=200)
    assert tight[0] >= wide[0] - 1e-4  # what 200 nodes leave open


@bounded
@given(beliefs, wanderings, st.floats(0.0, 3.0))
def test_a_mirrored_unit_has_the_mirrored_forecast(state, hyper, years):
    mirrored = make_state(
        18.0 - state.x,
        -state.mu,
        np.sqrt(state.Pxx),
        np.sqrt(state.Pmm),
        np.divide(state.Pxm, np.sqrt(state.Pxx * state.Pmm), out=np.zeros(1), where=state.Pmm > 0),
    )
    for limits, opposite in ((Limits(8.4, 9.5), Limits(8.5, 9.6)), (Limits(8.4, None), Limits(None, 9.6))):
        one = crossing_probability(state, hyper, limits, years)
        other = crossing_probability(mirrored, hyper, opposite, years)
        np.testing.assert_allclose(one, other, atol=1e-8)


def test_mirrored_records_give_the_mirrored_state():
    found, left = np.array([9.2, 8.7, 8.4, 8.9]), np.array([np.nan, np.nan, 9.1, np.nan])
    adjusted = [False, False, True, False]

    def state_of(readings, settings_left, m):
        panel = Panel.from_records("aaaa", "gggg", [0, 1, 2.2, 3], readings, settings_left, adjusted, target=9.0)
        return filter(panel, make_hyper(m=m))

    one, other = state_of(found, left, -0.05), state_of(18.0 - found, 18.0 - left, 0.05)
    np.testing.assert_allclose([18.0 - other.x, -other.mu, other.Pxm], [one.x, one.mu, one.Pxm])


def test_the_horizon_reads_the_grid_by_straight_lines():
    state, hyper = make_state(9.1, 0.1, 0.08, 0.1), make_hyper(lam=0.02)
    grid = np.array([0.0, *HORIZON_GRID_YEARS])
    chance = crossing_probability(state, hyper, LIMITS, grid[:, None])[:, 0]
    for alpha in (0.05, 0.2, 0.4):
        years, reached_by = horizon(state, hyper, LIMITS, alpha, 5.0)
        assert reached_by[0] == "chance"
        assert years[0] == pytest.approx(np.interp(alpha, chance, grid))


@pytest.mark.parametrize(
    ("x", "mu", "level_sd", "alpha", "cap_years", "years", "reached_by"),
    [
        (9.45, 0.0, 0.1, 0.08, 2.0, 0.0, "now"),
        (9.3, 0.9, 0.05, 0.08, 2.0, 0.25, "soonest"),
        (9.3, 0.9, 0.05, 0.08, 0.1, 0.1, "cap"),
        (9.0, 0.0, 0.05, 0.08, 0.5, 0.5, "cap"),
        (9.0, 0.0, 0.05, 0.9, 5.0, 3.0, "longest"),
        (9.0, 0.0, 0.05, 0.9, 3.0, 3.0, "cap"),
        (np.nan, 0.0, 0.05, 0.08, 2.0, np.nan, "no level"),
    ],
)
def test_the_horizon_says_what_set_it(x, mu, level_sd, alpha, cap_years, years, reached_by):
    state = make_state(x, mu, level_sd, 0.05)
    got_years, now_reached_by = horizon(state, make_hyper(), LIMITS, alpha, cap_years)
    assert now_reached_by[0] == reached_by
    np.testing.assert_allclose(got_years[0], years)


@bounded
@given(beliefs, wanderings, st.floats(0.01, 0.5), st.floats(0.01, 0.49))
def test_a_larger_accepted_risk_never_comes_sooner(state, hyper, alpha, more):
    sooner, _ = horizon(state, hyper, LIMITS, alpha, 2.5)
    later, _ = horizon(state, hyper, LIMITS, alpha + more, 2.5)
    assert later[0] >= sooner[0]


def test_a_unit_without_a_level_has_no_forecast():
    state = make_state([np.nan, 9.0], 0.0, 0.1, 0.1)
    chance = crossing_probability(state, make_hyper(), LIMITS, 1.0)
    assert np.isnan(chance[0]) and np.isfinite(chance[1])
    assert np.isnan(reading_distribution(state, make_hyper(), 1.0).mean[0])


@pytest.mark.parametrize(
    ("lower", "upper", "target"),
    [(None, None, None), (9.0, 9.0, None), (9.5, 8.5, None), (8.5, 9.5, 9.5), (8.5, np.inf, None), (8.5, np.nan, None)],
)
def test_limits_that_enclose_nothing_are_refused(lower, upper, target):
    with pytest.raises(ValueError, match=r"limits|upper"):
        Limits(lower, upper, target)


def test_misuse_is_refused_by_the_name_of_the_argument():
    state, hyper = make_state(9.0, 0.0, 0.1, 0.1), make_hyper()
    with pytest.raises(ValueError, match="years"):
        crossing_probability(state, hyper, LIMITS, -0.1)
    with pytest.raises(ValueError, match="years"):
        reading_distribution(state, hyper, np.nan)
    with pytest.raises(ValueError, match="nodes"):
        crossing_probability(state, hyper, LIMITS, 1.0, nodes=1)
    with pytest.raises(ValueError, match="alpha"):
        horizon(state, hyper, LIMITS, 1.0, 2.0)
    with pytest.raises(ValueError, match="cap_years"):
        horizon(state, hyper, LIMITS, 0.08, 0.0)
