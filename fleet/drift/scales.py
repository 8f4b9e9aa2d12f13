"""The scales on which quantities drift, and how far one reading errs on each."""

from __future__ import annotations

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
