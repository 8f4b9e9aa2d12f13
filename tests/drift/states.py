"""States and hyper-parameters to test forecasts with."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fleet.drift import Hyper, Prior, State


def make_hyper(**changes: Any) -> Hyper:
    """CO2-like: drift 0.12 vol % a year, wandering 0.10, reading 0.12, settings believed by 0.3."""
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


def make_state(
    x: ArrayLike, mu: ArrayLike, level_sd: ArrayLike, drift_sd: ArrayLike, correlation: ArrayLike = 0.0
) -> State:
    """A state of as many units as the arguments have entries."""
    parts = (np.asarray(part, float) for part in (x, mu, level_sd, drift_sd, correlation))
    level, drift, sd, wide, tie = np.broadcast_arrays(*(np.atleast_1d(part) for part in parts))
    zero = np.zeros(level.shape)
    return State(
        level,
        drift,
        sd**2,
        tie * sd * wide,
        wide**2,
        target=zero + 9.0,
        t_last=zero,
        n_visits=np.full(level.shape, 3),
        loglik=zero,
        z=zero,
        level_assumed=np.zeros(level.shape, bool),
    )
