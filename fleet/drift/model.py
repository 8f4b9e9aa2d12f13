"""What a unit's readings tell about its level and its drift, given what the fleet has taught.

Between visits the true value moves as dx = mu dt + sigma dW; a reading is y = x + e. Each unit has a drift mu
of its own, drawn from the fleet's N(m, s2). After an adjustment x | y_left ~ N(T + rho (y_left - T), w2): the
technician aims at the target T and the analyser errs, so the as-left reading is believed only by the share
rho. The fleet's m, s2, q = sigma^2, r = Var e, rho and w2 are in `hyper`, how they are learned in `fitting`.

Kalman filter and its likelihood: Harvey, Forecasting, Structural Time Series Models and the Kalman Filter
(1989), chapter 3; diffuse start: Durbin & Koopman, Time Series Analysis by State Space Methods (2nd ed.,
2012), chapter 5. [Chapters from memory.] The reset law is our own: the regression of a setting on its noisy
reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .hyper import Hyper
from .series import BoolArray, FloatArray, IntArray, Panel


@dataclass(frozen=True, eq=False)
class State:
    """What is known of N units after their last visit; every field is (N,).

    x, mu         : true value [unit] and drift [unit/year]; x is NaN for a unit that never gave a level.
    Pxx, Pxm, Pmm : their variances and covariance.
    target        : what an adjustment aims at [unit].      t_last : time of the last visit [years].
    n_visits      : visits with a reading, an adjustment or a replaced part.
    loglik        : log-likelihood of the readings after the first level.
    z             : standardised surprise of the last visit's as-found reading; NaN if there was none.
    level_assumed : the level rests on the target alone: adjusted, as-left reading missing, not read since.
    """

    x: FloatArray
    mu: FloatArray
    Pxx: FloatArray
    Pxm: FloatArray
    Pmm: FloatArray
    target: FloatArray
    t_last: FloatArray
    n_visits: IntArray
    loglik: FloatArray
    z: FloatArray
    level_assumed: BoolArray

    def take(self, columns: ArrayLike) -> State:
        """Only these units, in this order."""
        chosen = np.atleast_1d(np.asarray(columns))
        return State(*(getattr(self, field.name)[chosen] for field in fields(State)))


class _Belief(NamedTuple):
    x: FloatArray
    mu: FloatArray
    xx: FloatArray
    xm: FloatArray
    mm: FloatArray


class Visit(NamedTuple):
    """One row of a panel, as the filter wants it."""

    t: FloatArray
    dt: FloatArray
    present: BoolArray
    found: FloatArray
    seen: BoolArray
    noise_scale: FloatArray
    target: FloatArray
    left_offset: FloatArray
    left_missing: BoolArray
    reset: BoolArray
    replaced: BoolArray


class Parameters(NamedTuple):
    """Hyper as the filter wants it: floats, or (B, 1) arrays to run B of them in one pass."""

    m: Any
    s2: Any
    q: Any
    r: Any
    rho: Any
    w2: Any
    missing_left_var: float


class _Step(NamedTuple):
    belief: _Belief
    seen: BoolArray
    surprise: FloatArray
    variance: FloatArray


def visits_of(panel: Panel) -> list[Visit]:
    offset = panel.as_left - panel.target
    grids = (
        panel.t_years,
        panel.dt_years,
        np.isfinite(panel.t_years),
        panel.as_found,
        np.isfinite(panel.as_found),
        panel.noise_scale,
        np.broadcast_to(panel.target, panel.dt_years.shape),
        np.where(np.isfinite(offset), offset, 0.0),
        np.isnan(offset),
        panel.reset,
        panel.replaced,
    )
    return [Visit(*(grid[k] for grid in grids)) for k in range(len(panel.dt_years))]


def _parameters(hyper: Hyper) -> Parameters:
    missing = hyper.prior.missing_left_sd**2
    return Parameters(hyper.m, hyper.s2, hyper.q, hyper.r, hyper.rho, hyper.w2, missing)


def _begin(visit: Visit, p: Parameters) -> _Belief:
    """The diffuse start: the first level is taken as it stands and scores nothing."""
    noise = p.r * visit.noise_scale
    zero = np.zeros_like(noise)
    return _reset(_Belief(visit.found + zero, p.m + zero, noise, zero, p.s2 + zero), visit, p)


def _predict(b: _Belief, dt: FloatArray, q: Any) -> _Belief:
    moved = dt * b.mm
    return _Belief(b.x + b.mu * dt, b.mu, b.xx + dt * (2.0 * b.xm + moved + q), b.xm + moved, b.mm)


def _observe(b: _Belief, visit: Visit, r: Any) -> _Step:
    noise = r * visit.noise_scale
    variance = b.xx + noise
    surprise = np.where(visit.seen, visit.found - b.x, 0.0)
    kept = np.where(visit.seen, noise / variance, 1.0)
    pull, gain = surprise / variance, np.where(visit.seen, b.xm / variance, 0.0)
    learned = _Belief(b.x + b.xx * pull, b.mu + b.xm * pull, b.xx * kept, b.xm * kept, b.mm - b.xm * gain)
    return _Step(learned, visit.seen, surprise, variance)


def _reset(b: _Belief, visit: Visit, p: Parameters) -> _Belief:
    """A new level keeps the drift: a screw was turned, not its cause removed. A replaced part removes it."""
    level = visit.target + p.rho * visit.left_offset
    spread = np.where(visit.left_missing, p.missing_left_var, p.w2)
    return _Belief(
        np.where(visit.reset, level, b.x),
        np.where(visit.replaced, p.m, b.mu),
        np.where(visit.reset, spread, b.xx),
        np.where(visit.reset, 0.0, b.xm),
        np.where(visit.replaced, p.s2, b.mm),
    )


def _step(b: _Belief, visit: Visit, p: Parameters) -> _Step:
    observed = _observe(_predict(b, visit.dt, p.q), visit, p.r)
    return observed._replace(belief=_reset(observed.belief, visit, p))


def _walk(visits: list[Visit], p: Parameters) -> Iterator[_Step]:
    """The steps after the first visit."""
    belief = _begin(visits[0], p)
    for visit in visits[1:]:
        step = _step(belief, visit, p)
        belief = step.belief
        yield step


def _score(step: _Step) -> FloatArray:
    density = np.log(2.0 * np.pi * step.variance) + step.surprise**2 / step.variance
    return np.where(step.seen, -0.5 * density, 0.0)


def filter(panel: Panel, hyper: Hyper) -> State:
    """What is known of each unit of the panel after its last visit. Linear in visits; nothing is iterated."""
    visits, p = visits_of(panel), _parameters(hyper)
    state = _first_state(visits[0], p)
    for visit in visits[1:]:
        state = _advance(state, visit, p)
    return state


def update(
    state: State,
    hyper: Hyper,
    dt_years: ArrayLike,
    as_found: ArrayLike,
    as_left: ArrayLike = np.nan,
    adjusted: ArrayLike = False,
    *,
    noise_scale: ArrayLike = 1.0,
    replaced: ArrayLike = False,
) -> State:
    """The state after one more visit to every unit of it: what `filter` would say with that visit added.

    Arguments as in Panel.from_records, each one value or (N,). ValueError if dt_years is not above 0: a visit
    that belongs earlier needs the whole series again (Panel.from_records, then filter).
    """
    p = _parameters(hyper)
    visit = _next_visit(state, dt_years, as_found, as_left, adjusted, noise_scale, replaced)
    begun = np.isfinite(state.x)
    later = _advance(state, visit._replace(seen=visit.seen & begun), p)
    if begun.all():
        return later
    first = _first_state(visit, p)
    return State(*(np.where(begun, getattr(later, field.name), getattr(first, field.name)) for field in fields(State)))


def loglik(panel: Panel, hyper: Hyper) -> float:
    """Log-likelihood of all readings of the panel after each unit's first level."""
    return float(batch_loglik(visits_of(panel), _parameters(hyper)))


