"""Chance that a wandering value stays between its limits: Wiener process with a normally distributed drift.

Given both ends of the path, whether it touched a limit depends on the wandering alone, not on the drift (a
Brownian bridge). So survival is the integral over the end point of its normal density times the bridge's
chance to stay inside, a sum of images; each image integrates to normal distribution functions.
Images between two limits: Darling & Siegert, Annals of Mathematical Statistics 24 (1953) 624-639; one limit:
Chhikara & Folks, The Inverse Gaussian Distribution (1989); normally distributed drift integrated out, one
limit: Whitmore, Scandinavian Journal of Statistics 13 (1986) 215-219. [Citations from memory.]
The scaled complementary error function keeps each image exact where its factors over- and underflow.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import erfcx, ndtr

from .series import FloatArray

_ROOT_2 = np.sqrt(2.0)
_SPENT = 7.0  # at q h = 7 w^2 less than 1e-14 of all paths are still inside, so a longer time changes nothing
_IMAGES_PER_ROOT = 3.5  # the images left out are then some exp(-2 * 3.5^2) of those kept


class _Path(NamedTuple):
    """Start [unit], drift [unit/year] and its variance, wandering q [unit^2/year], time [years]."""

    start: FloatArray
    drift: FloatArray
    drift_var: FloatArray
    q: FloatArray
    years: FloatArray

    @property
    def spread(self) -> FloatArray:
        return np.asarray(np.sqrt(self.years * (self.q + self.drift_var * self.years)))


def survival_below(
    distance: FloatArray, drift: FloatArray, drift_var: FloatArray, q: FloatArray, years: FloatArray
) -> FloatArray:
    """Chance that a path starting `distance` below a limit has not touched it within `years`.

    distance >= 0 [unit]; drift [unit/year] towards the limit, drift_var >= 0; q > 0 [unit^2/year]; years > 0.
    """
    path = _Path(-distance, drift, drift_var, q, years)
    free = (distance - drift * years) / path.spread
    u = -_centre(path, 2.0 * distance) / path.spread
    beyond = u < 0
    # The mirror image: its tail where its centre lies beyond the limit, else nearly the whole of it.
    mirror = np.exp(np.where(beyond, 0.0, 0.5 * u * u) - 0.5 * free * free)
    mirror *= np.where(beyond, 0.5 * erfcx(np.abs(u) / _ROOT_2), ndtr(u))
    return np.asarray(np.clip(ndtr(free) - mirror, 0.0, 1.0))


def survival_between(
    start: FloatArray, width: FloatArray, drift: FloatArray, drift_var: FloatArray, q: FloatArray, years: FloatArray
) -> FloatArray:
    """Chance that a path starting at `start` has touched neither 0 nor `width` within `years`.

    0 <= start <= width [unit]; the rest as in `survival_below`.
    """
    capped = np.minimum(years, _SPENT * width**2 / q)
    path = _Path(start, drift, drift_var, q, capped)
    reach = _IMAGES_PER_ROOT * np.sqrt(np.max(q * capped / width**2, initial=0.0))
    level = max(1, int(np.ceil(reach)))
    survival = np.zeros(np.broadcast(*path, width).shape)
    for n in range(-level, level + 1):
        survival += _image_between(path, 2.0 * n * width, width)
        if n > -level:
            survival -= _image_between(path, 2.0 * (n * width - start), width)
    return np.clip(survival, 0.0, 1.0)


def chance_of_both(
    start: FloatArray, width: FloatArray, drift: FloatArray, drift_var: FloatArray, q: FloatArray, years: FloatArray
) -> FloatArray:
    """No less than the chance that a path touches both 0 and `width` within `years`; arguments as above.

    Where it is next to nothing, leaving is touching one or the other: two times `survival_below` will do.
    By the images of the paths that touch one limit and then the other; 1 where the drift alone would cross.
    """
    spread = np.sqrt(years * (q + drift_var * years))
    carried, scale = drift * years, 2.0 * width / (q * years)
    up = np.maximum(width - start - carried, 0.0) / spread
    down = np.maximum(start + carried, 0.0) / spread
    chance = np.exp(-scale * start - 0.5 * up * up) + np.exp(-scale * (width - start) - 0.5 * down * down)
    return np.asarray(np.where(np.abs(carried) < width, np.minimum(1.5 * chance, 1.0), 1.0))


def _exponent(path: _Path, shift: FloatArray, end: FloatArray | float) -> FloatArray:
    """Log of an image's density at `end`, less that of a normal density's constant; never above 0 inside."""
    moved = end - path.start
    free = (moved - path.drift * path.years) / path.spread
    return shift * (moved - 0.5 * shift) / (path.q * path.years) - 0.5 * free**2


def _centre(path: _Path, shift: FloatArray) -> FloatArray:
    return path.start + shift + (path.drift + shift * path.drift_var / path.q) * path.years


def _tail(path: _Path, shift: FloatArray, end: FloatArray | float, u: FloatArray) -> FloatArray:
    """Mass of an image beyond `end`, on the side away from its centre; u = (end - centre) / spread."""
    mass = 0.5 * erfcx(np.abs(u) / _ROOT_2) * np.exp(_exponent(path, shift, end))
    return np.asarray(np.where(u < 0, mass, -mass))


def _image_between(path: _Path, shift: FloatArray, top: FloatArray) -> FloatArray:
    """Mass of an image between 0 and `top`."""
    spread, centre = path.spread, _centre(path, shift)
    u_top, u_bottom = (top - centre) / spread, -centre / spread
    mass = _tail(path, shift, top, u_top) - _tail(path, shift, 0.0, u_bottom)
    inside = (u_top >= 0) & (u_bottom < 0)
    if inside.any():
        peak = _exponent(path, shift, np.where(inside, centre, 0.0))
        mass += np.where(inside, np.exp(np.minimum(peak, 0.0)), 0.0)
    return mass
