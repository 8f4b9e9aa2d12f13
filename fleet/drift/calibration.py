"""Was the forecast honest: what was expected of each reading beside what was found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv

from .forecast import Limits, ReadingDistribution
from .hyper import Hyper
from .model import innovations
from .series import FloatArray, IntArray, Panel

EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True, eq=False)
class Reliability:
    """Forecast chances in B bins, beside what was found.

    edges    : (B + 1,).                     count, outside : (B,) readings, and those found outside.
    forecast : (B,) mean chance forecast.    share, share_low, share_high : (B,) found, with its interval.
    An empty bin has NaN shares and the interval 0 to 1.
    """

    edges: FloatArray
    count: IntArray
    outside: IntArray
    forecast: FloatArray
    share: FloatArray
    share_low: FloatArray
    share_high: FloatArray


@dataclass(frozen=True, eq=False)
class Calibration:
    """Reliability of P(reading outside) and the standardised surprises: count, mean, standard deviation."""

    reliability: Reliability
    n: int
    z_mean: float
    z_sd: float


def reliability(
    forecast: ArrayLike, outside: ArrayLike, *, edges: ArrayLike = EDGES, confidence: float = 0.95
) -> Reliability:
    """Table of forecast chances (M,) against what was found outside (M,), with exact binomial intervals.

    Intervals: Clopper & Pearson, Biometrika 26 (1934) 404-413, as quantiles of the beta distribution.
    ValueError for chances that are not within the edges.
    """
    chance, found = np.asarray(forecast, float), np.asarray(outside, bool)
    limits = np.asarray(edges, float)
    if not ((chance >= limits[0]) & (chance <= limits[-1])).all():
        raise ValueError("forecast must lie within the edges")
    bins = np.clip(np.searchsorted(limits, chance, side="right") - 1, 0, limits.size - 2)
    count = np.bincount(bins, minlength=limits.size - 1)
    hits = np.bincount(bins, found, limits.size - 1).astype(np.intp)
    expected = np.bincount(bins, chance, limits.size - 1)
    low, high = _binomial_interval(hits, count, confidence)
    return Reliability(limits, count, hits, _share(expected, count), _share(hits, count), low, high)


def calibrate(panel: Panel, hyper: Hyper, limits: Limits) -> Calibration:
    """Each reading of the panel as forecast from the visits before it, against what was found.

    Honest only for readings that did not take part in fitting `hyper`.
    """
    expected = innovations(panel, hyper)
    scored = np.isfinite(expected.z)
    chance = ReadingDistribution(expected.mean, expected.sd).prob_outside(limits)[scored]
    outside = ((panel.as_found < limits.floor) | (panel.as_found > limits.ceiling))[scored]
    z = expected.z[scored]
    mean, sd = (float(z.mean()), float(z.std(ddof=1))) if z.size > 1 else (float("nan"), float("nan"))
    return Calibration(reliability(chance, outside), z.size, mean, sd)


def _share(part: ArrayLike, count: IntArray) -> FloatArray:
    share: FloatArray = np.divide(part, count, out=np.full(count.shape, np.nan), where=count > 0)
    return share


def _binomial_interval(hits: IntArray, count: IntArray, confidence: float) -> tuple[FloatArray, FloatArray]:
    tail = 0.5 * (1.0 - confidence)
    low = np.where(hits > 0, betaincinv(np.maximum(hits, 1), count - hits + 1, tail), 0.0)
    high = np.where(hits < count, betaincinv(hits + 1, np.maximum(count - hits, 1), 1.0 - tail), 1.0)
    return low, high
