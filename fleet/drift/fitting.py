"""The fleet's hyper-parameters from its records: the joint likelihood of all units times priors, at its top.

Empirical Bayes: Efron, Large-Scale Inference (2010), chapter 1 [chapter from memory]. Log variances and their
normal priors keep the six numbers apart where the visits alone can't (see Prior.log_r_sd).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from .hyper import Hyper, Prior
from .model import Parameters, Visit, batch_loglik, visits_of
from .series import FloatArray, Panel

MAX_SERIES_IN_FIT = 4000
"""A fit uses at most this many series, drawn at random: more narrow six numbers no further."""


def fit(panel: Panel, prior: Prior, *, warm: Hyper | None = None, seed: int = 0) -> Hyper:
    """The hyper-parameters that best explain the panel, under the prior (marginal MAP).

    Uses the series with a reading after their start, at most MAX_SERIES_IN_FIT drawn with `seed`; L-BFGS-B
    from `warm`, or from the centre of the prior. ValueError if there is no such series. With fewer than
    MIN_SERIES_FOR_FIT the prior speaks louder than the records: see `n_series`.
    """
    series = panel.scored
    if not series.size:
        raise ValueError("panel holds no series with a reading after its first visit")
    chosen = series
    if series.size > MAX_SERIES_IN_FIT:
        chosen = np.sort(np.random.default_rng(seed).choice(series, MAX_SERIES_IN_FIT, replace=False))
    visits = visits_of(panel.take(chosen))
    start = _theta(warm, prior) if warm else np.array([0.0, 0.0, 0.0, 0.0, prior.rho_mean, 0.0])
    best = minimize(
        _value_and_gradient,
        start,
        args=(visits, prior, chosen.size),
        jac=True,
        method="L-BFGS-B",
        bounds=_bounds(prior),
    )
    return _hyper(best.x, prior, int(chosen.size))


# theta = (m / tau0, log s2, log q, log r, rho, log w2), logs relative to log tau0^2: free of the unit.
_LOGS = [1, 2, 3, 5]
_DIFFERENCE = 1e-4


def _bounds(prior: Prior) -> list[tuple[float | None, float | None]]:
    log = (-prior.log_bound, prior.log_bound)
    return [(None, None), log, log, log, (0.0, prior.rho_max), log]


def _theta(hyper: Hyper, prior: Prior) -> FloatArray:
    tiny = np.exp(-prior.log_bound)
    logs = (np.log(max(v / prior.tau0**2, tiny)) for v in (hyper.s2, hyper.q, hyper.r, hyper.w2))
    log_s2, log_q, log_r, log_w2 = logs
    return np.array([hyper.m / prior.tau0, log_s2, log_q, log_r, hyper.rho, log_w2])


def _natural(theta: FloatArray, prior: Prior) -> FloatArray:
    """m, s2, q, r, rho, w2 from theta of shape (6, ...)."""
    natural = theta.copy()
    natural[0] *= prior.tau0
    natural[_LOGS] = prior.tau0**2 * np.exp(theta[_LOGS])
    return natural


def _hyper(theta: FloatArray, prior: Prior, n_series: int) -> Hyper:
    m, s2, q, r, rho, w2 = (float(value) for value in _natural(theta, prior))
    return Hyper(m, s2, q, r, rho, w2, n_series, prior)


def _log_prior(theta: FloatArray, prior: Prior) -> FloatArray:
    """Up to a constant; flat in m."""
    centre = np.array([0.0, 0.0, 0.0, prior.rho_mean, 0.0])[:, None]
    sd = np.array([prior.log_s2_sd, prior.log_q_sd, prior.log_r_sd, prior.rho_sd, prior.log_w2_sd])[:, None]
    return np.asarray(-0.5 * (((theta[1:] - centre) / sd) ** 2).sum(axis=0))


def _value_and_gradient(
    theta: FloatArray, visits: list[Visit], prior: Prior, n_series: int
) -> tuple[float, FloatArray]:
    """Minus the log posterior per series, and its central differences, all in one pass over the visits."""
    shifts = _DIFFERENCE * np.eye(theta.size)
    batch = theta[:, None] + np.hstack([np.zeros((theta.size, 1)), shifts, -shifts])
    m, s2, q, r, rho, w2 = _natural(batch, prior)[:, :, None]
    p = Parameters(m, s2, q, r, rho, w2, prior.missing_left_sd**2)
    loss = -(batch_loglik(visits, p) + _log_prior(batch, prior)) / n_series
    up, down = loss[1 : theta.size + 1], loss[theta.size + 1 :]
    return float(loss[0]), (up - down) / (2.0 * _DIFFERENCE)
