import numpy as np
import pytest

from fleet.drift import Hyper, Panel, Prior, filter, fit, innovations
from tests.drift.simulate import FleetLaw, simulate
from tests.drift.states import loglik, make_full_hyper, make_hyper


def curvature(objective, at, step):
    """Hessian by central differences."""
    n, e = at.size, np.diag(step)
    hessian = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            corners = [objective(at + a * e[i] + b * e[j]) * a * b for a in (1, -1) for b in (1, -1)]
            hessian[i, j] = sum(corners) / (4 * step[i] * step[j])
    return hessian


@pytest.mark.parametrize("seed", [11, 12])
def test_a_fit_recovers_the_law_of_a_simulated_fleet(seed):
    """Within 3.5 standard errors in each of six directions: errors from the curvature of the likelihood.

    Each number of 2 x 6 would be beyond that by chance with probability 0.0005. The priors pull the least
    certain one, log w2, by (error / 1.5)^2 of its way to their centre: here a third of its error.
    """
    law = FleetLaw(n_units=600, group_drift_sd=0.0, min_visits=6, max_visits=10, adjust_beyond=0.15)
    panel = simulate(law, seed).panel()
    fitted = fit(panel, Prior.of("co2"), robust=False, mixture=False, groups=False)

    def objective(theta):
        m, log_s2, log_q, log_r, rho, log_w2 = theta
        s2, q, r, w2 = np.exp([log_s2, log_q, log_r, log_w2])
        return loglik(panel, make_hyper(m=m, s2=s2, q=q, r=r, rho=rho, w2=w2))

    def theta_of(m, s2, q, r, rho, w2):
        return np.array([m, np.log(s2), np.log(q), np.log(r), rho, np.log(w2)])

    found = theta_of(fitted.m, fitted.s2, fitted.q, fitted.r, fitted.rho, fitted.w2)
    truth = theta_of(law.drift_mean, law.drift_sd**2, law.diffusion_sd**2, law.reading_sd**2, law.rho, law.w2)
    error = np.sqrt(np.diag(np.linalg.inv(-curvature(objective, found, np.full(6, 0.02)))))
    assert error.max() < 0.6  # the data do speak about all six
    assert np.abs((found - truth) / error).max() < 3.5


def test_a_fit_stands_at_the_top_of_the_posterior():
    panel, prior = simulate(FleetLaw(n_units=80), 3).panel(), Prior.of("co2")
    best = fit(panel, prior, robust=False, mixture=False, groups=False)

    def log_posterior(hyper):
        logs = np.log(np.array([hyper.s2, hyper.q, hyper.r, hyper.w2]) / prior.tau0**2)
        sd = np.array([prior.log_s2_sd, prior.log_q_sd, prior.log_r_sd, prior.log_w2_sd])
        rho = (hyper.rho - prior.rho_mean) / prior.rho_sd
        return loglik(panel, hyper) - 0.5 * ((logs / sd) ** 2).sum() - 0.5 * rho**2

    for name in ("m", "s2", "q", "r", "rho", "w2"):
        for factor in (0.97, 1.03):
            moved = make_hyper(**{n: getattr(best, n) for n in ("m", "s2", "q", "r", "rho", "w2")})
            moved = make_hyper(**vars(moved) | {name: getattr(best, name) * factor})
            assert log_posterior(moved) < log_posterior(best)


def test_a_warm_start_ends_where_a_cold_one_does():
    panel, prior = simulate(FleetLaw(n_units=150), 8).panel(), Prior.of("co2")
    cold = fit(panel, prior, robust=False)
    warm = fit(panel, prior, warm=cold, robust=False)
    for name in ("m", "s2", "q", "r", "rho", "w2", "pi", "om2"):
        assert getattr(warm, name) == pytest.approx(getattr(cold, name), rel=0.03, abs=3e-4)


