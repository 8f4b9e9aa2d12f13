"""The fleet's and its groups' hyper-parameters from the records: likelihood of all units times priors, at its top.

Empirical Bayes: Efron, Large-Scale Inference (2010), chapter 1 [chapter from memory]. Log variances and their
normal priors keep the numbers apart where the visits alone can't (see Prior.log_r_sd).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

from .adjoint import loglik_and_slope
from .draft import Draft, Sample, capped, numbered
from .groups import refine
from .hyper import FITTED, Hyper, Prior
from .recursion import components, shares, walk
from .series import FloatArray, Panel

MAX_SERIES_IN_FIT = 4000
"""The fleet's numbers come from at most this many series, drawn at random: more narrow them no further."""

MAX_SERIES_IN_GROUP = 200
"""A group's numbers come from at most this many of its series, drawn at random."""

_CLOSENESS = (1e-3, 1e-3, 1e-4)
"""Slope of the loss per series at which each round's search ends: only the last needs to be exact."""


def fit(
    panel: Panel,
    prior: Prior,
    *,
    warm: Hyper | None = None,
    seed: int = 0,
    robust: bool = True,
    mixture: bool = True,
    groups: bool = True,
) -> Hyper:
    """The hyper-parameters that best explain the panel, under the prior (marginal MAP).

    warm    : start from these, e.g. last night's.    seed : of the series drawn where there are too many.
    robust  : outliers and steps (e_o, lam).    mixture : fast units (pi).    groups : a law for each group.
              False leaves that part out, its numbers at 0.

    Three rounds of: the fleet's numbers by L-BFGS-B given the groups; one EM step for e_o and lam; one Newton
    step for every group at once. Uses the series with a reading after their start; ValueError if there is none.
    With fewer than MIN_SERIES_FOR_FIT the prior speaks louder than the records: see `n_series`.
    """
    series = panel.scored
    if not series.size:
        raise ValueError("panel holds no series with a reading after its first visit")
    rng = np.random.default_rng(seed)
    names, group_of = numbered(panel.group_ids if groups else [""] * panel.n_units, series)
    draft = Draft.begin(prior, names if groups else (), warm, robust, mixture)
    drawn = np.sort(rng.choice(series.size, min(series.size, MAX_SERIES_IN_FIT), replace=False))
    fleet_sample = Sample.of(panel, series[drawn], group_of[drawn])
    if groups:
        members = capped(group_of, MAX_SERIES_IN_GROUP, rng)
        group_sample = Sample.of(panel, series[members], group_of[members])
    for closeness in _CLOSENESS:
        draft = _refit(draft, fleet_sample, drawn.size, closeness)
        if robust:
            draft = _rare(draft, fleet_sample)
        if groups:
            draft = refine(draft, group_sample)
    return replace(draft.hyper(drawn.size), basis=FITTED)


# theta = (m / tau0, log s2, log q, log r, rho, log w2, logit pi), logs relative to log tau0^2: free of the unit.
_LOGS = [1, 2, 3, 5]
_PI_BOUND = -9.0
_NO_GAIN = 1e-9


def _bounds(prior: Prior) -> list[tuple[float, float]]:
    log = (-prior.log_bound, prior.log_bound)
    return [(-np.inf, np.inf), log, log, log, (0.0, prior.rho_max), log, (_PI_BOUND, 0.0)]


def _theta(fleet: Hyper) -> FloatArray:
    prior = fleet.prior
    log_s2, log_q, log_r, log_w2 = np.log(np.array([fleet.s2, fleet.q, fleet.r, fleet.w2]) / prior.tau0**2)
    pi = fleet.pi or prior.pi_mean
    return np.array([fleet.m / prior.tau0, log_s2, log_q, log_r, fleet.rho, log_w2, logit(pi)])


def _placed(draft: Draft, theta: FloatArray) -> Draft:
    """The draft with its fleet's numbers at theta."""
    prior = draft.fleet.prior
    natural = theta.copy()
    natural[0] *= prior.tau0
    natural[_LOGS] = prior.tau0**2 * np.exp(theta[_LOGS])
    pi = float(expit(theta[6])) if draft.fleet.pi else 0.0
    m, s2, q, r, rho, w2 = map(float, natural[:6])
    return draft.moved(m, s2, q, r, rho, w2, pi)


def _refit(draft: Draft, sample: Sample, n_series: int, closeness: float) -> Draft:
    """The fleet's numbers at the top of the posterior, the groups keeping their place relative to them."""
    prior = draft.fleet.prior
    best = minimize(
        lambda theta: loss_and_slope(theta, draft, sample, n_series),
        np.clip(_theta(draft.fleet), *np.array(_bounds(prior)).T),
        jac=True,
        method="L-BFGS-B",
        options={"gtol": closeness, "ftol": _NO_GAIN},
        bounds=_bounds(prior),
    )
    return _placed(draft, best.x)


def loss_and_slope(theta: FloatArray, draft: Draft, sample: Sample, n_series: int) -> tuple[float, FloatArray]:
    """Minus the log posterior at theta, up to a constant, per series; and its derivatives."""
    at = _placed(draft, theta)
    fleet, prior = at.fleet, at.fleet.prior
    kappa, share = components(fleet)
    loss, slope = 0.0, np.zeros(theta.size)
    for visits, group_of in sample.chunks:
        loglik, by = loglik_and_slope(visits, at.law(group_of))
        _m, s2, q, _v = at.groups[group_of].T
        loss -= loglik.sum()
        slope -= (
            prior.tau0 * by.m.sum(),
            (kappa**2 * s2 * by.s2).sum(),
            (q * by.q).sum(),
            fleet.r * by.r.sum(),
            by.rho.sum(),
            fleet.w2 * by.w2.sum(),
            by.share[-1] - share[-1, 0] * by.share.sum(),
        )
    centre = np.array([0.0, 0.0, 0.0, 0.0, prior.rho_mean, 0.0, logit(prior.pi_mean)])
    precision = np.array(
        [
            0.0,
            *(sd**-2 for sd in (prior.log_s2_sd, prior.log_q_sd, prior.log_r_sd, prior.rho_sd, prior.log_w2_sd)),
            prior.logit_pi_sd**-2,
        ]
    )
    away = precision * (theta - centre)
    return float(loss + 0.5 * (away * (theta - centre)).sum()) / n_series, (slope + away) / n_series


def _rare(draft: Draft, sample: Sample) -> Draft:
    """One EM step: the expected share of outliers among the readings, and of steps in the years."""
    outliers = steps = readings = years = 0.0
    for visits, group_of in sample.chunks:
        for each in walk(visits, draft.law(group_of)):
            seen, reading = each.visit.seen, each.reading
            chance = shares(each.log_weight_before + reading.score) * seen
            outliers += float((chance * reading.weight[1]).sum())
            steps += float((chance * reading.weight[2]).sum())
            readings += float(seen.sum())
            years += float(each.visit.dt[seen].sum())
    prior = draft.fleet.prior
    e_o = (outliers + prior.rare_events) / (readings + prior.rare_exposure)
    lam = (steps + prior.rare_events) / (years + prior.rare_exposure)
    return replace(draft, fleet=replace(draft.fleet, e_o=e_o, lam=lam))
