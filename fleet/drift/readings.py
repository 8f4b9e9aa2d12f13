"""Where a value must stay, and what a reading will say: a mixture of normals, one for each drift component and each
kind of reading."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from .recursion import KINDS_VAR, Belief, Law, kinds_of_reading
from .series import FloatArray

Bound = float | FloatArray


@dataclass(frozen=True, eq=False)
class Limits:
    """Where the true value must stay, unit of the quantity; each a float or one per unit (N,).

    lower, upper : None = no limit on that side; at least one.    target : within them, if given.
    ValueError for limits that are not finite, in the wrong order or don't enclose the target.
    """

    lower: Bound | None
    upper: Bound | None
    target: Bound | None = None

    def __post_init__(self) -> None:
        if self.lower is None and self.upper is None:
            raise ValueError("limits need a lower or an upper bound")
        for name in ("lower", "upper", "target"):
            value = getattr(self, name)
            if value is not None and not np.isfinite(value).all():
                raise ValueError(f"{name} must be finite, or None")
        steps = [np.asarray(v, float) for v in (self.lower, self.target, self.upper) if v is not None]
        if any(not np.all(low < high) for low, high in pairwise(steps)):
            raise ValueError("limits must rise from lower through target to upper")

    def take(self, part: slice) -> Limits:
        """The limits of these units."""
        bounds = (self.lower, self.upper, self.target)
        return Limits(*(bound[part] if isinstance(bound, np.ndarray) else bound for bound in bounds))

    @property
    def floor(self) -> Bound:
        """The lower limit, minus infinity where there is none."""
        return -np.inf if self.lower is None else self.lower

    @property
    def ceiling(self) -> Bound:
        """The upper limit, infinity where there is none."""
        return np.inf if self.upper is None else self.upper


def chance_outside(mean: FloatArray, sd: FloatArray, floor: Bound, ceiling: Bound) -> FloatArray:
    """Chance that a normal value is below the floor or above the ceiling."""
    return np.asarray(ndtr((floor - mean) / sd) + ndtr((mean - ceiling) / sd))


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
        parts = (self.part_weight, self.part_mean, self.part_sd)
        weight, mean, sd = (part.reshape(len(part), *more, *part.shape[1:]) for part in parts)
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
