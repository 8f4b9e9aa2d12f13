"""The law between and at visits, and one step of the filter that follows from it.

Between visits the true value moves as dx = mu dt + sigma dW; a reading is y = x + e. Each unit has a drift mu of its
own from (1 - pi) N(m, s2 + v) + pi N(m, kappa^2 s2 + v), m, s2, v its group's: so each unit is followed by two filters
(components) at once, weighted by how well each foretold its readings. A reading is regular, an outlier (its error
sqrt(65) times as wide) or follows a sudden step of the level (N(0, 36 r)); the three Gaussians that it may leave behind
are collapsed into one with their mean and covariance (GPB1). With e_o = lam = 0 only the first is left, and the filter
is the exact one. After an adjustment x | y_left ~ N(T + rho (y_left - T), w2): the technician aims at the target T and
the analyser errs, so the as-left reading is believed only by the share rho.

Kalman filter and its likelihood: Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989),
chapter 3; diffuse start: Durbin & Koopman, Time Series Analysis by State Space Methods (2nd ed., 2012), chapter 5;
collapse: Bar-Shalom, Li & Kirubarajan, Estimation with Applications to Tracking and Navigation (2001), section 11.6.
[Chapters from memory.] The reset law is our own: the regression of a setting on its noisy reading.

Shapes: units (n,), components (C, n), kinds of reading (H, C, n) with H = 1 or 3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from .hyper import Group, Hyper
from .series import BoolArray, FloatArray, Panel

CHUNK = 4096
"""Units a pass takes at a time: what it then holds stays in the processor's cache."""

OUTLIER_VAR, STEP_VAR = 64.0, 36.0
"""Variance that an outlier adds to a reading and a step to the level, in units of r: 8 and 6 readings' errors."""

KINDS_VAR = np.array([0.0, OUTLIER_VAR, STEP_VAR])[:, None, None]
_LOG_2PI = np.log(2.0 * np.pi)
_NEVER = 1e-300


class Law(NamedTuple):
    """Hyper as the filter wants it, for n units."""

    m: FloatArray  # (n,)
    s2: FloatArray  # (C, n): the components' variances, with what is not known of the group's mean
    q: FloatArray  # (n,)
    log_share: FloatArray  # (C, 1)
    r: float
    rho: float
    w2: float
    missing_left_var: float
    e_o: float
    lam: float

    @property
    def plain(self) -> bool:
        return self.e_o == 0.0 and self.lam == 0.0

    def take(self, part: slice) -> Law:
        return self._replace(m=self.m[part], s2=self.s2[:, part], q=self.q[part])


class Belief(NamedTuple):
    """Mean and covariance of level and drift, each (C, n)."""

    x: FloatArray
    mu: FloatArray
    xx: FloatArray
    xm: FloatArray
    mm: FloatArray


class Visit(NamedTuple):
    """One row of a panel; (n,) each. `found` and `left_offset` are 0 where there is none."""

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


class Reading(NamedTuple):
    """What one as-found reading did; of no meaning where there is none, but for its score."""

    surprise: FloatArray  # (C, n): reading less what was expected
    variance: FloatArray  # (C, n): of a regular one
    weight: FloatArray  # (H, C, n): posterior chances of regular, outlier, step
    score: FloatArray  # (C, n): log density, 0 where there is no reading


class Step(NamedTuple):
    """One visit: what was thought on arrival, what the reading said, what is thought on leaving."""

    visit: Visit
    ahead: Belief
    log_weight_before: FloatArray
    reading: Reading
    parts: Belief
    log_weight: FloatArray


def law_of(hyper: Hyper, group_ids: Sequence[str]) -> Law:
    """The law of each unit: its group's, or the fleet's with the spread of the groups."""
    fleet = Group(hyper.m, hyper.s2, hyper.q, hyper.om2)
    place = {group_id: n for n, group_id in enumerate(dict.fromkeys(group_ids))}
    figures = np.array([hyper.groups.get(group_id, fleet) for group_id in place]).reshape(-1, 4)
    return law_from(hyper, figures[np.fromiter(map(place.__getitem__, group_ids), np.intp, len(group_ids))])


