"""The log-likelihood of a panel's series and its derivatives by every parameter of the law, in one backward pass.

The chain rule through `recursion`, visit by visit from the last to the first (reverse mode): some three times the
work of the likelihood alone, however many parameters there are.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .recursion import KINDS_VAR, STEP_VAR, Belief, Law, Step, Visit, log_total, shares, start, walk
from .series import FloatArray


class Slope(NamedTuple):
    """d log-likelihood / d parameter of each unit, (n,); s2 of each component (C, n); share (C,): of log_share."""

    m: FloatArray
    s2: FloatArray
    q: FloatArray
    r: FloatArray
    rho: FloatArray
    w2: FloatArray
    share: FloatArray


class _Back(NamedTuple):
    """Derivatives by what went into one reading, each (C, n)."""

    x: FloatArray
    mu: FloatArray
    xx: FloatArray
    xm: FloatArray
    mm: FloatArray
    r: FloatArray


def loglik_and_slope(visits: list[Visit], law: Law) -> tuple[FloatArray, Slope]:
    """(n,) log-likelihood of each unit and its slope.

    `share` is the expected number of drifts drawn from each component: the slope by log_share.
    """
    steps = list(walk(visits, law))
    log_weight = steps[-1].log_weight if steps else start(visits[0], law)[1]
    zero = np.zeros(law.s2.shape)
    m, s2, q, r, rho, w2 = (zero.copy() for _ in range(6))
    chance = shares(log_weight) + zero
    drawn = chance.sum(axis=1)
    b = Belief(zero, zero, zero, zero, zero)
    for each in reversed(steps):
        visit = each.visit
        if visit.replaced.any():
            before = shares(each.log_weight_before + each.reading.score)
            chance = np.where(visit.replaced, before, chance)
            drawn = drawn + before[:, visit.replaced].sum(axis=1)
        b = _through_reset(b, visit, m, s2, rho, w2)
        back = _through_reading(b, each, chance, law)
        r += back.r
        dt = visit.dt
        q += dt * back.xx
        b = Belief(
            back.x,
            back.mu + dt * back.x,
            back.xx,
            back.xm + 2.0 * dt * back.xx,
            back.mm + dt * (back.xm + dt * back.xx),
        )
    b = _through_reset(b, visits[0], m, s2, rho, w2)
    r += b.xx * visits[0].noise_scale
    m, q, r, rho, w2 = (each.sum(axis=0) for each in (m + b.mu, q, r, rho, w2))
    return log_total(log_weight), Slope(m, s2 + b.mm, q, r, rho, w2, drawn)


def _through_reset(b: Belief, visit: Visit, m: FloatArray, s2: FloatArray, rho: FloatArray, w2: FloatArray) -> Belief:
    """Adds to the slopes what a new level takes from the law; the belief before it no longer matters."""
    if not visit.reset.any():
        return b
    rho += np.where(visit.reset, b.x * visit.left_offset, 0.0)
    w2 += np.where(visit.reset & ~visit.left_missing, b.xx, 0.0)
    m += np.where(visit.replaced, b.mu, 0.0)
    s2 += np.where(visit.replaced, b.mm, 0.0)
    kept, same = ~visit.reset, ~visit.replaced
    return Belief(b.x * kept, b.mu * same, b.xx * kept, b.xm * kept, b.mm * same)


def _through_reading(after: Belief, each: Step, chance: FloatArray, law: Law) -> _Back:
    """From the derivatives by the belief after a reading, and by its score (chance), to those before it.

    A name with `by_` in front is the derivative by that thing; the things are those of `recursion._observe_robust`.
    """
    visit, surprise, weight = each.visit, each.reading.surprise, each.reading.weight
    xx, xm = each.ahead.xx, each.ahead.xm
    x, mu, a, c, d = after if visit.seen.all() else (part * visit.seen for part in after)
    precision = 1.0 / (xx + law.r * (visit.noise_scale + KINDS_VAR[: len(weight)]))
    mean = (weight * precision).sum(axis=0)
    spread = (weight * (precision - mean) ** 2).sum(axis=0)
    pull, square = mean * surprise, surprise * surprise
    known = mean - square * spread
    twice = 2.0 * a * xx + c * xm
    by_known = -xx * (a * xx + c * xm) - d * xm * xm
    by_xx = x * pull - known * twice
    by_xm = mu * pull - known * (c * xx + 2.0 * d * xm)
    by_pull = x * xx + mu * xm
    by_surprise = -2.0 * surprise * spread * by_known
    by_weight, by_precision = np.zeros((2, *precision.shape))
    by_r = np.zeros(xx.shape)
    if len(weight) == 3:
        jump_var, jumped, sharp = law.r * STEP_VAR, weight[2], precision[2]
        gain = jump_var * sharp
        jump, tie = gain * surprise, gain * (1.0 - surprise * (sharp * surprise - pull))
        by_tie = -twice * jumped
        by_jump = jumped * (x + 2.0 * a * (1.0 - jumped) * jump)
        by_xx -= 2.0 * a * jumped * tie
        by_xm -= c * jumped * tie
        by_weight[2] = x * jump + a * (jump_var * (1.0 - gain) + (1.0 - 2.0 * jumped) * jump * jump) - twice * tie
        by_gain = by_tie * tie / gain + by_jump * surprise - a * jumped * jump_var
        by_precision[2] = jump_var * by_gain - by_tie * gain * square
        by_pull += by_tie * gain * surprise
        by_surprise += by_tie * gain * (pull - 2.0 * sharp * surprise) + by_jump * gain
        by_r = STEP_VAR * (a * jumped * (1.0 - gain) + by_gain * sharp)
    by_surprise += by_pull * mean
    by_spread = -square * by_known
    by_mean = by_pull * surprise + by_known - 2.0 * by_spread * mean
    by_weight += precision * (by_mean + by_spread * precision)
    by_score = weight * (by_weight - (weight * by_weight).sum(axis=0) + chance * visit.seen)
    by_surprise -= surprise * (by_score * precision).sum(axis=0)
    by_precision += weight * (by_mean + 2.0 * by_spread * precision) + 0.5 * by_score * (1.0 / precision - square)
    by_variance = -precision * precision * by_precision
    by_xx += by_variance.sum(axis=0)
    by_r += (by_variance * (visit.noise_scale + KINDS_VAR[: len(weight)])).sum(axis=0)
    return _Back(after.x - by_surprise, after.mu, after.xx + by_xx, after.xm + by_xm, after.mm, by_r)
