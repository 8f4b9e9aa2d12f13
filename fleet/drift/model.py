"""What a unit's readings tell about its level and its drift, given what the fleet has taught (see `recursion`); and the
early warnings that the last as-found reading itself gives, before any forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .hyper import Hyper
from .recursion import Belief, Law, Step, Visit, chunks, law_of, log_total, shares, start, step, visits_of, walk
from .series import BoolArray, FloatArray, IntArray, Panel


@dataclass(frozen=True, eq=False)
class State:
    """What is known of N units after their last visit; fields (N,), of the C drift components (C, N).

    parts        : mean and covariance of level [unit] and drift [unit/year] of each component (C, N); the level
                   is NaN for a unit that never gave one.
    log_weight   : (C, N) log of each component's share times its likelihood.
    target       : what an adjustment aims at [unit].      t_last : time of the last visit [years].
    n_visits     : visits with a reading, an adjustment or a replaced part.
    z            : standardised surprise of the last visit's as-found reading; NaN if there was none.
    z_before     : of the reading before it.
    w_out, w_step : chance that the last visit's reading was an outlier, that it followed a sudden step.
    level_assumed : the level rests on the target alone: adjusted, as-left reading missing, not read since.
    group_ids    : whose group's law holds.
    """

    parts: Belief
    log_weight: FloatArray
    target: FloatArray
    t_last: FloatArray
    n_visits: IntArray
    z: FloatArray
    z_before: FloatArray
    w_out: FloatArray
    w_step: FloatArray
    level_assumed: BoolArray
    group_ids: NDArray[np.object_]

    @property
    def weight(self) -> FloatArray:
        """(C, N) chance of each drift component: the last is "a fast unit"."""
        return shares(self.log_weight)

    @property
    def loglik(self) -> FloatArray:
        """Log-likelihood of the readings after the first level."""
        return log_total(self.log_weight)

    @property
    def x(self) -> FloatArray:
        """Expected true value [unit]."""
        return _mean(self.weight, self.parts.x)

    @property
    def mu(self) -> FloatArray:
        """Expected drift [unit/year]."""
        return _mean(self.weight, self.parts.mu)

    @property
    def Pxx(self) -> FloatArray:
        """Variance of the true value, both components together."""
        return self._covariance(self.parts.xx, self.parts.x, self.parts.x)

    @property
    def Pxm(self) -> FloatArray:
        """Covariance of true value and drift."""
        return self._covariance(self.parts.xm, self.parts.x, self.parts.mu)

    @property
    def Pmm(self) -> FloatArray:
        """Variance of the drift."""
        return self._covariance(self.parts.mm, self.parts.mu, self.parts.mu)

    def take(self, columns: ArrayLike) -> State:
        """Only these units, in this order."""
        chosen = np.atleast_1d(np.asarray(columns))
        return _zipped([self], lambda each: each[0][..., chosen])

    def _covariance(self, within: FloatArray, one: FloatArray, other: FloatArray) -> FloatArray:
        weight = self.weight
        return _mean(weight, within + (one - _mean(weight, one)) * (other - _mean(weight, other)))


def _mean(weight: FloatArray, values: FloatArray) -> FloatArray:
    return np.asarray((weight * values).sum(axis=0))


def _zipped(states: Sequence[State], combine: Any) -> State:
    """One state, each array of which `combine` makes from the list of the same array of all."""
    parts = Belief(*(combine(list(each)) for each in zip(*(state.parts for state in states), strict=True)))
    names = [each.name for each in fields(State)][1:]
    return State(parts, *(combine([getattr(state, name) for state in states]) for name in names))


def filter(panel: Panel, hyper: Hyper) -> State:
    """What is known of each unit of the panel after its last visit. Linear in visits; nothing is iterated."""
    law, ids = law_of(hyper, panel.group_ids), _objects(panel.group_ids)
    made = []
    for part in chunks(panel.n_units):
        visits, here = visits_of(panel, part), law.take(part)
        state = _first_state(visits[0], here, ids[part])
        for visit in visits[1:]:
            state = _advance(state, visit, here)
        made.append(state)
    return made[0] if len(made) == 1 else _zipped(made, lambda each: np.concatenate(each, axis=-1))


def series_loglik(visits: list[Visit], law: Law) -> FloatArray:
    """(n,) log-likelihood of each unit's readings after its first level."""
    log_weight = start(visits[0], law)[1]
    for each in walk(visits, law):
        log_weight = each.log_weight
    return log_total(log_weight)


@dataclass(frozen=True, eq=False)
class Innovations:
    """How each as-found reading compares with what was expected of it; (K, N), NaN where there is none.

    mean, sd      : of its forecast from the visits before it, as a regular reading.    z : (reading - mean) / sd.
    w_out, w_step : chance that it is an outlier, and that a sudden step came before it.
    """

    mean: FloatArray
    sd: FloatArray
    z: FloatArray
    w_out: FloatArray
    w_step: FloatArray