def test_a_fit_in_another_unit_is_the_same_fit():
    """Readings in per mille instead of per cent, with the prior's reading error scaled alike."""
    fleet = simulate(FleetLaw(n_units=100), 9)
    tenfold = {name: 10.0 * np.asarray(fleet.records[name]) for name in ("as_found", "as_left", "target")}
    prior = Prior.of("co2")
    big = Prior(tau0=10 * prior.tau0, missing_left_sd=10 * prior.missing_left_sd)
    one = fit(fleet.panel(), prior)
    ten = fit(Panel.from_records(**fleet.records | tenfold), big)
    assert ten.m == pytest.approx(10 * one.m, rel=1e-3)
    assert ten.q == pytest.approx(100 * one.q, rel=1e-3)
    assert ten.rho == pytest.approx(one.rho, rel=1e-3)


def test_equal_intervals_with_an_adjustment_every_time_leave_reading_error_to_its_prior():
    """Only q dt + r + w2 shows then, so without the prior on r the fit would have no single answer."""
    rng = np.random.default_rng(0)
    n, k = 100, 5
    found, left = 9.0 + 0.2 * rng.standard_normal((2, n * k))
    panel = Panel.from_records(
        np.repeat(np.arange(n), k), ["g"] * n * k, np.tile(np.arange(k), n), found, left, [True] * n * k, target=9.0
    )
    fitted = fit(panel, Prior.of("co2"))
    assert fitted.q + fitted.r + fitted.w2 + fitted.s2 == pytest.approx(0.04, rel=0.2)
    assert 0.3 * 0.12**2 < fitted.r < 3.3 * 0.12**2


def test_a_fit_counts_the_series_that_taught_it():
    single = FleetLaw(n_units=5, min_visits=1, max_visits=1)
    with pytest.raises(ValueError, match="no series"):
        fit(simulate(single, 1).panel(), Prior.of("co2"))
    law = FleetLaw(n_units=40, min_visits=1, max_visits=3)
    panel = simulate(law, 1).panel()
    assert fit(panel, Prior.of("co2")).n_series == np.isfinite(panel.as_found[1]).sum() < 40


def test_a_fitted_hyper_says_that_it_is_fitted():
    assert fit(simulate(FleetLaw(n_units=40), 1).panel(), Prior.of("co2")).basis == "fitted"


# ---- groups, fast units, outliers and steps ----

DIRTY = FleetLaw(
    n_units=1000, n_groups=20, group_exponent=1.0, min_visits=2, max_visits=10,
    faulty_share=0.05, outlier_share=0.02, steps_per_year=0.02,
)  # fmt: skip


@pytest.fixture(scope="module")
def dirty():
    return simulate(DIRTY, 32)


@pytest.fixture(scope="module")
def dirty_fit(dirty):
    return fit(dirty.panel(), Prior.of("co2"))


def test_a_dirty_fleets_law_is_found_beneath_its_dirt(dirty_fit):
    """The standard deviations of the regular part within a quarter, of readings within a tenth."""
    assert np.sqrt(dirty_fit.r) == pytest.approx(DIRTY.reading_sd, rel=0.1)
    assert np.sqrt(dirty_fit.s2) == pytest.approx(DIRTY.drift_sd, rel=0.25)
    assert np.sqrt(dirty_fit.q) == pytest.approx(DIRTY.diffusion_sd, rel=0.25)
    assert np.sqrt(dirty_fit.om2) == pytest.approx(DIRTY.group_drift_sd, rel=0.35)
    assert 0.01 < dirty_fit.pi < 0.10
    assert 0.01 < dirty_fit.e_o < 0.06
    assert 0.003 < dirty_fit.lam < 0.06


def test_a_plain_fit_takes_the_dirt_for_reading_error(dirty, dirty_fit):
    plain = fit(dirty.panel(), Prior.of("co2"), robust=False, mixture=False)
    assert (plain.pi, plain.e_o, plain.lam) == (0.0, 0.0, 0.0)
    assert plain.r > 1.3 * dirty_fit.r


