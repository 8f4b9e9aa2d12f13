"""What a unit will do next: its next reading, its chance of leaving the limits, and when to look again."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from .hyper import Hyper
from .model import State
from .passage import survival_below, survival_between
from .series import FloatArray

Bound = float | FloatArray

HORIZON_GRID_YEARS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)
"""Nothing is said beyond the last of these."""

_REACH_SD = 6.0
_Q_FLOOR = 1e-6  # of the squared width: below it the path is straight to within 1e-6 of the answer
_NO_TIME_YEARS = 1e-9
_CHUNK = 4096  # elements x nodes that stay in the processor's cache


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

    @property
    def floor(self) -> Bound:
        """The lower limit, minus infinity where there is none."""
        return -np.inf if self.lower is None else self.lower

    @property
    def ceiling(self) -> Bound:
        """The upper limit, infinity where there is none."""
        return np.inf if self.upper is None else self.upper


@dataclass(frozen=True, eq=False)
class ReadingDistribution:
    """Normal forecast of a reading: mean and standard deviation, unit of the quantity, any shape."""

    mean: FloatArray
    sd: FloatArray

    def quantile(self, p: ArrayLike) -> FloatArray:
        """The value that the reading stays below with probability p, 0 < p < 1."""
        share = np.asarray(p, float)
        if not ((share > 0) & (share < 1)).all():
            raise ValueError("p must lie between 0 and 1")
        return np.asarray(self.mean + self.sd * ndtri(share))

    def prob_outside(self, limits: Limits) -> FloatArray:
        """Chance that the reading is below the lower or above the upper limit."""
        return _outside(self.mean, self.sd, limits.floor, limits.ceiling)


def reading_distribution(state: State, hyper: Hyper, years: ArrayLike) -> ReadingDistribution:
    """The next reading, `years` after the last visit, if nobody touches the unit before.

    years : >= 0, broadcast against the N units: one value, one per unit, or a column (H, 1) for (H, N).
    Mean x + mu h; variance Pxx + 2 h Pxm + h^2 Pmm + q h + r. NaN for a unit without a level.
    """
    h = _checked_years(years)
    variance = state.Pxx + h * (2.0 * state.Pxm + h * state.Pmm + hyper.q) + hyper.r
    return ReadingDistribution(state.x + state.mu * h, np.sqrt(variance))


def crossing_probability(
    state: State, hyper: Hyper, limits: Limits, years: ArrayLike, *, nodes: int = 16
) -> FloatArray:
    """Chance that the true value is outside the limits now or leaves them within `years` of the last visit.

    years : >= 0, broadcast against the N units: one value, one per unit, or a column (H, 1) for (H, N).
    nodes : Gauss-Legendre nodes over the uncertain present level; 24 for figures that are to be audited.
            Largest error measured with 16: 5e-4 at q years / width^2 = 0.0075, 3e-3 at 0.0015 (24: 8e-4).

    P = P0 + integral over the corridor of N(X; x, Pxx) (1 - S(X)) dX, with P0 the chance to be outside now
    and S(X) the survival from X, whose drift is normal given X (see `passage`). A unit whose estimated level
    is beyond a limit already has P = 1: it is due now. NaN for a unit without a level.
    The crossing is of the true value at any moment, so it exceeds the share that a visit will find outside:
    compare records with ReadingDistribution.prob_outside.
    """
    h = _checked_years(years)
    grids = np.broadcast_arrays(h, state.x, state.mu, state.Pxx, state.Pxm, state.Pmm, limits.floor, limits.ceiling)
    flat = [np.asarray(grid, float).ravel() for grid in grids]
    chance = np.empty(flat[0].size)
    for start in range(0, chance.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        chance[part] = _crossing(_Cases._make(column[part] for column in flat), hyper.q, limits, nodes)
    return chance.reshape(grids[0].shape)


def horizon(
    state: State, hyper: Hyper, limits: Limits, alpha: float, cap_years: ArrayLike
) -> tuple[FloatArray, NDArray[np.str_]]:
    """When the chance of a crossing reaches the accepted chance, and what set that date; both (N,).

    alpha     : accepted chance, 0 < alpha < 1.    cap_years : longest allowed interval, > 0, one or (N,).
    years     : after the last visit. The chance is taken at 0 and on HORIZON_GRID_YEARS and read between them
                by straight lines; no sooner than the first of them unless due now, never later than the cap.
    binding   : "now"       the chance is reached already (years 0)
                "soonest"   it is reached before the first grid point
                "chance"    it is reached on that date
                "longest"   it is not reached within the grid: say "more than", never a later date
                "cap"       the cap comes first
                "no level"  nothing is known of the unit (years NaN)
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha must lie between 0 and 1, got {alpha}")
    cap = np.broadcast_to(np.asarray(cap_years, float), state.x.shape)
    if not (cap > 0).all():
        raise ValueError("cap_years must be above 0")
    grid = np.array((0.0, *HORIZON_GRID_YEARS))
    chance = crossing_probability(state, hyper, limits, grid[:, None])
    reached = _first_reach(grid, np.maximum.accumulate(chance, axis=0), alpha)
    cases = [
        (np.isnan(state.x), np.nan, "no level"),
        (chance[0] >= alpha, 0.0, "now"),
        (cap <= np.maximum(np.minimum(reached, grid[-1]), grid[1]), cap, "cap"),
        (reached <= grid[1], grid[1], "soonest"),
        (np.isinf(reached), grid[-1], "longest"),
    ]
    holds = [case[0] for case in cases]
    years = np.select(holds, [np.broadcast_to(case[1], cap.shape) for case in cases], reached)
    return years, np.select(holds, [np.full(cap.shape, case[2]) for case in cases], "chance")


