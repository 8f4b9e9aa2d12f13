"""Against figures that others published for data that anybody can check."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from fleet.drift import Limits, Panel, crossing_probability
from fleet.drift.passage import survival_below
from tests.drift.states import loglik, make_hyper, make_state

# Annual flow of the Nile at Aswan 1871-1970, 10^8 m^3: Cobb, Biometrika 65 (1978) 243-251; widely reprinted.
NILE_FLOW = """
1120 1160  963 1210 1160 1160  813 1230 1370 1140  995  935 1110  994 1020  960 1180  799  958 1140
1100 1210 1150 1250 1260 1220 1030 1100  774  840  874  694  940  833  701  916  692 1020 1050  969
 831  726  456  824  702 1120 1100  832  764  821  768  845  864  862  698  845  744  796 1040  759
 781  865  845  944  984  897  822 1010  771  676  649  846  812  742  801 1040  860  874  848  890
 744  749  838 1050  918  986  797  923  975  815 1020  906  901 1170  912  746  919  718  714  740
"""


def largest_loglik(panel, start, hyper_of):
    best = minimize(
        lambda theta: -loglik(panel, hyper_of(theta)),
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000},
    )
    return best.x, -best.fun


def test_the_nile_gives_the_variances_of_durbin_and_koopman():
    """Local level model (no drift): Durbin & Koopman, Time Series Analysis by State Space Methods, section 2.

    Level variance 1469.1, reading variance 15098.5.
    """
    flow = np.array(NILE_FLOW.split(), float)
    panel = Panel.from_records(
        ["nile"] * 100, ["river"] * 100, np.arange(100), flow, [np.nan] * 100, [False] * 100, target=900.0
    )

    def hyper_of(theta):
        q, r = np.exp(theta)
        return make_hyper(m=0.0, s2=0.0, q=q, r=r)

    theta, top = largest_loglik(panel, np.log([1000.0, 10000.0]), hyper_of)
    q, r = np.exp(theta)
    assert q == pytest.approx(1469.1, abs=0.15)
    assert r == pytest.approx(15098.5, abs=0.5)
    assert top == pytest.approx(-632.5456, abs=1e-3)


@pytest.fixture(scope="module")
def gaas():
    """Rise of operating current of 15 lasers [%] at 0, 250 ... 4000 h, (15, 17); 0 at 0 h by definition.

    Meeker & Escobar, Statistical Methods for Reliability Data (1998), table C.17 [table number from memory].
    """
    path = Path(__file__).parents[2] / "fixtures" / "golden" / "gaas.csv"
    rows = list(csv.DictReader(path.open()))
    rise = np.array([float(row["pct_increase"]) for row in rows]).reshape(15, 16)
    return np.hstack([np.zeros((15, 1)), rise])


KILOHOURS = np.arange(17) * 0.25


def closed_form(rise):
    """m, s^2 and sigma^2 of exactly read paths with normal drifts (per 1000 h), by maximum likelihood."""
    rate = rise[:, -1] / 4.0
    rest = np.diff(rise, axis=1) - 0.25 * rate[:, None]
    sigma2 = (rest**2).sum() / (0.25 * rise.shape[0] * 15)
    return rate.mean(), rate.var() - sigma2 / 4.0, sigma2


def laser_panel(rise):
    """Each laser starts at a known 0: set there by an adjustment with hardly any spread."""
    unit, time = np.repeat(np.arange(15), 17), np.tile(KILOHOURS, 15)
    start = time == 0
    return Panel.from_records(
        unit, ["laser"] * 255, time, rise.ravel(), np.where(start, 0.0, np.nan), start, target=0.0
    )


def test_the_laser_file_is_the_published_one(gaas):
    assert gaas.sum() == pytest.approx(1044.4529)
    assert gaas[:, -1].mean() == pytest.approx(8.15163, abs=1e-5)
    assert (gaas[:, -1] > 10).sum() == 3


def test_the_lasers_closed_form_is_where_our_likelihood_peaks(gaas):
    m, s2, sigma2 = closed_form(gaas)
    assert m == pytest.approx(2.03791, abs=1e-5)
    assert np.sqrt(s2) == pytest.approx(0.41774, abs=1e-5)
    assert np.sqrt(sigma2) == pytest.approx(0.34153, abs=1e-5)
    panel = laser_panel(gaas)

    def hyper_of(theta):
        return make_hyper(m=theta[0], s2=theta[1] ** 2, q=theta[2] ** 2, r=1e-10, rho=1.0, w2=1e-10)

    theta, top = largest_loglik(panel, np.array([1.5, 0.6, 0.5]), hyper_of)
    np.testing.assert_allclose(theta, [m, np.sqrt(s2), np.sqrt(sigma2)], rtol=1e-4)
    assert top == pytest.approx(69.0718, abs=1e-3)


def test_one_drift_for_all_lasers_has_its_closed_form_likelihood(gaas):
    """Increments are then independent normals: their log-density, written out."""
    steps = np.diff(gaas, axis=1)
    m, sigma2 = steps.mean() / 0.25, steps.var() / 0.25
    expected = -0.5 * steps.size * (np.log(2 * np.pi * sigma2 * 0.25) + 1)
    hyper = make_hyper(m=m, s2=0.0, q=sigma2, r=1e-12, rho=1.0, w2=1e-12)
    assert expected == pytest.approx(45.520, abs=1e-3)
    assert loglik(laser_panel(gaas), hyper) == pytest.approx(expected, abs=1e-4)


def test_a_tenth_of_the_lasers_fail_by_the_published_time(gaas):
    """Failure at a rise of 10 %: B10 3811 h, median 4893 h, .1560 by 4000 h and .3451 by 4500 h."""
    m, s2, sigma2 = closed_form(gaas)

    def failed(kilohours):
        return 1 - survival_below(*(np.array([v]) for v in (10.0, m, s2, sigma2, kilohours)))[0]

    assert 1000 * brentq(lambda t: failed(t) - 0.1, 2, 6) == pytest.approx(3811, abs=0.5)
    assert 1000 * brentq(lambda t: failed(t) - 0.5, 2, 9) == pytest.approx(4893, abs=0.5)
    state = make_state(0.0, m, 1e-5, np.sqrt(s2))
    hyper = make_hyper(m=m, s2=s2, q=sigma2)
    chance = crossing_probability(state, hyper, Limits(None, 10.0), [[4.0], [4.5]])[:, 0]
    np.testing.assert_allclose(chance, [0.1560, 0.3451], atol=1e-4)