def test_each_groups_drift_is_learned_and_small_groups_are_less_sure(dirty, dirty_fit):
    """Mean drift of each group's regular units; the figure v must cover its error."""
    number = {f"group-{g:03d}": g for g in range(20)}
    regular = ~dirty.world.faulty
    n = np.bincount(dirty.group_of[regular], minlength=20)
    truth = np.bincount(dirty.group_of[regular], dirty.drift[regular], 20) / n
    order = [number[name] for name in dirty_fit.groups]
    told = np.array([group.m for group in dirty_fit.groups.values()])
    spread = np.array([group.v for group in dirty_fit.groups.values()]) ** 0.5
    error = (told - truth[order]) / np.hypot(spread, DIRTY.drift_sd / np.sqrt(n[order]))
    assert np.abs(error).max() < 3.5
    assert np.abs(told - truth[order]).mean() < 0.5 * np.abs(dirty_fit.m - truth[order]).mean()
    largest, smallest = np.argmax(n[order]), np.argmin(n[order])
    assert spread[smallest] > 2.0 * spread[largest]


def test_groups_help_to_foretell(dirty, dirty_fit):
    panel = dirty.panel()
    assert loglik(panel, dirty_fit) > loglik(panel, fit(panel, Prior.of("co2"), groups=False)) + 20


def test_a_robust_fit_tells_most_bad_readings(dirty, dirty_fit):
    panel = dirty.panel()
    doubtful = innovations(panel, dirty_fit)
    suspect = (doubtful.w_out + doubtful.w_step).ravel()[panel.visit_of]
    judged = np.isfinite(suspect)
    assert np.median(suspect[judged & dirty.outlier]) > 0.9
    assert np.median(suspect[judged & ~dirty.outlier]) < 0.05


def test_the_same_seed_learns_the_same():
    panel = simulate(FleetLaw(n_units=60), 6).panel()
    assert fit(panel, Prior.of("co2")).version == fit(panel, Prior.of("co2")).version


def test_one_group_alone_leaves_the_next_one_open():
    fitted = fit(simulate(FleetLaw(n_units=100, n_groups=1), 4).panel(), Prior.of("co2"))
    assert list(fitted.groups) == ["group-000"]
    assert fitted.om2 > 0.3 * fitted.s2


def test_more_units_than_are_drawn_are_all_served(monkeypatch):
    monkeypatch.setattr("fleet.drift.fitting.MAX_SERIES_IN_FIT", 100)
    monkeypatch.setattr("fleet.drift.fitting.MAX_SERIES_IN_GROUP", 10)
    panel = simulate(FleetLaw(n_units=300, n_groups=12), 5).panel()
    fitted = fit(panel, Prior.of("co2"))
    assert (fitted.n_series, len(fitted.groups)) == (100, 12)
    assert np.isfinite(filter(panel, fitted).x).all()


def test_readings_that_tell_nothing_leave_the_groups_at_the_fleet():
    """Two readings a unit, each unit a group: nothing curves the likelihood of a group's wandering."""
    law = FleetLaw(n_units=40, n_groups=40, min_visits=2, max_visits=2)
    fitted = fit(simulate(law, 2).panel(), Prior.of("co2"))
    assert all(np.isfinite(group).all() for group in fitted.groups.values())


def test_a_warm_start_may_come_from_a_plain_law():
    panel = simulate(FleetLaw(n_units=60), 3).panel()
    old = make_hyper(s2=0.0)
    fitted = fit(panel, Prior.of("co2"), warm=old)
    assert isinstance(fitted, Hyper) and fitted.pi > 0 and fitted.e_o > 0
    again = fit(panel, Prior.of("co2"), warm=make_full_hyper(basis="from assumptions"), robust=False)
    assert (again.e_o, again.basis) == (0.0, "fitted")