def innovations(panel: Panel, hyper: Hyper) -> Innovations:
    """Each reading beside its forecast from the visits before it."""
    law = law_of(hyper, panel.group_ids)
    grids = np.full((5, *panel.dt_years.shape), np.nan)
    for part in chunks(panel.n_units):
        for k, each in enumerate(walk(visits_of(panel, part), law.take(part)), start=1):
            grids[:, k, part] = np.where(each.visit.seen, _told(each), np.nan)
    return Innovations(*grids)


def _told(each: Step) -> tuple[FloatArray, ...]:
    """Mean, sd and z of a reading as forecast, and its chances to be an outlier and to follow a step."""
    before, reading = shares(each.log_weight_before), each.reading
    surprise = _mean(before, reading.surprise)
    sd = np.sqrt(_mean(before, reading.variance + (reading.surprise - surprise) ** 2))
    told = each.visit.found - surprise, sd, surprise / sd
    if len(reading.weight) == 1:
        return *told, np.zeros(sd.shape), np.zeros(sd.shape)
    after = shares(each.log_weight_before + reading.score)
    return *told, _mean(after, reading.weight[1]), _mean(after, reading.weight[2])


def _objects(values: Sequence[Any]) -> NDArray[np.object_]:
    array = np.empty(len(values), object)
    array[:] = values
    return array


def _first_state(visit: Visit, law: Law, group_ids: NDArray[np.object_]) -> State:
    parts, log_weight = start(visit, law)
    told = visit.seen | visit.reset
    nothing = np.full(told.shape, np.nan)
    return State(
        parts,
        log_weight,
        target=visit.target,
        t_last=visit.t,
        n_visits=told.astype(np.intp),
        z=nothing,
        z_before=nothing,
        w_out=nothing,
        w_step=nothing,
        level_assumed=visit.reset & visit.left_missing,
        group_ids=group_ids,
    )


def _advance(state: State, visit: Visit, law: Law) -> State:
    each = step(state.parts, state.log_weight, visit, law)
    _, _, z, w_out, w_step = _told(each)
    still_assumed = state.level_assumed & ~visit.seen

    def of_last_visit(new: FloatArray, old: FloatArray) -> FloatArray:
        return np.where(visit.present, np.where(visit.seen, new, np.nan), old)

    return State(
        each.parts,
        each.log_weight,
        target=state.target,
        t_last=np.where(visit.present, visit.t, state.t_last),
        n_visits=state.n_visits + (visit.seen | visit.reset),
        z=of_last_visit(z, state.z),
        z_before=np.where(visit.present & np.isfinite(state.z), state.z, state.z_before),
        w_out=of_last_visit(w_out, state.w_out),
        w_step=of_last_visit(w_step, state.w_step),
        level_assumed=np.where(visit.reset, visit.left_missing, still_assumed),
        group_ids=state.group_ids,
    )


# ---- early warnings ----

REPEAT_BEYOND = 3.0
"""|z| past which a reading is to be repeated at once: .003 of all good readings are."""

TWICE_BEYOND = 2.0
"""|z| past which, twice running on the same side, something has changed: .001 of all pairs of good readings."""

LIKELY = 0.5


@dataclass(frozen=True, eq=False)
class Warnings:
    """Flags of N units and the figures behind them, (N,) each; False, and NaN, where there was no reading.

    repeat_now  : |z| > 3: read again before anything is touched.
    same_side   : |z| > 2 on the same side at this reading and the one before.
    step        : more likely than not the level has jumped since the last visit.
    doubtful    : more likely than not the reading is an outlier.
    z, z_before : standardised surprise of the last reading and of the one before.
    w_step, w_out : chances of a step and of an outlier.

    For gross faults only: one year after an adjustment |z| > 3 finds a jump of 3 times the surprise's usual size
    in every second case. A second as-found reading is what tells a step from an outlier.
    """

    repeat_now: BoolArray
    same_side: BoolArray
    step: BoolArray
    doubtful: BoolArray
    z: FloatArray
    z_before: FloatArray
    w_step: FloatArray
    w_out: FloatArray


def warnings(state: State) -> Warnings:
    """What the last visit's as-found readings give cause for."""
    both = np.minimum(np.abs(state.z), np.abs(state.z_before)) > TWICE_BEYOND
    return Warnings(
        np.abs(state.z) > REPEAT_BEYOND,
        both & (state.z * state.z_before > 0),
        state.w_step > LIKELY,
        state.w_out > LIKELY,
        state.z,
        state.z_before,
        state.w_step,
        state.w_out,
    )
