"""What is believed of a fleet before its records speak (Prior) and after (Hyper), and the scales on which quantities
drift; the law is in `recursion`."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from .series import FloatArray

READING_SD = {"co2": 0.12, "o2": 0.21, "co": 0.25, "flue_temp_rise": 5.0}
"""Assumed standard deviation of one reading: ours, not findings.

co2, o2        : [vol %, dry]. O2 is CO2's times 20.9 / 11.8, the O2 of air over the CO2 of natural gas burnt
                 without excess air.
co             : of log1p of ppm air-free: a quarter of the reading. Near zero the analyser's absolute error is more:
                 see `co_scale`.
flue_temp_rise : flue less intake air temperature [K], at whatever load and water temperature the day gives.
"""


def co_scale(co_ppm: ArrayLike, absolute_sd_ppm: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """A CO reading on the scale it drifts on, and its noise_scale for Panel.from_records.

    co_ppm          : CO air-free [ppm, dry], at least 0; NaN = missing. Below 0 is no reading and becomes NaN.
    absolute_sd_ppm : standard deviation of the analyser's absolute error, made air-free by the same factor [ppm].

    value = log1p(co); noise_scale = 1 + (absolute_sd / (1 + co))^2 / tau0^2, with tau0 = READING_SD["co"] the
    relative error: the slope of log1p is 1 / (1 + co). Limits go on the scale by log1p as well.
    >>> [float(each.round(3)) for each in co_scale(39.0, 5.0)]
    [3.689, 1.25]
    """
    reading, error = np.asarray(co_ppm, float), np.asarray(absolute_sd_ppm, float)
    if not (error >= 0).all():
        raise ValueError("absolute_sd_ppm must not be negative")
    known = np.where(reading >= 0, reading, np.nan)
    spread = error / (1.0 + np.where(np.isnan(known), 0.0, known)) / READING_SD["co"]
    return np.log1p(known), np.where(np.isnan(known), 1.0, 1.0 + spread**2)


MIN_SERIES_FOR_FIT = 30
"""Fewer series with a reading after their start than this: forecast from assumptions, and say so."""

FITTED, ASSUMED = "fitted", "from assumptions"


@dataclass(frozen=True)
class Prior:
    """What is believed about a fleet before its records speak.

    tau0            : standard deviation of one reading, unit of the quantity; all else is scaled by it.
    log_r_sd        : log r ~ N(log tau0^2, log_r_sd^2). Needed: where every visit adjusts at equal spacing,
                      only q dt + r + w2 is seen, never its parts.
    rho_mean, rho_sd, rho_max      : rho ~ N(rho_mean, rho_sd^2) within [0, rho_max].
    log_w2_sd, log_s2_sd, log_q_sd : as log_r_sd, for w2, s2 [per year^2] and q [per year].
    log_bound       : the log of each variance stays within +-log_bound of log tau0^2.
    missing_left_sd : spread about the target after an adjustment whose as-left reading is missing.
    kappa           : how many times wider the drifts of the few fast units are.
    pi_mean, logit_pi_sd           : logit pi ~ N(logit pi_mean, logit_pi_sd^2), pi the share of fast units.
    log_s2_group_sd, log_q_group_sd : spread of log s2 and log q of the groups about the fleet's.
    rare_events, rare_exposure     : e_o and lam before any record: rare_events in rare_exposure readings or years.

    The figures are our own assumptions, not findings.
    """

    tau0: float
    log_r_sd: float = 0.6
    rho_mean: float = 1.0
    rho_sd: float = 0.5
    rho_max: float = 1.2
    log_w2_sd: float = 1.5
    log_s2_sd: float = 3.0
    log_q_sd: float = 3.0
    log_bound: float = 7.0
    missing_left_sd: float = 0.25
    kappa: float = 5.0
    pi_mean: float = 0.0474
    logit_pi_sd: float = 1.0
    log_s2_group_sd: float = 0.4
    log_q_group_sd: float = 0.4
    rare_events: float = 0.5
    rare_exposure: float = 50.0

    def __post_init__(self) -> None:
        for name, value in asdict(self).items():
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be finite and above 0, got {value}")
        if self.pi_mean >= 1:
            raise ValueError(f"pi_mean must be below 1, got {self.pi_mean}")

    @classmethod
    def of(cls, quantity: str) -> Prior:
        """The prior of "co2" or "o2" [vol %, dry], "co" [log1p of ppm air-free] or "flue_temp_rise" [K].

        ValueError for another: give its tau0 yourself.
        """
        if quantity not in READING_SD:
            raise ValueError(f"quantity must be one of {sorted(READING_SD)}, got {quantity!r}")
        tau0 = READING_SD[quantity]
        return cls(tau0=tau0, missing_left_sd=0.25 * tau0 / READING_SD["co2"])


class Group(NamedTuple):
    """What the fleet teaches about one group (appliance model): drift [unit/year], variances, and v = Var m."""

    m: float
    s2: float
    q: float
    v: float


@dataclass(frozen=True)
class Hyper:
    """What the fleet teaches about any of its units.

    m, s2    : mean [unit/year] and variance [unit^2/year^2] of the units' drifts within a group.
    q, r     : variance of the wandering [unit^2/year] and of one reading [unit^2].
    rho, w2  : the reset law (see `recursion`); w2 [unit^2].
    n_series : series that taught it, 0 when assumed.
    basis    : "fitted" or "from assumptions".
    pi       : share of fast units, whose drifts vary by kappa^2 s2; 0 = none.
    e_o, lam : chance that a reading is an outlier; sudden steps a year. Both 0 = the plain Kalman filter.
    om2      : variance of the groups' mean drifts about m [unit^2/year^2].
    groups   : by group id. A unit of any other has the fleet's q, and its drift is N(m, s2 + om2).
    """

    m: float
    s2: float
    q: float
    r: float
    rho: float
    w2: float
    n_series: int
    prior: Prior
    basis: str = FITTED
    pi: float = 0.0
    e_o: float = 0.0
    lam: float = 0.0
    om2: float = 0.0
    groups: Mapping[str, Group] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("m", "s2", "q", "r", "rho", "w2", "pi", "e_o", "lam", "om2"):
            if not np.isfinite(getattr(self, name)):
                raise ValueError(f"{name} must be finite")
        for name in ("s2", "q", "pi", "e_o", "lam", "om2"):
            if getattr(self, name) < 0:
                raise ValueError(f"{name} must not be negative")
        for name in ("r", "w2"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} must be above 0")
        for name in ("pi", "e_o"):
            if getattr(self, name) >= 1:
                raise ValueError(f"{name} must be below 1")
        for group_id, group in self.groups.items():
            if not (isinstance(group_id, str) and np.isfinite(group).all() and min(group[1:]) >= 0):
                raise ValueError(f"groups must map strings to finite figures, variances not negative: {group_id!r}")

    @property
    def version(self) -> str:
        """16 hex digits of the SHA-256 of the content: equal numbers, equal version."""
        return hashlib.sha256(self._content().encode()).hexdigest()[:16]

    def to_json(self) -> str:
        """Exact to the last bit: a report can be made again from it."""
        return json.dumps(json.loads(self._content()) | {"version": self.version}, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The inverse of `to_json`; fields that are missing have their defaults, those of the plain filter.

        ValueError if the content no longer matches its version.
        """
        content = json.loads(text)
        version = content.pop("version", None)
        groups = {group_id: Group(*figures) for group_id, figures in content.pop("groups", {}).items()}
        hyper = cls(**content | {"prior": Prior(**content["prior"]), "groups": groups})
        if hyper.version != version:
            raise ValueError(f"version {version} does not belong to this content ({hyper.version})")
        return hyper

    def _content(self) -> str:
        content = {name: getattr(self, name) for name in self.__dataclass_fields__}
        content |= {"prior": _spoken(asdict(self.prior), _PRIOR_DEFAULTS), "groups": dict(self.groups)}
        return json.dumps(_spoken(content, _HYPER_DEFAULTS), sort_keys=True)


