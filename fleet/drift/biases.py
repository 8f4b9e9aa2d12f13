"""What is the analyser's and the day's rather than the appliance's: common errors found by backfitting.

The filter takes each appliance's errors for its own. Here the surprises of all appliances are averaged by analyser,
by analyser and quarter, and by site and day, each mean shrunk by what such means vary; the sum is taken off the
readings, the fleet is learned anew and all is done once more. Shrinkage: a random effect's posterior mean, its
variance by EM; backfitting: Hastie & Tibshirani, Generalized Additive Models (1990) [from memory].

Only differences show: what all analysers have in common is in all readings and cannot be told from the truth.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from .fitting import fit
from .hyper import FITTED, Hyper
from .model import innovations
from .series import BoolArray, FloatArray, IntArray, Panel

ALARM_BEYOND = 3.3
"""|mean z| sqrt(n) past which an analyser is to be checked: a chance of .001 for a good one."""

RECENT_READINGS = 50
"""An analyser is judged by its last so many: .1 vol % shows in them more often than not."""

_SWEEPS = 20  # of three means and their variances: no pass over the visits
_QUARTERS = 4.0


@dataclass(frozen=True, eq=False)
class Effects:
    """What the readings under each label have in common, (G,) each: bias and its standard deviation [unit].

    n : readings under the label that could be compared with a forecast.
    """

    labels: tuple[Hashable, ...]
    bias: FloatArray
    sd: FloatArray
    n: IntArray

    def of(self, label: Hashable) -> float:
        """The bias under this label, 0 if there is no such label."""
        return float(self.bias[self.labels.index(label)]) if label in self.labels else 0.0


@dataclass(frozen=True, eq=False)
class Checks:
    """Each analyser's last readings against what was expected of the appliances, (G,) each.

    n, mean_z, score : how many, their mean standardised surprise (each within +-3), and mean_z sqrt(n).
    alarm            : |score| > ALARM_BEYOND.
    """

    analysers: tuple[Hashable, ...]
    n: IntArray
    mean_z: FloatArray
    score: FloatArray
    alarm: BoolArray


@dataclass(frozen=True, eq=False)
class Biases:
    """Common errors [unit]: an analyser's own, what it was off by in a quarter beside that, and a site's on a day.

    analyser, site_day : by label.        analyser_quarter : by (label, quarter number, floor(4 t_years)).
    u          : (M,) what was taken off each record, the sum of its three.
    panel      : the panel without it.    hyper : learned from that.    checks : the analysers' alarms.
    """

    analyser: Effects
    analyser_quarter: Effects
    site_day: Effects
    u: FloatArray
    panel: Panel
    hyper: Hyper
    checks: Checks


def biases(
    panel: Panel, hyper: Hyper, analyser_of: Sequence[Hashable], site_day_of: Sequence[Hashable], *, passes: int = 2
) -> Biases:
    """The common errors in a panel's readings, and the panel without them.

    hyper       : as learned from the panel; learned anew between passes unless it is from assumptions.
    analyser_of, site_day_of : one label a record, as given to Panel.from_records; None = not known.

    A reading's forecast comes from other days and mostly other analysers. Site-days with one reading are left
    alone: theirs can't be told from the reading's own error.
    """
    if passes < 1:
        raise ValueError(f"passes must be at least 1, got {passes}")
    place = panel.places(len(analyser_of))
    if len(site_day_of) != place.size:
        raise ValueError(f"site_day_of must hold one entry per record ({place.size}), got {len(site_day_of)}")
    quarter = np.floor(_QUARTERS * panel.t_years.ravel()[place])
    by_quarter = [
        None if label is None else (label, int(number)) if at >= 0 else None
        for label, number, at in zip(analyser_of, np.nan_to_num(quarter), place, strict=True)
    ]
    factors = [_Factor.of(labels) for labels in (analyser_of, by_quarter, site_day_of)]
    u, clean = np.zeros(place.size), panel
    for _ in range(passes):
        if u.any() and hyper.basis == FITTED:
            hyper = _relearned(clean, hyper)
        surprise, precision = _surprises(clean, hyper, place, u)
        factors[2] = factors[2].without_singles(precision)
        effects = _backfit(surprise, precision, factors, hyper.r)
        u = np.sum([factor.spread(effect.bias) for factor, effect in zip(factors, effects, strict=True)], axis=0)
        clean = _less(panel, place, u)
    analyser, analyser_quarter, site_day = effects
    own = surprise - factors[2].spread(site_day.bias)
    checks = _checks(own, precision, factors[0], panel.t_years.ravel()[place])
    return Biases(analyser, analyser_quarter, site_day, u, clean, hyper, checks)


class _Factor(NamedTuple):
    """Labels and each record's place among them, -1 = none."""

    labels: tuple[Hashable, ...]
    code: IntArray

    @classmethod
    def of(cls, labels: Sequence[Hashable]) -> _Factor:
        place: dict[Hashable, int] = {}
        code = [-1 if label is None else place.setdefault(label, len(place)) for label in labels]
        return cls(tuple(place), np.array(code, np.intp))

    def sums(self, values: FloatArray) -> FloatArray:
        """(G,) sums over the records under each label."""
        return np.asarray(np.bincount(self.code + 1, values, len(self.labels) + 1)[1:], float)

    def spread(self, by_label: FloatArray) -> FloatArray:
        """(M,) each record's own, 0 where it has none."""
        return np.append(by_label, 0.0)[self.code]

    def without_singles(self, precision: FloatArray) -> _Factor:
        alone = self.spread(self.sums(np.sign(precision))) < 2
        return self._replace(code=np.where(alone, -1, self.code))


