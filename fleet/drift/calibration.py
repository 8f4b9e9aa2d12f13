"""How accurate a forecast was: what was expected of each reading beside what was found."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv

from .hyper import Hyper
from .readings import Limits, reading_of
from .recursion import chunks, law_of, shares, visits_of, walk
from .series import BoolArray, FloatArray, IntArray, Panel

EDGES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)

FALSE_ALARM = 0.05
"""Chance that an accurate table has any bin off: each of its B filled bins is tested at this over B."""

TOO_FAR = 3.3
"""Standard errors past which a mean or a spread is off: a chance of .001."""

DOUBTFUL = 0.5
"""Readings more likely than this an outlier or after a step are left out of the surprises; the table has them."""

MATTERS = 0.1
"""Smallest error of mean or spread of z, in standard deviations, that is told: many readings show less."""


@dataclass(frozen=True, eq=False)
class Reliability:
    """Forecast chances in B bins, beside what was found.

    edges    : (B + 1,).                     count, outside : (B,) readings, and those found outside.
    forecast : (B,) mean chance forecast.    share, share_low, share_high : (B,) found, with its interval.
    off      : (B,) the forecast is outside the interval at confidence 1 - FALSE_ALARM / filled bins.
    An empty bin has NaN shares and the interval 0 to 1.
    """

    edges: FloatArray
    count: IntArray
    outside: IntArray
    forecast: FloatArray
    share: FloatArray
    share_low: FloatArray
    share_high: FloatArray
    off: BoolArray


@dataclass(frozen=True)
class Surprises:
    """Standardised surprises: count, mean and standard deviation (NaN of fewer than two)."""

    n: int
    mean: float
    sd: float

    @classmethod
    def of(cls, z: FloatArray) -> Surprises:
        """NaN is left out."""
        known = z[np.isfinite(z)]
        return cls(known.size, *((float(known.mean()), float(known.std(ddof=1))) if known.size > 1 else (np.nan,) * 2))

    @property
    def mean_off(self) -> bool:
        """|mean| sqrt(n) > TOO_FAR, and |mean| > MATTERS."""
        return bool(abs(self.mean) * np.sqrt(self.n) > TOO_FAR and abs(self.mean) > MATTERS)

    @property
    def spread_off(self) -> bool:
        """|sd - 1| sqrt(2 n) > TOO_FAR, and |sd - 1| > MATTERS."""
        return bool(abs(self.sd - 1.0) * np.sqrt(2 * self.n) > TOO_FAR and abs(self.sd - 1.0) > MATTERS)


@dataclass(frozen=True, eq=False)
class Calibration:
    """Reliability of P(reading outside), and the surprises of all regular readings and of those under each label."""

    reliability: Reliability
    surprises: Surprises
    by_label: Mapping[Hashable, Surprises] = field(default_factory=dict)

    @property
    def n(self) -> int:
        return self.surprises.n

    @property
    def z_mean(self) -> float:
        return self.surprises.mean

    @property
    def z_sd(self) -> float:
        return self.surprises.sd

    @property
    def lost(self) -> bool:
        """The alarm: a bin is off, or mean or spread of all surprises is."""
        return bool(self.reliability.off.any()) or self.surprises.mean_off or self.surprises.spread_off


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
    expected = _share(np.bincount(bins, chance, limits.size - 1), count)
    low, high = _binomial_interval(hits, count, confidence)
    strict_low, strict_high = _binomial_interval(hits, count, 1.0 - FALSE_ALARM / max((count > 0).sum(), 1))
    off = (expected < strict_low) | (expected > strict_high)
    return Reliability(limits, count, hits, expected, _share(hits, count), low, high, off)


def chances(panel: Panel, hyper: Hyper, limits: Limits) -> FloatArray:
    """(K, N) chance of each reading to be outside the limits, as forecast from the visits before it.

    NaN where there is no reading.
    """
    law, chance = law_of(hyper, panel.group_ids), np.full(panel.dt_years.shape, np.nan)
    for part in chunks(panel.n_units):
        here, within = law.take(part), limits.take(part)
        for k, each in enumerate(walk(visits_of(panel, part), here), start=1):
            visit = each.visit
            noise = here.r * visit.noise_scale
            expected = reading_of(each.ahead, shares(each.log_weight_before), visit.dt, noise, here)
            chance[k, part] = np.where(visit.seen, np.clip(expected.prob_outside(within), 0.0, 1.0), np.nan)
    return chance


def _share(part: ArrayLike, count: IntArray) -> FloatArray:
    share: FloatArray = np.divide(part, count, out=np.full(count.shape, np.nan), where=count > 0)
    return share


def _binomial_interval(hits: IntArray, count: IntArray, confidence: float) -> tuple[FloatArray, FloatArray]:
    tail = 0.5 * (1.0 - confidence)
    low = np.where(hits > 0, betaincinv(np.maximum(hits, 1), count - hits + 1, tail), 0.0)
    high = np.where(hits < count, betaincinv(hits + 1, np.maximum(count - hits, 1), 1.0 - tail), 1.0)
    return low, high
