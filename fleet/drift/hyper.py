"""What is believed of a fleet before its records speak (Prior) and after (Hyper); the law is in `model`."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Self

import numpy as np

MIN_SERIES_FOR_FIT = 30
"""Fewer series with a reading after their start than this: forecast from assumptions, and say so."""

READING_SD = {"co2": 0.12, "o2": 0.21}
"""Assumed standard deviation of one dry reading [vol %]: ours, not a finding.

O2 is CO2's times 20.9 / 11.8, the O2 of air over the CO2 of natural gas burnt without excess air.
"""

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

    def __post_init__(self) -> None:
        for name, value in asdict(self).items():
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be finite and above 0, got {value}")

    @classmethod
    def of(cls, quantity: str) -> Prior:
        """The prior of "co2" or "o2" [vol %, dry]. ValueError for another: give its tau0 yourself."""
        if quantity not in READING_SD:
            raise ValueError(f"quantity must be one of {sorted(READING_SD)}, got {quantity!r}")
        tau0 = READING_SD[quantity]
        return cls(tau0=tau0, missing_left_sd=0.25 * tau0 / READING_SD["co2"])


@dataclass(frozen=True)
class Hyper:
    """What the fleet teaches about any of its units.

    m, s2    : mean [unit/year] and variance [unit^2/year^2] of the units' drifts.
    q, r     : variance of the wandering [unit^2/year] and of one reading [unit^2].
    rho, w2  : the reset law (see the module); w2 [unit^2].
    n_series : series that taught it, 0 when assumed.
    basis    : "fitted" or "from assumptions".
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

    def __post_init__(self) -> None:
        for name in ("m", "s2", "q", "r", "rho", "w2"):
            if not np.isfinite(getattr(self, name)):
                raise ValueError(f"{name} must be finite")
        for name in ("s2", "q"):
            if getattr(self, name) < 0:
                raise ValueError(f"{name} must not be negative")
        for name in ("r", "w2"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} must be above 0")

    @property
    def version(self) -> str:
        """16 hex digits of the SHA-256 of the content: equal numbers, equal version."""
        return hashlib.sha256(self._content().encode()).hexdigest()[:16]

    def to_json(self) -> str:
        """Exact to the last bit: a report can be made again from it."""
        return json.dumps(json.loads(self._content()) | {"version": self.version}, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The inverse of `to_json`. ValueError if the content no longer matches its version."""
        content = json.loads(text)
        version = content.pop("version", None)
        hyper = cls(**content | {"prior": Prior(**content["prior"])})
        if hyper.version != version:
            raise ValueError(f"version {version} does not belong to this content ({hyper.version})")
        return hyper

    def _content(self) -> str:
        return json.dumps(asdict(self), sort_keys=True)


def assumed(quantity: str) -> Hyper:
    """Hyper-parameters FROM ASSUMPTIONS, for a contractor whose own records don't yet support a fit.

    quantity : "co2" or "o2". The centres of the priors: no drift on average (m = 0), rho = 1, and
    s2 = q = r = w2 = tau0^2. Nothing in it was measured; `basis` says so and `n_series` is 0.
    """
    prior = Prior.of(quantity)
    variance = prior.tau0**2
    return Hyper(0.0, variance, variance, variance, prior.rho_mean, variance, 0, prior, ASSUMED)
