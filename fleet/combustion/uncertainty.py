"""How far a derived figure can be trusted: what the analyser states, carried to every figure.

The law of propagation of uncertainty, JCGM 100:2008 (5.1.2, equation 10), with the inputs independent. Each
contribution is half the difference of the figure one standard uncertainty above and below the reading
(5.1.3, note 2), so that a bend of the model near the reading, as at the dew point, is averaged over the width
that matters. All readings with all their steps are one call of `derived_figures`.

Against a simulation with normal inputs this is right to 2 % where the model is nearly straight. It isn't
- within three standard uncertainties of the dew point: condensate and efficiency come up to a fifth too large
  just below it, and too small above it, where one uncertainty away no condensate is seen;
- where O2 lies within two of 0, which a true O2 can't fall below: the ratio's comes 6 % too large at two, and
  more nearer to 0;
- at the edges of 18 % O2, where air-free figures end: 4 % there, in either direction.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from fleet.combustion.figures import READ_COLUMNS, derived_figures, read_columns
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT, O2_AIR_TRADE_PCT
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import STANDARD_PRESSURE_PA
from fleet.combustion.plausibility import Co2Basis
from fleet.combustion.regulation import LossCoefficients

COVERAGE_FACTOR: Final = 2.0
CO2_BASES: Final = ("measured", "calculated", "absent")
O2, CO2, CO = (READ_COLUMNS.index(name) for name in ("o2_pct", "co2_pct", "co_ppm"))
# Figures of CO itself, or of the heat that it takes along.
OF_CO: Final = ("co_", "unburnt_", "efficiency_")
EACH_COLUMN: Final = np.arange(len(READ_COLUMNS))

# The names by which an analyser states its accuracy, and the columns that they are about.
STATED_NAMES: Final = MappingProxyType(
    {
        "o2": "o2_pct",
        "co2": "co2_pct",
        "co": "co_ppm",
        "no": "no_ppm",
        "nox": "nox_ppm",
        "flue_temp": "flue_temp_c",
        "air_temp": "air_temp_c",
        "input": "input_kw_gross",
    }
)
# The least step, where the uncertainty is smaller or not stated: a tenth of what analysers show, far above rounding.
LEAST_STEPS: Final = np.array(
    [0.01 if name in ("o2_pct", "co2_pct", "input_kw_gross") else 0.1 for name in READ_COLUMNS]
)
# What can't be negative may not be stepped below 0; CO2 has an edge of its own.
LEAST_VALUES: Final = np.array([-np.inf if name.endswith(("_c", "co2_pct")) else 0.0 for name in READ_COLUMNS])
# Where figures end: from these O2 upwards there is no air-free figure, dilution, ratio or regulation's loss.
O2_ENDS_PCT: Final = np.array([O2_TOO_DILUTE_PCT, O2_AIR_TRADE_PCT, O2_AIR_PCT, 21.0, np.inf])
# A difference this small against the figure is rounding, not dependence.
ROUNDING_SHARE: Final = 1e-11
ROUNDING_FLOOR: Final = 1e-13
DIRECTIONS: Final = MappingProxyType({"more_than": 1.0, "less_than": -1.0})
# By whether a figure is pulled up and whether it is pulled down.
WORDS: Final = MappingProxyType(
    {(True, False): "more_than", (False, True): "less_than", (True, True): "not_known", (False, False): ""}
)


@dataclass(frozen=True, slots=True)
class Derived:
    """What readings mean and how far to trust it.

    figures: as derived_figures gives them. u: the standard uncertainty of each, in its unit; NaN where the
    figure is, and where it rests on a reading whose uncertainty is not stated.
    qualifiers: a mapping a reading, in their order: figure to "more_than", "less_than" or "not_known"; a
    figure without an entry is as good as its readings.
    """

    figures: Mapping[str, Floats]
    u: Mapping[str, Floats]
    qualifiers: tuple[Mapping[str, str], ...]


# ---- what the analyser states ----


def standard_uncertainties(
    accuracy: Mapping[str, Mapping[str, Any]],
    read: Mapping[str, ArrayLike],
    *,
    calibration: Mapping[str, Mapping[str, Any]] | None = None,
) -> dict[str, Floats]:
    """Standard uncertainty of what was read, by column, in its unit; NaN where it isn't stated, never 0.

    accuracy: expanded figures (k = 2) as the analyser states them, by quantity (STATED_NAMES, or the columns'
    own names): {"o2": {"absolute": "0.3", "relative_pct": "0"}, ...}; the larger of the absolute figure [unit
    of the column] and the share of the reading [%] counts. Other quantities are left alone.
    calibration: the certificate's own expanded uncertainty in the same shape; it comes on top, and can't
    stand for an accuracy that nobody stated.
    read: as in derived_figures. Where nothing was read a plain absolute figure holds all the same.
    Raises ValueError for a figure that is negative or no number.

    Equation: u² = (U/2)² + (U_certificate/2)².    Source: JCGM 100:2008, 4.3.3 and 5.1.2.

    >>> stated = {"co": {"absolute": "20", "relative_pct": "5"}}
    >>> standard_uncertainties(stated, {"co_ppm": [100.0, 1000.0]})["co_ppm"].tolist()
    [10.0, 25.0]
    """
    columns = read_columns(read)
    own = _expanded("accuracy", accuracy, columns)
    certificate = _expanded("calibration", calibration, columns) if calibration else np.zeros_like(own)
    u = np.hypot(own, np.where(np.isnan(certificate), 0.0, certificate)) / COVERAGE_FACTOR
    return dict(zip(READ_COLUMNS, u, strict=True))


def _expanded(argument: str, stated: Mapping[str, Mapping[str, Any]], columns: Floats) -> Floats:
    """The stated figures at the readings; NaN for a quantity left out, or with no figure above 0."""
    expanded = np.full_like(columns, np.nan)
    for name, figures in stated.items():
        column = STATED_NAMES.get(name, name)
        absolute, share = (_stated(argument, name, figures, key) for key in ("absolute", "relative_pct"))
        if column in READ_COLUMNS and max(absolute, share) > 0:
            row = READ_COLUMNS.index(column)
            expanded[row] = np.maximum(absolute, share / 100 * np.abs(columns[row])) if share else absolute
    return expanded


def _stated(argument: str, name: str, figures: Mapping[str, Any], key: str) -> float:
    text = figures.get(key) or 0
    try:
        figure = float(text)
    except (TypeError, ValueError):
        figure = math.nan
    if not (math.isfinite(figure) and figure >= 0):
        raise ValueError(f"{argument}: {key} of {name} is {text!r}, but must be a number and not negative")
    return figure


# ---- carried to the figures ----


@QUIET
def figures_with_uncertainty(
    fuel: AnyFuel,
    read: Mapping[str, ArrayLike],
    u: Mapping[str, ArrayLike],
    qualifiers: Sequence[Mapping[str, str]] = (),
    *,
    co2_basis: Co2Basis | Sequence[Co2Basis] = "measured",
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    humidity_ratio: ArrayLike = 0.0,
    loss: LossCoefficients | None = None,
) -> Derived:
    """Derived figures, the standard uncertainty of each, and the "more_than" or "less_than" that they inherit.

    read, pressure_pa, humidity_ratio, loss: as in derived_figures. Pressure, humidity, fuel and the regulation
    count as exact.
    u: standard uncertainty by column, as standard_uncertainties gives it; a column left out is not stated.
    qualifiers: one mapping a reading, quantity or column to "more_than" or "less_than" (other words are
    passed over); each figure inherits by the sign of its sensitivity at the reading, and is "not_known" where
    two readings pull opposite ways.
    co2_basis: one for all or one a reading. A CO2 calculated from O2 moves with it along the fuel's line: its
    uncertainty is the line's slope times that of O2, fully correlated, and its own is ignored.
    Raises ValueError for an unknown column, an unknown basis or a number of qualifiers other than the readings'.

    An input that wasn't read contributes nothing. Steps end at the edges of what the formulas serve. Very many
    readings are better given in parts of some thousands: each is calculated seventeen times at once.

    >>> from fleet.combustion.fuels import FUELS
    >>> read = {"o2_pct": 5.0, "co_ppm": 2000.0}
    >>> u = {"o2_pct": 0.15, "co_ppm": 50.0}
    >>> found = figures_with_uncertainty(FUELS["natural_gas"], read, u, [{"co": "more_than"}])
    >>> round(float(found.u["co2_pct"]), 3), found.qualifiers[0]["co_ppm_air_free"]
    (0.085, 'more_than')
    """
    columns = read_columns(read)
    _check_shape("pressure_pa", pressure_pa, columns)
    _check_shape("humidity_ratio", humidity_ratio, columns)
    stated = _by_column(u, columns)
    calculated = _is_calculated(co2_basis)
    follows = calculated & ~np.isnan(columns[O2])
    slope = (CO2_AIR_PCT - fuel.co2_max_pct) / O2_AIR_PCT
    stated[CO2] = np.where(follows, 0.0, np.where(calculated, np.abs(slope) * stated[O2], stated[CO2]))
    lower, upper = _steps(columns, stated, fuel.co2_max_pct, slope)
    stacked = _stacked(columns, lower, upper)
    # Halfway to 0 at most, so that CO over CO2 stays a number.
    along = np.maximum(stacked[CO2] + slope * (stacked[O2] - columns[O2]), columns[CO2] / 2)
    stacked[CO2] = np.where(follows, along, stacked[CO2])
    figures = derived_figures(
        fuel,
        dict(zip(READ_COLUMNS, stacked, strict=True)),
        pressure_pa=pressure_pa,
        humidity_ratio=humidity_ratio,
        loss=loss,
    )
    names, values = tuple(figures), np.array(tuple(figures.values()))
    base, moved = values[:, 0], _moved(values)
    contributions = np.where(moved == 0, 0.0, moved * (stated / (upper - lower)))
    # How well CO was read hardly moves what it only balances (5 % of 5 000 ppm: 0.02 points of CO2): where that isn't
    # stated, it takes no uncertainty away.
    balanced = [n for n, name in enumerate(names) if not name.startswith(OF_CO)]
    contributions[balanced, CO] = np.where(np.isnan(stated[CO]), 0.0, contributions[balanced, CO])
    # A figure that isn't there doesn't move by a number either, so that its uncertainty isn't one.
    combined = np.sqrt((contributions**2).sum(axis=1))
    return Derived(
        figures=dict(zip(names, base, strict=True)),
        u=dict(zip(names, combined, strict=True)),
        qualifiers=_carried(names, moved, qualifiers) if qualifiers else (),
    )


def _check_shape(argument: str, value: ArrayLike, columns: Floats) -> None:
    if np.shape(value) not in ((), columns.shape[1:]):
        raise ValueError(
            f"{argument}: its shape is {np.shape(value)}, but must be that of the readings, {columns.shape[1:]}"
        )


def _by_column(u: Mapping[str, ArrayLike], columns: Floats) -> Floats:
    """The stated standard uncertainties in the order and shape of the columns, NaN where not stated."""
    if unknown := sorted(set(u) - set(READ_COLUMNS)):
        raise ValueError(f"u: {', '.join(unknown)} is not known; known are {', '.join(READ_COLUMNS)}")
    stated = np.empty_like(columns)
    for row, name in enumerate(READ_COLUMNS):
        stated[row] = u.get(name, np.nan)
    if (stated < 0).any():
        raise ValueError("u: a standard uncertainty is negative, but must be 0 or more, or NaN where not stated")
    return stated


def _is_calculated(co2_basis: Co2Basis | Sequence[Co2Basis]) -> Any:
    bases = {co2_basis} if isinstance(co2_basis, str) else set(co2_basis)
    if unknown := sorted(bases - set(CO2_BASES)):
        raise ValueError(f"co2_basis: {', '.join(unknown)} is not one of {', '.join(CO2_BASES)}")
    return co2_basis == "calculated" if isinstance(co2_basis, str) else np.array(co2_basis) == "calculated"


def _steps(columns: Floats, stated: Floats, co2_max_pct: Any, slope: Any) -> tuple[Floats, Floats]:
    """A value below and one above each reading, one standard uncertainty away or as far as the formulas reach."""
    across = (-1, *[1] * (columns.ndim - 1))
    step = np.fmax(stated, LEAST_STEPS.reshape(across))
    upper, lower = columns + step, np.maximum(columns - step, np.minimum(columns, LEAST_VALUES.reshape(across)))
    o2, co2, co = columns[O2], columns[CO2], np.nan_to_num(columns[CO]) / 1e4
    # CO burns out with half as much O2, and to as much CO2: no more than there is, and to no more than the fuel makes.
    whole = np.where(np.isnan(o2), co2_max_pct * (1 - co / 200) - co, co2_max_pct)
    edge = np.where(co2 <= whole, whole, np.where(co2 <= co2_max_pct, co2_max_pct, np.inf))
    upper[CO2] = np.minimum(upper[CO2], edge)
    lower[O2] = np.where(o2 >= co / 2, np.maximum(lower[O2], co / 2), lower[O2])
    room = np.where(np.isnan(o2), (co2_max_pct - co2) / (1 + co2_max_pct / 200), 2 * o2)
    upper[CO] = np.minimum(upper[CO], np.maximum(columns[CO], np.where(np.isnan(room), np.inf, 1e4 * room)))
    # Less CO2 is more O2 on the fuel's line, and ends where O2 does.
    as_o2 = (np.array([co2, lower[CO2]]) - co2_max_pct) / slope
    upper[O2], reach = _short_of_an_end(np.array([columns[O2], as_o2[0]]), np.array([upper[O2], as_o2[1]]))
    lower[CO2] = np.where(co2 > 0, np.maximum(co2_max_pct + slope * reach, co2 / 2), lower[CO2])
    return lower, upper


def _short_of_an_end(o2_pct: Floats, wanted_pct: Floats) -> Floats:
    """The O2 wanted, or halfway to the next end of a formula above this O2."""
    end = O2_ENDS_PCT[np.searchsorted(O2_ENDS_PCT[:-1], o2_pct, side="right")]
    reach = np.minimum(wanted_pct, (o2_pct + end) / 2)
    return np.where(reach < end, reach, o2_pct)


def _stacked(columns: Floats, lower: Floats, upper: Floats) -> Floats:
    """The readings as they are, then for each column in turn with its upper and with its lower value."""
    stacked = np.repeat(columns[:, None], 1 + 2 * len(columns), axis=1)
    stacked[EACH_COLUMN, 1 + 2 * EACH_COLUMN] = upper
    stacked[EACH_COLUMN, 2 + 2 * EACH_COLUMN] = lower
    return stacked


def _moved(values: Floats) -> Floats:
    """How far each figure moves from the lower to the upper value of each column; 0 where only by rounding."""
    moved = values[:, 1::2] - values[:, 2::2]
    rounding = ROUNDING_SHARE * np.abs(values[:, :1]) + ROUNDING_FLOOR
    return np.where(np.abs(moved) <= rounding, 0.0, moved)


def _carried(
    names: Sequence[str], moved: Floats, qualifiers: Sequence[Mapping[str, str]]
) -> tuple[dict[str, str], ...]:
    by_reading = moved.reshape(*moved.shape[:2], -1)
    count = by_reading.shape[2]
    if len(qualifiers) != count:
        raise ValueError(f"qualifiers: there are {len(qualifiers)}, but must be one for each of {count} readings")
    return tuple(_inherited(names, by_reading[:, :, n], said) for n, said in enumerate(qualifiers))


def _inherited(names: Sequence[str], moved: Floats, said: Mapping[str, str]) -> dict[str, str]:
    """What the words of one reading make of its figures, by the sign of how far each moves with each column."""
    ways = _directions(said)
    if not ways:
        return {}
    pulls = (moved[:, list(ways)] * list(ways.values())).tolist()
    words = (WORDS[max(pull) > 0, min(pull) < 0] for pull in pulls)
    return {name: word for name, word in zip(names, words, strict=True) if word}


def _directions(said: Mapping[str, str]) -> dict[int, float]:
    """+1 for each column that is "more_than" its figure, -1 for each that is "less_than" it."""
    named = {STATED_NAMES.get(name, name): DIRECTIONS.get(word) for name, word in said.items()}
    return {READ_COLUMNS.index(column): way for column, way in named.items() if way and column in READ_COLUMNS}