def _checked_years(years: ArrayLike) -> FloatArray:
    h = np.asarray(years, float)
    if not (np.isfinite(h) & (h >= 0)).all():
        raise ValueError("years must be finite and not negative")
    return h


def _outside(mean: FloatArray, sd: FloatArray, floor: Bound, ceiling: Bound) -> FloatArray:
    return np.asarray(ndtr((floor - mean) / sd) + ndtr((mean - ceiling) / sd))


def _first_reach(grid: FloatArray, chance: FloatArray, alpha: float) -> FloatArray:
    """Time at which `chance` (rising, (G, N)) reaches alpha, by straight lines; infinity where it doesn't."""
    columns = np.arange(chance.shape[1])
    after = np.clip((chance < alpha).sum(axis=0), 1, len(grid) - 1)
    low, high = chance[after - 1, columns], chance[after, columns]
    rise = np.where(high > low, high - low, 1.0)
    time = grid[after - 1] + (alpha - low) / rise * (grid[after] - grid[after - 1])
    return np.where(high >= alpha, time, np.inf)


class _Cases(NamedTuple):
    """Flat arrays (M,): time ahead, belief about level and drift, limits (infinite where there is none)."""

    years: FloatArray
    x: FloatArray
    mu: FloatArray
    xx: FloatArray
    xm: FloatArray
    mm: FloatArray
    floor: FloatArray
    ceiling: FloatArray


def _crossing(case: _Cases, q: float, limits: Limits, nodes: int) -> FloatArray:
    sd = np.sqrt(case.xx)
    level, weight = _corridor(case.x, sd, case.floor, case.ceiling, nodes)
    leaves = (weight * (1.0 - _survival(case, level, q, limits))).sum(axis=0)
    outside = _outside(case.x, sd, case.floor, case.ceiling)
    chance = np.clip(outside + (1.0 - outside) * np.where(case.years > 0, leaves, 0.0), 0.0, 1.0)
    return np.where((case.x < case.floor) | (case.x > case.ceiling), 1.0, chance)


def _survival(case: _Cases, level: FloatArray, q: float, limits: Limits) -> FloatArray:
    """Chance (nodes, M) to stay within the limits from each level: given the level, the drift is normal."""
    slope = case.xm / case.xx
    drift, drift_var = case.mu + slope * (level - case.x), np.maximum(case.mm - case.xm * slope, 0.0)
    years = np.maximum(case.years, _NO_TIME_YEARS)
    if limits.lower is not None and limits.upper is not None:
        width = case.ceiling - case.floor
        wander = np.maximum(q, _Q_FLOOR * width**2)
        return survival_between(level - case.floor, width, drift, drift_var, wander, years)
    sign, limit = (1.0, case.ceiling) if limits.lower is None else (-1.0, case.floor)
    wander = np.maximum(q, _Q_FLOOR * (np.abs(limit - case.x) + np.sqrt(case.xx)) ** 2)
    return survival_below(sign * (limit - level), sign * drift, drift_var, wander, years)


def _corridor(
    x: FloatArray, sd: FloatArray, floor: FloatArray, ceiling: FloatArray, nodes: int
) -> tuple[FloatArray, FloatArray]:
    """Levels (nodes, M) inside the limits and their weights under N(x, sd^2), which sum to 1."""
    point, share = _gauss_legendre(nodes)
    low = np.clip(x - _REACH_SD * sd, floor, ceiling)
    high = np.clip(x + _REACH_SD * sd, floor, ceiling)
    level = low + (high - low) * point
    log_density = -0.5 * ((level - x) / sd) ** 2
    weight = share * np.exp(log_density - log_density.max(axis=0))
    return level, weight / weight.sum(axis=0)


@lru_cache(maxsize=8)
def _gauss_legendre(nodes: int) -> tuple[FloatArray, FloatArray]:
    """Points within (0, 1) and shares that sum to 1, both (nodes, 1)."""
    if nodes < 2:
        raise ValueError(f"nodes must be at least 2, got {nodes}")
    point, share = np.polynomial.legendre.leggauss(nodes)
    return 0.5 * (1.0 + point[:, None]), 0.5 * share[:, None]