def law_from(fleet: Hyper, figures: FloatArray) -> Law:
    """The law of n units whose m, s2, q and v are the rows of `figures` (n, 4)."""
    m, s2, q, v = np.ascontiguousarray(figures.T)
    kappa, share = components(fleet)
    rest = (fleet.r, fleet.rho, fleet.w2, fleet.prior.missing_left_sd**2, fleet.e_o, fleet.lam)
    return Law(m, kappa**2 * s2 + v, q, np.log(share), *rest)


def components(fleet: Hyper) -> tuple[FloatArray, FloatArray]:
    """(C, 1) widths of the drift components and their shares: one of them where no unit is fast."""
    if fleet.pi == 0.0:
        return np.ones((1, 1)), np.ones((1, 1))
    return np.array([[1.0], [fleet.prior.kappa]]), np.array([[1.0 - fleet.pi], [fleet.pi]])


def chunks(n: int, size: int = CHUNK) -> Iterator[slice]:
    """At least one, so that nothing units long has its shape too."""
    for start in range(0, max(n, 1), size):
        yield slice(start, min(start + size, n))


def visits_of(panel: Panel, part: slice = slice(None)) -> list[Visit]:
    """The rows of these columns, without those that none of them uses."""
    time = panel.t_years[:, part]
    found, target = panel.as_found[:, part], panel.target[part]
    offset = panel.as_left[:, part] - target
    present, seen, missing = np.isfinite(time), np.isfinite(found), np.isnan(offset)
    grids = (
        time,
        panel.dt_years[:, part],
        present,
        np.where(seen, found, 0.0),
        seen,
        panel.noise_scale[:, part],
        np.broadcast_to(target, time.shape),
        np.where(missing, 0.0, offset),
        missing,
        panel.reset[:, part],
        panel.replaced[:, part],
    )
    used = 1 + np.flatnonzero(present[1:].any(axis=1))
    return [Visit(*(grid[k] for grid in grids)) for k in (0, *used)]


def start(visit: Visit, law: Law) -> tuple[Belief, FloatArray]:
    """Belief and log weights (C, n) after a first visit: its level is taken as it stands and scores nothing."""
    zero = np.zeros(law.s2.shape)
    found = np.where(visit.seen, visit.found, np.nan)
    begun = Belief(found + zero, law.m + zero, law.r * visit.noise_scale + zero, zero, law.s2)
    return reset(begun, visit, law), law.log_share + zero


def step(parts: Belief, log_weight: FloatArray, visit: Visit, law: Law) -> Step:
    """One later visit."""
    ahead = predict(parts, visit.dt, law.q)
    learned, reading = observe(ahead, visit, law)
    after = reweigh(log_weight, reading, visit, law)
    return Step(visit, ahead, log_weight, reading, reset(learned, visit, law), after)


def walk(visits: list[Visit], law: Law) -> Iterator[Step]:
    """The steps after the first visit."""
    parts, log_weight = start(visits[0], law)
    for visit in visits[1:]:
        each = step(parts, log_weight, visit, law)
        parts, log_weight = each.parts, each.log_weight
        yield each


def predict(b: Belief, dt: FloatArray, q: FloatArray) -> Belief:
    xm = b.xm + dt * b.mm
    return Belief(b.x + dt * b.mu, b.mu, b.xx + dt * (b.xm + xm + q), xm, b.mm)


def observe(b: Belief, visit: Visit, law: Law) -> tuple[Belief, Reading]:
    """What the as-found reading teaches: exact for each kind of reading, the kinds collapsed into one."""
    noise = law.r * visit.noise_scale
    learned, reading = (_observe_plain if law.plain else _observe_robust)(b, visit, noise, law)
    if visit.seen.all():
        return learned, reading
    kept = Belief(*(np.where(visit.seen, new, old) for new, old in zip(learned, b, strict=True)))
    return kept, reading._replace(score=np.where(visit.seen, reading.score, 0.0))


