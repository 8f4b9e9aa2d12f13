"""The numbers of every group at once: one step of Newton's method, group by group on the diagonal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .draft import Draft, Sample
from .model import series_loglik
from .recursion import law_from
from .series import FloatArray

_STEP = (1.0 / 6.0, 0.1, 0.1)  # of m / tau0, log s2, log q: for the differences
_LONGEST = (2.5, 0.7, 0.7)
_EM_STEPS = 30  # of two numbers given the groups' curvatures: no pass over the records
_PSEUDO_GROUPS = 1.0


def refine(draft: Draft, sample: Sample) -> Draft:
    """m, then s2 and q of each group moved towards their most likely values; with them the fleet's m, s2, q, om2.

    Priors: m_g ~ N(m, om2), log s2_g and log q_g about the fleet's. m and om2 by EM over the groups, as if there
    were one more group off by the drifts' own spread: a single group tells nothing about the next one.
    """
    return _refine_spreads(_refine_means(draft, sample), sample)


def _refine_means(draft: Draft, sample: Sample) -> Draft:
    fleet, m = draft.fleet, draft.groups[:, 0]
    longest = _LONGEST[0] * fleet.prior.tau0
    (score,), (information,) = _slopes(draft, sample, [0])
    centre, om2 = fleet.m, fleet.om2
    for _ in range(_EM_STEPS):
        centre = _centre(m, score, information, om2, centre)
        precision = information + 1.0 / om2
        away = (information * m + score + centre / om2) / precision - centre
        om2 = ((away**2 + 1.0 / precision).sum() + _PSEUDO_GROUPS * fleet.s2) / (m.size + _PSEUDO_GROUPS)
    precision = information + 1.0 / om2
    step = (score - (m - centre) / om2) / precision
    groups = draft.groups.copy()
    groups[:, 0], groups[:, 3] = m + np.clip(step, -longest, longest), 1.0 / precision
    return replace(draft, fleet=replace(fleet, m=float(centre), om2=float(om2)), groups=groups)


def _refine_spreads(draft: Draft, sample: Sample) -> Draft:
    prior, groups = draft.fleet.prior, draft.groups.copy()
    sd = (prior.log_s2_group_sd, prior.log_q_group_sd)
    centres = []
    slopes = _slopes(draft, sample, [1, 2])
    now = (draft.fleet.s2, draft.fleet.q)
    for column, score, information, width, standing in zip((1, 2), *slopes, sd, now, strict=True):
        log, longest = np.log(groups[:, column]), _LONGEST[column]
        centre = _centre(log, score, information, width**2, np.log(standing))
        step = (score - (log - centre) / width**2) / (information + width**-2)
        groups[:, column] = np.exp(log + np.clip(step, -longest, longest))
        centres.append(float(np.exp(centre)))
    return replace(draft, fleet=replace(draft.fleet, s2=centres[0], q=centres[1]), groups=groups)


def _centre(at: FloatArray, score: FloatArray, information: FloatArray, variance: float, standing: float) -> float:
    """Mean of the groups' numbers that vary about it by `variance`, each likelihood the parabola it nearly is.

    The standing one where no group tells anything.
    """
    reliance = information / (1.0 + variance * information)
    known = reliance > 0
    if not known.any():
        return standing
    return float((reliance * at + np.where(known, score / (1.0 + variance * information), 0.0)).sum() / reliance.sum())


def _slopes(draft: Draft, sample: Sample, which: list[int]) -> tuple[FloatArray, FloatArray]:
    """First derivative of each group's log-likelihood by m, log s2 or log q, and minus the second, not below 0.

    (W, G) each, by central differences of all groups' sums together: 1 + 2 W passes over the sample. The first is
    held to what the second can carry: where a group's likelihood is no parabola, its top is within _LONGEST.
    """
    scale = np.array([draft.fleet.prior.tau0, 1.0, 1.0])
    step = np.array(_STEP) * scale
    shifts = np.diag(step)[which]
    middle, *sums = (_logliks(draft, sample, shift) for shift in (np.zeros(3), *shifts, *-shifts))
    up, down, width = np.array(sums[: len(which)]), np.array(sums[len(which) :]), step[which][:, None]
    information = np.maximum(2.0 * middle - up - down, 0.0) / width**2
    furthest = information * (np.array(_LONGEST) * scale)[which][:, None]
    return np.clip((up - down) / (2.0 * width), -furthest, furthest), information


def _logliks(draft: Draft, sample: Sample, shift: FloatArray) -> FloatArray:
    """(G,) log-likelihood of each group's series with its m, log s2 and log q shifted."""
    m, s2, q, _v = draft.groups.T
    figures = np.column_stack([m + shift[0], s2 * np.exp(shift[1]), q * np.exp(shift[2]), np.zeros(m.size)])
    total = np.zeros(m.size)
    for visits, group_of in sample.chunks:
        total += np.bincount(group_of, series_loglik(visits, law_from(draft.fleet, figures[group_of])), m.size)
    return total
