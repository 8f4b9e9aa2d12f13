"""What a reading will say: a mixture of normals, one for each drift component and each kind of reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from .corridor import Limits, chance_outside
from .recursion import KINDS_VAR, Belief, Law, kinds_of_reading
from .series import FloatArray

_MOST_STEPS = 60
_CLOSE = 1e-10  # of the widest part's standard deviation
_ROOT_2PI = np.sqrt(2.0 * np.pi)
_NO_DENSITY = 1e-30


@dataclass(frozen=True, eq=False)
class ReadingDistribution:
    """Mixture of P normal forecasts of a reading; each field (P, ...), unit of the quantity, weights sum to 1."""

    part_weight: FloatArray
    part_mean: FloatArray
    part_sd: FloatArray

    @property
    def _parts(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        return self.part_weight, self.part_mean, self.part_sd

    @property
    def mean(self) -> FloatArray:
        return np.asarray((self.part_weight * self.part_mean).sum(axis=0))

    @property
    def sd(self) -> FloatArray:
        square = self.part_sd**2 + (self.part_mean - self.mean) ** 2
        return np.asarray(np.sqrt((self.part_weight * square).sum(axis=0)))

    def below(self, value: ArrayLike) -> FloatArray:
        """Chance that the reading is below the value."""
        return np.asarray(
            (self.part_weight * ndtr((np.asarray(value, float) - self.part_mean) / self.part_sd)).sum(axis=0)
        )

    def prob_outside(self, limits: Limits) -> FloatArray:
        """Chance that the reading is below the lower or above the upper limit."""
        outside = chance_outside(self.part_mean, self.part_sd, limits.floor, limits.ceiling)
        return np.asarray((self.part_weight * outside).sum(axis=0))

    def quantile(self, p: ArrayLike) -> FloatArray:
        """The value that the reading stays below with probability p, 0 < p < 1, broadcast against the forecasts.

        Newton's method between the parts' own quantiles, halving the interval where it would leave it.
        """
        share = np.asarray(p, float)
        if not ((share > 0) & (share < 1)).all():
            raise ValueError("p must lie between 0 and 1")
        more = (1,) * max(share.ndim - self.part_mean.ndim + 1, 0)
        weight, mean, sd = (part.reshape(len(part), *more, *part.shape[1:]) for part in self._parts)
        own = mean + sd * ndtri(share)
        low, high, at, close = own.min(axis=0), own.max(axis=0), own[0], _CLOSE * sd.max(axis=0)
        for _ in range(_MOST_STEPS):
            u = (at - mean) / sd
            excess = (weight * ndtr(u)).sum(axis=0) - share
            density = (weight * np.exp(-0.5 * u * u) / sd).sum(axis=0) / _ROOT_2PI
            low, high = np.where(excess > 0, low, at), np.where(excess > 0, at, high)
            there = at - excess / np.maximum(density, _NO_DENSITY)
            there = np.where((there > low) & (there < high), there, 0.5 * (low + high))
            done = not (np.abs(there - at) > close).any()
            at = there
            if done:
                break
        return np.asarray(at)


def reading_of(
    level: Belief, weight: FloatArray, since_years: FloatArray, noise: FloatArray | float, law: Law
) -> ReadingDistribution:
    """A reading of variance `noise` of units whose level is as foretold (C, ...), `since_years` after their last visit.

    It may be regular, an outlier, or taken after a sudden step, unless the law knows neither.
    """
    variance = level.xx + noise
    if law.plain:
        return ReadingDistribution(weight, level.x, np.sqrt(variance))
    kinds = KINDS_VAR.reshape(3, *(1,) * variance.ndim)
    parts = (kinds_of_reading(since_years, law) * weight, level.x + 0.0 * kinds, np.sqrt(variance + law.r * kinds))
    return ReadingDistribution(*(part.reshape(-1, *variance.shape[1:]) for part in parts))
