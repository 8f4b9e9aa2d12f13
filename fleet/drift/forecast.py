"""What a unit will do next: its next reading, its chance of leaving the limits, and when to look again."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .hyper import Hyper
from .model import State
from .passage import chance_of_both, survival_below, survival_between
from .readings import Limits, ReadingDistribution, chance_outside, reading_of
from .recursion import STEP_VAR, Belief, chunks, law_of, predict
from .series import FloatArray

HORIZON_GRID_YEARS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)
"""Nothing is said beyond the last of these."""

_REACH_SD = 5.0
_Q_FLOOR = 1e-6  # of the squared width: below it the path is straight to within 1e-6 of the answer
_NO_TIME_YEARS = 1e-9
_NEGLIGIBLE = 1e-6
_CHUNK = 16384  # cases x nodes that stay in the processor's cache


def reading_distribution(state: State, hyper: Hyper, years: ArrayLike) -> ReadingDistribution:
    """The next reading, `years` after the last visit, if nobody touches the unit before.

    years : >= 0, broadcast against the N units: one value, one per unit, or a column (H, 1) for (H, N).
    Of each drift component mean x + mu h, variance Pxx + 2 h Pxm + h^2 Pmm + q h + r; an outlier, or a reading after
    a sudden step, is further off. NaN for a unit without a level.
    """
    h, law = _checked_years(years), law_of(hyper, state.group_ids.tolist())
    shape = np.broadcast_shapes(h.shape, state.target.shape)
    level = predict(Belief(*(_aligned(part, shape) for part in state.parts)), h, law.q)
    return reading_of(level, _aligned(state.weight, shape), np.broadcast_to(h, shape), law.r, law)


def crossing_probability(
    state: State, hyper: Hyper, limits: Limits, years: ArrayLike, *, nodes: int = 16, hazard: bool = True
) -> FloatArray:
    """Chance that the true value is outside the limits now or leaves them within `years` of the last visit.

    years  : >= 0, broadcast against the N units: one value, one per unit, or a column (H, 1) for (H, N).
    nodes  : Gauss-Legendre nodes over the uncertain present level; 24 for figures that are to be audited.
    hazard : count sudden steps (lam).

    Of each drift component P = P0 + integral over the corridor of N(X; x, Pxx) (1 - S(X)) dX, with P0 the chance
    to be outside now and S(X) the survival from X, whose drift is normal given X (see `passage`); mixed by the
    components' weights. A step takes the level out with p_o, the chance that N(x + mu h/2, variance then + 36 r) is
    outside: P_tot = 1 - (1 - P) exp(-lam h p_o).
    A unit whose estimated level is beyond a limit already has P = 1: it is due now. NaN for a unit without a level.
    The crossing is of the true value at any moment, so it exceeds the share that a visit will find outside:
    compare records with ReadingDistribution.prob_outside.
    """
    h, law = _checked_years(years), law_of(hyper, state.group_ids.tolist())
    shape = np.broadcast_shapes(h.shape, state.target.shape)
    parts = (_aligned(part, shape) for part in (state.weight, *state.parts))
    units = (np.broadcast_to(one, shape) for one in (h, law.q, limits.floor, limits.ceiling))
    cases = _Cases(*(part.reshape(len(part), -1) for part in parts), *(one.ravel() for one in units))
    chance = np.empty(cases.years.size)
    for part in chunks(chance.size, max(_CHUNK // (nodes * len(cases.x)), 1)):
        chance[part] = _crossing(cases.take(part), limits, nodes, hyper.lam if hazard else 0.0, law.r)
    return chance.reshape(shape)


def horizon(
    state: State, hyper: Hyper, limits: Limits, alpha: float, cap_years: ArrayLike
) -> tuple[FloatArray, NDArray[np.str_]]:
    """When the chance of a crossing reaches the accepted risk, and what set that date; both (N,).

    alpha     : accepted risk, 0 < alpha < 1.    cap_years : longest allowed interval, > 0, one or (N,).
    years     : after the last visit. The chance is taken at 0 and on HORIZON_GRID_YEARS and read between them
                by straight lines; no sooner than the first of them unless due now, never later than the cap.
    reached_by: "now"       the chance is reached already (years 0)
                "soonest"   it is reached before the first grid point
                "chance"    it is reached on that date
                "longest"   it is not reached within the grid: say "more than", never a later date
                "cap"       the cap comes first
                "no level"  nothing is known of the unit (years NaN)
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha must lie between 0 and 1, got {alpha}")
    cap = np.broadcast_to(np.asarray(cap_years, float), state.target.shape)
    if not (cap > 0).all():
        raise ValueError("cap_years must be above 0")
    grid = np.array((0.0, *HORIZON_GRID_YEARS))
    chance = crossing_probability(state, hyper, limits, grid[:, None])
    reached = _first_reach(grid, np.maximum.accumulate(chance, axis=0), alpha)
    cases = [
        (np.isnan(state.parts.x[0]), np.nan, "no level"),
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


def _aligned(parts: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """(C, N) as (C, *shape)."""
    spread = parts.reshape(len(parts), *(1,) * (len(shape) - 1), -1)
    return np.broadcast_to(spread, (len(parts), *shape))


def _first_reach(grid: FloatArray, chance: FloatArray, alpha: float) -> FloatArray:
    """Time at which `chance` (rising, (G, N)) reaches alpha, by straight lines; infinity where it doesn't."""
    columns = np.arange(chance.shape[1])
    after = np.clip((chance < alpha).sum(axis=0), 1, len(grid) - 1)
    low, high = chance[after - 1, columns], chance[after, columns]
    rise = np.where(high > low, high - low, 1.0)
    time = grid[after - 1] + (alpha - low) / rise * (grid[after] - grid[after - 1])
    return np.where(high >= alpha, time, np.inf)


class _Cases(NamedTuple):
    """Flat: belief about level and drift (C, M) and its weight; time ahead, wandering, limits (M,), infinite = none."""

    weight: FloatArray
    x: FloatArray
    mu: FloatArray
    xx: FloatArray
    xm: FloatArray
    mm: FloatArray
    years: FloatArray
    q: FloatArray
    floor: FloatArray
    ceiling: FloatArray

    def take(self, part: slice) -> _Cases:
        return _Cases(*(column[..., part] for column in self))


def _crossing(case: _Cases, limits: Limits, nodes: int, lam: float, r: float) -> FloatArray:
    """(M,): the components mixed, then steps."""
    outside = chance_outside(case.x, np.sqrt(case.xx), case.floor, case.ceiling)
    leaves = np.where(case.years > 0, _leaves(case, limits, nodes), 0.0)
    chance = (case.weight * np.clip(outside + (1.0 - outside) * leaves, 0.0, 1.0)).sum(axis=0)
    if lam > 0:
        chance = 1.0 - (1.0 - chance) * np.exp(-lam * case.years * _out_by_a_step(case, r))
    expected = (case.weight * case.x).sum(axis=0)
    return np.where((expected < case.floor) | (expected > case.ceiling), 1.0, np.minimum(chance, 1.0))


def _out_by_a_step(case: _Cases, r: float) -> FloatArray:
    """Chance (M,) that a step half-way takes the level out."""
    then = predict(Belief(case.x, case.mu, case.xx, case.xm, case.mm), 0.5 * case.years, case.q)
    out = chance_outside(then.x, np.sqrt(then.xx + STEP_VAR * r), case.floor, case.ceiling)
    return np.asarray((case.weight * out).sum(axis=0))


def _leaves(case: _Cases, limits: Limits, nodes: int) -> FloatArray:
    """Chance (C, M) to leave the limits for one that is within them now."""
    x, mu, xx, xm, mm = (part.ravel() for part in case[1:6])
    years, q, floor, ceiling = (np.tile(column, len(case.x)) for column in case[6:])
    level, share = _corridor(x, np.sqrt(xx), floor, ceiling, nodes)
    slope = xm / xx
    drift, drift_var = mu + slope * (level - x), np.maximum(mm - xm * slope, 0.0)
    years = np.maximum(years, _NO_TIME_YEARS)
    if limits.lower is not None and limits.upper is not None:
        width = ceiling - floor
        path = (level - floor, width, drift, drift_var, np.maximum(q, _Q_FLOOR * width**2), years)
        survival = _survival_between(path, share)
    else:
        sign, limit = (1.0, ceiling) if limits.lower is None else (-1.0, floor)
        wander = np.maximum(q, _Q_FLOOR * (np.abs(limit - x) + np.sqrt(xx)) ** 2)
        survival = survival_below(sign * (limit - level), sign * drift, drift_var, wander, years)
    return np.asarray(((1.0 - survival) * share).sum(axis=0)).reshape(case.x.shape)


def _survival_between(path: tuple[FloatArray, ...], share: FloatArray) -> FloatArray:
    """As `survival_between`; where a path can hardly reach both limits, each is taken alone: three times as fast."""
    apart = (share * chance_of_both(*path)).sum(axis=0) < _NEGLIGIBLE
    survival = np.empty(share.shape)
    start, width, drift, *rest = (column[..., apart] for column in path)
    survival[:, apart] = survival_below(width - start, drift, *rest) + survival_below(start, -drift, *rest) - 1.0
    if not apart.all():
        survival[:, ~apart] = survival_between(*(column[..., ~apart] for column in path))
    return survival


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