def _observe_plain(b: Belief, visit: Visit, noise: FloatArray, _law: Law) -> tuple[Belief, Reading]:
    surprise, variance = visit.found - b.x, b.xx + noise
    precision = 1.0 / variance
    pull, kept, tie = surprise * precision, noise * precision, b.xm
    learned = Belief(b.x + b.xx * pull, b.mu + tie * pull, b.xx * kept, tie * kept, b.mm - tie * tie * precision)
    score = 0.5 * (np.log(precision) - surprise * pull - _LOG_2PI)
    return learned, Reading(surprise, variance, np.ones((1, 1, 1)), score)


def _observe_robust(b: Belief, visit: Visit, noise: FloatArray, law: Law) -> tuple[Belief, Reading]:
    """The collapse by the derivatives of the log density: with u = 1 / F of each kind and s its mean times the
    surprise, the level without its step moves by xx s, the drift by xm s, and a step adds w2 j to the level.
    """
    surprise = visit.found - b.x
    square = surprise * surprise
    error = noise + law.r * KINDS_VAR
    precision = 1.0 / (b.xx + error)
    # Densities beside the outliers' exponential, the widest: so none of them underflows where all are small.
    weight = kinds_of_reading(visit.dt, law) * np.sqrt(precision)
    weight[::2] *= np.exp(-0.5 * square * (precision[::2] - precision[1]))
    total = weight.sum(axis=0)
    weight /= total
    mean = (weight * precision).sum(axis=0)
    spread = square * (weight * (precision - mean) ** 2).sum(axis=0)
    kept = (weight * error * precision).sum(axis=0) + b.xx * spread
    jumped, jump_var = weight[2], law.r * STEP_VAR
    gain = jump_var * precision[2]
    jump, pull = gain * surprise, mean * surprise
    tie = jumped * gain * (1.0 - surprise * (precision[2] * surprise - pull))
    learned = Belief(
        b.x + b.xx * pull + jumped * jump,
        b.mu + b.xm * pull,
        b.xx * (kept - 2.0 * tie) + jumped * (jump_var * (1.0 - gain) + (1.0 - jumped) * jump * jump),
        b.xm * (kept - tie),
        b.mm - b.xm * b.xm * (mean - spread),
    )
    score = np.log(total) - 0.5 * (square * precision[1] + _LOG_2PI)
    return learned, Reading(surprise, b.xx + noise, weight, score)


def kinds_of_reading(dt: FloatArray, law: Law) -> FloatArray:
    """Chances (3, 1, n) that a reading dt years after the last is regular, an outlier, after a step."""
    regular = (1.0 - law.e_o) * np.exp(-law.lam * dt)
    outlier = np.full(dt.shape, max(law.e_o, _NEVER))
    return np.stack([regular, outlier, 1.0 - law.e_o - regular])[:, None]


def reset(b: Belief, visit: Visit, law: Law) -> Belief:
    """A new level keeps the drift: a screw was turned, not its cause removed. A replaced part removes it."""
    if not visit.reset.any():
        return b
    level = visit.target + law.rho * visit.left_offset
    spread = np.where(visit.left_missing, law.missing_left_var, law.w2)
    return Belief(
        np.where(visit.reset, level, b.x),
        np.where(visit.replaced, law.m, b.mu),
        np.where(visit.reset, spread, b.xx),
        np.where(visit.reset, 0.0, b.xm),
        np.where(visit.replaced, law.s2, b.mm),
    )


def log_total(log_weight: FloatArray) -> FloatArray:
    """Log of the sum over components (C, n) -> (n,)."""
    if len(log_weight) == 1:
        return np.asarray(log_weight[0])
    return np.asarray(np.logaddexp(log_weight[0], log_weight[1]))


def shares(log_weight: FloatArray) -> FloatArray:
    """Components' weights, which sum to 1."""
    return np.asarray(np.exp(log_weight - log_total(log_weight)))


def reweigh(log_weight: FloatArray, reading: Reading, visit: Visit, law: Law) -> FloatArray:
    """Log weight times likelihood of each component after the visit; a replaced part draws its drift anew."""
    after = log_weight + reading.score
    if not visit.replaced.any():
        return after
    return np.where(visit.replaced, law.log_share + log_total(after), after)
