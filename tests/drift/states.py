"""States and hyper-parameters to test forecasts with."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fleet.drift import Hyper, Prior, State
from fleet.drift.recursion import Belief


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
