"""States and hyper-parameters to test forecasts with."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fleet.drift import Hyper, Panel, Prior, State
from fleet.drift.model import _advance, _first_state, _zipped, series_loglik
from fleet.drift.recursion import Belief, Visit, chunks, law_of, visits_of


def make_hyper(**changes: Any) -> Hyper:
    """CO2-like and plain: drift 0.12 vol % a year, wandering 0.10, reading 0.12, settings believed by 0.3."""
    values: dict[str, Any] = {
        "m": -0.05,
        "s2": 0.0144,
        "q": 0.01,
        "r": 0.0144,
        "rho": 0.3,
        "w2": 0.0045,
        "n_series": 100,
        "prior": Prior.of("co2"),
    }
    return Hyper(**values | changes)


def make_full_hyper(**changes: Any) -> Hyper:
    """With fast units, outliers, steps and what is not known of a group."""
    return make_hyper(**{"pi": 0.05, "e_o": 0.02, "lam": 0.03, "om2": 0.01} | changes)


def make_state(
    x: ArrayLike, mu: ArrayLike, level_sd: ArrayLike, drift_sd: ArrayLike, correlation: ArrayLike = 0.0
) -> State:
    """A state of as many units as the arguments have entries, of one drift component."""
    parts = (np.asarray(part, float) for part in (x, mu, level_sd, drift_sd, correlation))
    level, drift, sd, wide, tie = np.broadcast_arrays(*(np.atleast_1d(part) for part in parts))
    zero = np.zeros(level.shape)
    belief = Belief(*(part[None] for part in (level, drift, sd**2, tie * sd * wide, wide**2)))
    return State(
        belief,
        zero[None],
        target=zero + 9.0,
        t_last=zero,
        n_visits=np.full(level.shape, 3),
        z=zero,
        z_before=zero,
        w_out=zero,
        w_step=zero,
        level_assumed=np.zeros(level.shape, bool),
        group_ids=np.full(level.shape, "g", object),
    )


def mixed(one: State, other: State, weight: ArrayLike) -> State:
    """Units that are as `one` says with chance `weight`, else as `other`: two drift components."""
    share = np.broadcast_to(np.asarray(weight, float), one.target.shape)
    parts = Belief(*(np.concatenate(pair) for pair in zip(one.parts, other.parts, strict=True)))
    return State(parts, np.log([share, 1.0 - share]), *(getattr(one, name) for name in _REST))


_REST = ("target", "t_last", "n_visits", "z", "z_before", "w_out", "w_step", "level_assumed", "group_ids")


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

    hyper : the one that made the state.    The rest as in Panel.from_records, each one value or (N,).
    ValueError if dt_years is not above 0: the order of visits matters, so one that belongs earlier needs the
    whole series again (Panel.from_records, then filter).
    """
    law = law_of(hyper, state.group_ids.tolist())
    if len(law.log_share) != len(state.log_weight):
        raise ValueError("hyper must have as many drift components as the one that made the state")
    visit = _next_visit(state, dt_years, as_found, as_left, adjusted, noise_scale, replaced)
    begun = np.isfinite(state.parts.x[0])
    later = _advance(state, visit._replace(seen=visit.seen & begun), law)
    if begun.all():
        return later
    first = _first_state(visit, law, state.group_ids)
    return _zipped([later, first], lambda each: np.where(begun, each[0], each[1]))


def _next_visit(
    state: State,
    dt_years: ArrayLike,
    as_found: ArrayLike,
    as_left: ArrayLike,
    adjusted: ArrayLike,
    noise_scale: ArrayLike,
    replaced: ArrayLike,
) -> Visit:
    shape = state.target.shape
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
        np.where(np.isfinite(found), found, 0.0),
        np.isfinite(found),
        scale,
        state.target,
        np.where(np.isfinite(offset), offset, 0.0),
        np.isnan(offset),
        moved | renewed,
        renewed,
    )


def loglik(panel: Panel, hyper: Hyper) -> float:
    """Log-likelihood of all readings of the panel after each unit's first level."""
    law = law_of(hyper, panel.group_ids)
    return float(sum(series_loglik(visits_of(panel, part), law.take(part)).sum() for part in chunks(panel.n_units)))