# Left out where they stand at these figures: what was written before the fields existed keeps its version.
_HYPER_DEFAULTS: dict[str, Any] = {"pi": 0.0, "e_o": 0.0, "lam": 0.0, "om2": 0.0, "groups": {}}
_PRIOR_DEFAULTS: dict[str, Any] = {
    name: Prior.__dataclass_fields__[name].default
    for name in ("kappa", "pi_mean", "logit_pi_sd", "log_s2_group_sd", "log_q_group_sd", "rare_events", "rare_exposure")
}


def _spoken(content: dict[str, Any], defaults: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if name not in defaults or value != defaults[name]}


def assumed(quantity: str) -> Hyper:
    """Hyper-parameters FROM ASSUMPTIONS, for a contractor whose own records don't yet support a fit.

    quantity : as for Prior.of. The centres of the priors: no drift on average (m = 0), rho = 1,
    s2 = q = r = w2 = tau0^2, one unit in twenty drifting fast, one reading in a hundred an outlier, one sudden
    step in a hundred years. Nothing in it was measured; `basis` says so and `n_series` is 0.
    """
    prior = Prior.of(quantity)
    variance, rare = prior.tau0**2, prior.rare_events / prior.rare_exposure
    figures = (0.0, variance, variance, variance, prior.rho_mean, variance)
    return Hyper(*figures, 0, prior, ASSUMED, pi=prior.pi_mean, e_o=rare, lam=rare)