def batch_loglik(visits: list[Visit], p: Parameters) -> FloatArray:
    """Summed over units; with (B, 1) parameters the B sums of one pass."""
    total: Any = 0.0
    for step in _walk(visits, p):
        total = total + _score(step)
    return np.asarray(np.sum(total, axis=-1))


@dataclass(frozen=True, eq=False)
class Innovations:
    """How each as-found reading compares with what was expected of it; (K, N), NaN where there is none."""

    mean: FloatArray
    sd: FloatArray
    z: FloatArray


def innovations(panel: Panel, hyper: Hyper) -> Innovations:
    """Mean and standard deviation of each reading as forecast from the visits before it, and z."""
    mean, sd = np.full((2, *panel.dt_years.shape), np.nan)
    for k, step in enumerate(_walk(visits_of(panel), _parameters(hyper)), start=1):
        mean[k] = np.where(step.seen, panel.as_found[k] - step.surprise, np.nan)
        sd[k] = np.where(step.seen, np.sqrt(step.variance), np.nan)
    return Innovations(mean, sd, (panel.as_found - mean) / sd)


def _first_state(visit: Visit, p: Parameters) -> State:
    told = visit.seen | visit.reset
    return State(
        *_begin(visit, p),
        target=visit.target,
        t_last=visit.t,
        n_visits=told.astype(np.intp),
        loglik=np.zeros(told.shape),
        z=np.full(told.shape, np.nan),
        level_assumed=visit.reset & visit.left_missing,
    )


def _advance(state: State, visit: Visit, p: Parameters) -> State:
    step = _step(_Belief(state.x, state.mu, state.Pxx, state.Pxm, state.Pmm), visit, p)
    z = np.where(visit.seen, step.surprise / np.sqrt(step.variance), np.nan)
    still_assumed = state.level_assumed & ~visit.seen
    return State(
        *step.belief,
        target=state.target,
        t_last=np.where(visit.present, visit.t, state.t_last),
        n_visits=state.n_visits + (visit.seen | visit.reset),
        loglik=state.loglik + _score(step),
        z=np.where(visit.present, z, state.z),
        level_assumed=np.where(visit.reset, visit.left_missing, still_assumed),
    )


def _next_visit(
    state: State,
    dt_years: ArrayLike,
    as_found: ArrayLike,
    as_left: ArrayLike,
    adjusted: ArrayLike,
    noise_scale: ArrayLike,
    replaced: ArrayLike,
) -> Visit:
    shape = state.x.shape
    numbers = (dt_years, as_found, as_left, noise_scale)
    dt, found, left, scale = (np.broadcast_to(np.asarray(number, float), shape) for number in numbers)
    moved, renewed = (np.broadcast_to(np.asarray(flag, bool), shape) for flag in (adjusted, replaced))
    if not (np.isfinite(dt) & (dt > 0)).all():
        raise ValueError("dt_years must be finite and above 0; replay the series for an earlier visit")
    if not (np.isfinite(scale) & (scale > 0)).all():
        raise ValueError("noise_scale must be finite and above 0")
    if np.isinf(found).any() or np.isinf(left).any():
        raise ValueError("as_found and as_left must not be infinite")
    offset = left - state.target
    return Visit(
        state.t_last + dt,
        dt,
        np.ones(shape, bool),
        found,
        np.isfinite(found),
        scale,
        state.target,
        np.where(np.isfinite(offset), offset, 0.0),
        np.isnan(offset),
        moved | renewed,
        renewed,
    )
