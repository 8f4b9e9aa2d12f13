"""Watching the forecasts: each reading beside what the visits before it led one to expect, and early warnings."""

import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from fleet import drift
from fleet.assess.foresight.series import Series
from fleet.drift.calibration import DOUBTFUL, chances
from fleet.models import ForecastCheck, Snapshot


def checks_of(
    series: Sequence[Series], panel: drift.Panel, hyper: drift.Hyper, limits: drift.Limits, snapshot: Snapshot
) -> Iterator[ForecastCheck]:
    """A check for each as-found reading after its series' first level; none by assumptions, which promise nothing."""
    if snapshot.from_assumptions or not panel.scored.size:
        return
    chance, told = chances(panel, hyper, limits).ravel(), drift.innovations(panel, hyper)
    regular = (told.w_out + told.w_step <= DOUBTFUL).ravel()
    outside = ((panel.as_found < limits.floor) | (panel.as_found > limits.ceiling)).ravel()
    z, seen = told.z.ravel(), set[int]()
    entries = [(each, entry) for each in series for entry in each.entries]
    for (each, entry), at in zip(entries, panel.places(len(entries)), strict=True):
        if at < 0 or at in seen or math.isnan(chance[at]):
            continue
        seen.add(int(at))
        yield ForecastCheck(
            visit_id=entry.visit_id,
            quantity=each.quantity,
            rate=each.rate,
            day=entry.day,
            analyser_id=entry.analyser,
            snapshot=snapshot,
            chance=round(float(chance[at]), 6),
            outside=bool(outside[at]),
            surprise=round(float(z[at]), 4) if regular[at] and np.isfinite(z[at]) else None,
            ahead=entry.first_received_at is not None and snapshot.made_at < entry.first_received_at,
        )


# ---- early warnings of the last visit ----


class Warned(NamedTuple):
    """Of one series' last visit: the code of its question, and the figures that ask for a second reading or None."""

    visit_id: str
    code: str
    figures: dict[str, Any] | None


def warnings_of(series: Sequence[Series], state: drift.State, snapshot: Snapshot) -> Iterator[Warned]:
    """One a series. Nothing from assumptions asks for anything.

    Its figures: `cause` doubtful, step, far or same_side; z, of the usual error, now and at the visit before.
    """
    said = drift.warnings(state)
    for n, each in enumerate(series):
        last = each.entries[-1]
        code = f"repeat_{each.quantity}_{each.rate}"[:40]
        cause = "" if snapshot.from_assumptions or math.isnan(last.found) else _cause(said, n)
        figures = {
            "cause": cause,
            "quantity": each.quantity,
            "rate": each.rate,
            "z": _rounded(said.z[n]),
            "z_before": _rounded(said.z_before[n]),
            "snapshot": str(snapshot.id),
        }
        yield Warned(last.visit_id, code, figures if cause else None)


def _cause(said: drift.Warnings, n: int) -> str:
    causes = (("doubtful", said.doubtful), ("step", said.step), ("far", said.repeat_now), ("same_side", said.same_side))
    return next((name for name, holds in causes if holds[n]), "")


def _rounded(value: float) -> float | None:
    return round(float(value), 3) if math.isfinite(value) else None