def _surprises(panel: Panel, hyper: Hyper, place: IntArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(M,) how far each record's reading, u put back, is off its forecast; and how much that counts (1 / variance).

    Doubtful readings count less; records that went into one visit share its weight.
    """
    told = innovations(panel, hyper)
    per_visit = np.bincount(place[place >= 0], minlength=told.z.size)
    regular = 1.0 - told.w_out - told.w_step
    weight = np.nan_to_num(regular / told.sd**2).ravel() / np.maximum(per_visit, 1)
    surprise = np.nan_to_num(told.z * told.sd).ravel()
    known = place >= 0
    return np.where(known, surprise[place] + u, 0.0), np.where(known, weight[place], 0.0)


def _backfit(surprise: FloatArray, precision: FloatArray, factors: list[_Factor], start_var: float) -> list[Effects]:
    total = [factor.sums(precision) for factor in factors]
    variance = [start_var] * len(factors)
    bias = [np.zeros(len(factor.labels)) for factor in factors]
    rest = surprise.copy()
    for _ in range(_SWEEPS):
        for n, factor in enumerate(factors):
            rest += factor.spread(bias[n])
            after = 1.0 / (total[n] + 1.0 / variance[n])
            bias[n] = after * factor.sums(precision * rest)
            rest -= factor.spread(bias[n])
            if (used := total[n] > 0).any():
                variance[n] = float((bias[n] ** 2 + after)[used].mean())
    return [
        Effects(factor.labels, each, np.sqrt(1.0 / (sums + 1.0 / var)), factor.sums(np.sign(precision)).astype(np.intp))
        for factor, each, sums, var in zip(factors, bias, total, variance, strict=True)
    ]


def _less(panel: Panel, place: IntArray, u: FloatArray) -> Panel:
    """The panel with each record's u taken off what was read, as found and as left."""
    known, shape = place >= 0, panel.as_found.shape
    size = panel.as_found.size
    count = np.bincount(place[known], minlength=size)
    off = (np.bincount(place[known], u[known], size) / np.maximum(count, 1)).reshape(shape)
    return replace(panel, as_found=panel.as_found - off, as_left=panel.as_left - off)


def _relearned(panel: Panel, hyper: Hyper) -> Hyper:
    robust, mixture, groups = hyper.e_o + hyper.lam > 0, hyper.pi > 0, bool(hyper.groups)
    return fit(panel, hyper.prior, warm=hyper, robust=robust, mixture=mixture, groups=groups)


def _checks(surprise: FloatArray, precision: FloatArray, analysers: _Factor, t_years: FloatArray) -> Checks:
    """Of the last readings; the day's error and other analysers' are taken off, the analyser's own is not."""
    z = np.clip(surprise * np.sqrt(np.maximum(precision, 0.0)), -3.0, 3.0)
    judged = np.flatnonzero((precision > 0) & (analysers.code >= 0))
    latest = judged[np.lexsort((-t_years[judged], analysers.code[judged]))]
    code = analysers.code[latest]
    rank = np.arange(code.size) - np.searchsorted(code, np.arange(len(analysers.labels)))[code]
    kept, groups = rank < RECENT_READINGS, len(analysers.labels)
    n = np.bincount(code[kept], minlength=groups)
    mean = np.bincount(code[kept], z[latest][kept], groups) / np.maximum(n, 1)
    score = mean * np.sqrt(n)
    return Checks(analysers.labels, n, mean, score, np.abs(score) > ALARM_BEYOND)
