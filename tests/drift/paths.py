"""Crossings counted on simulated paths, to hold formulas against."""

import numpy as np

from fleet.drift import Hyper, Limits, State


def bridge_monte_carlo(
    state: State, hyper: Hyper, limits: Limits, years: float, paths: int, steps: int, seed: int
) -> tuple[float, float]:
    """Share of simulated paths that leave the limits, and its error; each step corrected for what happens inside it.

    A Brownian bridge between a and b touches 0 with chance exp(-2 a b / (q dt)); steps are short enough for
    the two limits to be taken apart.
    """
    rng = np.random.default_rng(seed)
    cov = [[state.Pxx[0], state.Pxm[0]], [state.Pxm[0], state.Pmm[0]]]
    x, mu = rng.multivariate_normal([state.x[0], state.mu[0]], cov, paths).T
    dt = years / steps
    stays = ((x > limits.floor) & (x < limits.ceiling)).astype(float)
    for _ in range(steps):
        after = x + mu * dt + np.sqrt(hyper.q * dt) * rng.standard_normal(paths)
        for near, far in ((x - limits.floor, after - limits.floor), (limits.ceiling - x, limits.ceiling - after)):
            room = np.maximum(near, 0) * np.maximum(far, 0)
            stays *= -np.expm1(-2 * room / (hyper.q * dt))
        x = after
    leaves = 1 - stays
    return float(leaves.mean()), float(leaves.std() / np.sqrt(paths))
