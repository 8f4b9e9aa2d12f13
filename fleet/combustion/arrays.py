"""What every function of this room shares about numbers.

Arguments are scalars or arrays and broadcast together. NaN in gives NaN out. Scalars in give a numpy
float64 (which is a Python float), arrays give arrays. Data never raise and never warn: a value that a
formula can't serve becomes NaN. Only misuse (an unknown fuel species, an unknown control) raises ValueError.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Division by zero and NaN comparisons are answered by only_where, so numpy need not warn about them.
QUIET = np.errstate(divide="ignore", invalid="ignore", over="ignore")


def floats(values: ArrayLike) -> Floats:
    """The values as float64; a float64 array passes through uncopied."""
    return np.asarray(values, dtype=np.float64)


def only_where(condition: Any, values: Any) -> Floats:
    """The values where the condition holds, NaN elsewhere; both numpy's, a scalar stays a numpy scalar.

    Where it holds throughout, the values themselves and no copy.
    """
    if condition.ndim == 0:
        holds = bool(condition)
    else:
        holds = values.shape == condition.shape and np.count_nonzero(condition) == condition.size
    kept: Floats = (values if holds else np.where(condition, values, np.nan))[()]
    return kept
