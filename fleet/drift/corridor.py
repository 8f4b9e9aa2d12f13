"""Where a value must stay, and the chance that a normal one doesn't."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import ndtr

from .series import FloatArray

Bound = float | FloatArray


@dataclass(frozen=True, eq=False)
class Limits:
    """Where the true value must stay, unit of the quantity; each a float or one per unit (N,).

    lower, upper : None = no limit on that side; at least one.    target : within them, if given.
    ValueError for limits that are not finite, in the wrong order or don't enclose the target.
    """

    lower: Bound | None
    upper: Bound | None
    target: Bound | None = None

    def __post_init__(self) -> None:
        if self.lower is None and self.upper is None:
            raise ValueError("limits need a lower or an upper bound")
        for name in ("lower", "upper", "target"):
            value = getattr(self, name)
            if value is not None and not np.isfinite(value).all():
                raise ValueError(f"{name} must be finite, or None")
        steps = [np.asarray(v, float) for v in (self.lower, self.target, self.upper) if v is not None]
        if any(not np.all(low < high) for low, high in pairwise(steps)):
            raise ValueError("limits must rise from lower through target to upper")

    def take(self, part: slice) -> Limits:
        """The limits of these units."""
        return Limits(*(bound[part] if isinstance(bound, np.ndarray) else bound for bound in self._bounds))

    @property
    def _bounds(self) -> tuple[Bound | None, ...]:
        return self.lower, self.upper, self.target

    @property
    def floor(self) -> Bound:
        """The lower limit, minus infinity where there is none."""
        return -np.inf if self.lower is None else self.lower

    @property
    def ceiling(self) -> Bound:
        """The upper limit, infinity where there is none."""
        return np.inf if self.upper is None else self.upper


def chance_outside(mean: FloatArray, sd: FloatArray, floor: Bound, ceiling: Bound) -> FloatArray:
    """Chance that a normal value is below the floor or above the ceiling."""
    return np.asarray(ndtr((floor - mean) / sd) + ndtr((mean - ceiling) / sd))
