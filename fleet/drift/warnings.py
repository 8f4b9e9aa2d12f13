"""Early warnings: what the last as-found reading itself says, before any forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .model import State
from .series import BoolArray, FloatArray

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
