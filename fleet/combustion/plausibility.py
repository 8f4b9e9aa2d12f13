"""Does a reading make sense for its fuel, and if not, does that make it invalid?

An invalid reading explains nothing and clears nothing; a CO, spillage or over-range finding on it stands.
O2 and CO2 together find a wrong fuel setting or a sensor fault. They can't find air leaking into the sample,
because leaked air moves both along the line they share; nothing here claims to.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntFlag
from types import MappingProxyType
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import QUIET, Floats, floats
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from fleet.combustion.flue_gas import (
    O2_AIR_PCT,
    apparent_co2_max_pct,
    co2_pct_from_o2,
    dilution_factor,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    water_pct_wet,
)
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.fuels import FUELS, TEST_GASES, Fuel
from fleet.combustion.gases import STANDARD_PRESSURE_PA
from fleet.combustion.humidity import dew_point_c, highest_dew_point_c, saturation_pressure_pa

Co2Basis = Literal["measured", "calculated", "absent"]

CO2_BASES: Final = ("measured", "calculated", "absent")
# 20.9 % plus the usual 0.3 % error of an O2 cell (EN 50379-2, from memory).
O2_ABOVE_AIR_PCT: Final = 21.2
# A rich flame leaves O2 within a cell's error of 0 and CO in thousands of ppm: equilibrium frozen at 1500 K
# has 13 300 ppm at 5 % lack of air. The threshold is our own judgement, no source.
RICH_O2_PCT: Final = 0.5
RICH_CO_PPM: Final = 1000.0
# Standard uncertainties: 0.3 % expanded error of each cell (EN 50379-2, from memory) halved, and the gas of
# the day around its stored composition (own judgement from natural gases of 11.5 to 12.0 %, no source).
O2_STD_PCT: Final = 0.15
CO2_STD_PCT: Final = 0.15
FUEL_CO2_MAX_STD_PCT: Final = 0.1
# Three standard deviations: at two, one sound reading in twenty would be made invalid.
COVERAGE: Final = 3.0
MARGIN_WITHOUT_O2_PCT: Final = COVERAGE * math.hypot(CO2_STD_PCT, FUEL_CO2_MAX_STD_PCT)
# Analysers carry 11.7 to 12.1 % for natural gas; the next fuel is 1.7 points away (own judgement, no source).
CALCULATED_CO2_MAX_GAP_PCT: Final = 0.8
# Two readings of one flame differ in some digit; these three change from minute to minute.
IDENTICAL_FROM: Final = 4
ALERT: Final = ("co_ppm", "flue_temp_c", "o2_pct")


class ReadingFlag(IntFlag):
    """What is odd about a reading; several can hold at once."""

    O2_ABOVE_AIR = 1
    O2_TOO_DILUTE = 2
    PAIR_MISFITS_FUEL = 4
    CO2_CALCULATED = 8
    RICH_SIDE = 16
    CO2_OF_OTHER_FUEL = 32
    CONDENSING_IN_PROBE = 64


# A calculated CO2 only repeats O2, and water in the probe is a hint to look; everything else takes away.
INVALIDATING: Final = ~(ReadingFlag.CO2_CALCULATED | ReadingFlag.CONDENSING_IN_PROBE)


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that is odd about one reading.

    code: name of the ReadingFlag in lower case. figures: what fired it, names end in units. makes_invalid: whether
    the reading may still explain or clear anything.
    named: what its words name beside the figures; of a misfitting pair "fuel", the key in FUELS of that which it
    belongs to, where one of ours does.
    """

    code: str
    figures: Mapping[str, float]
    makes_invalid: bool
    named: Mapping[str, str] = field(default_factory=dict)


# ---- flags ----


@QUIET
def reading_flags(
    fuel: AnyFuel,
    o2_pct: ArrayLike,
    co2_pct: ArrayLike,
    co_ppm: ArrayLike,
    *,
    co2_basis: Co2Basis | Sequence[Co2Basis],
    flue_temp_c: ArrayLike = np.nan,
) -> NDArray[np.int64]:
    """ReadingFlag bits as integers, shape of the inputs; a NaN value raises no flag of its own.

    o2_pct, co2_pct [% vol, dry], co_ppm [ppm, dry, as measured]. co2_basis: whether the analyser measures
    CO2, calculates it from O2, or has none; one for all or one a reading. flue_temp_c: at the probe [°C];
    below the dew point of the gas read (dry air, sea level) water may stand in probe and trap.
    `flags & INVALIDATING` is nonzero where the reading is invalid. Raises ValueError for an unknown co2_basis.
    """
    measured, calculated = _bases(co2_basis)
    o2, co2, co, flue = (floats(each)[()] for each in (o2_pct, co2_pct, co_ppm, flue_temp_c))
    rich = (co >= RICH_CO_PPM) & ((o2 <= RICH_O2_PCT) | np.isnan(o2))
    held = [
        (ReadingFlag.O2_ABOVE_AIR, o2 > O2_ABOVE_AIR_PCT),
        (ReadingFlag.O2_TOO_DILUTE, (o2 >= O2_TOO_DILUTE_PCT) & (o2 <= O2_ABOVE_AIR_PCT)),
        (ReadingFlag.RICH_SIDE, rich),
    ]
    if measured is not False:
        held.append((ReadingFlag.PAIR_MISFITS_FUEL, measured & ~rich & _misfits(fuel, o2, co2)))
    if calculated is not False:
        held.append((ReadingFlag.CO2_CALCULATED, calculated & ~np.isnan(co2)))
        held.append((ReadingFlag.CO2_OF_OTHER_FUEL, calculated & _of_other_fuel(fuel, o2, co2)))
    if (flue < highest_dew_point_c((fuel,) if isinstance(fuel, Fuel) else fuel.fuels)).any():
        held.append((ReadingFlag.CONDENSING_IN_PROBE, _condenses(fuel, o2, co2, flue)))
    flags: NDArray[np.int64] = np.zeros(np.broadcast(o2, co2, co, *(each for _, each in held)).shape, np.int64)
    for flag, where in held:
        flags += flag.value * where
    return flags[()]


def _bases(co2_basis: Co2Basis | Sequence[Co2Basis]) -> tuple[Any, Any]:
    """Whether CO2 is measured and whether it is calculated: one answer, or one a reading."""
    given = [co2_basis] if isinstance(co2_basis, str) else list(co2_basis)
    if unknown := [each for each in given if each not in CO2_BASES]:
        raise ValueError(f"co2_basis: {unknown[0]!r} is not one of {', '.join(CO2_BASES)}")
    if isinstance(co2_basis, str):
        return co2_basis == "measured", co2_basis == "calculated"
    return np.array([each == "measured" for each in given]), np.array([each == "calculated" for each in given])


def _misfits(fuel: AnyFuel, o2: Floats, co2: Floats) -> NDArray[np.bool_]:
    """CO2 too far from what O2 and fuel ask for or, without O2, above what the fuel can give."""
    from_o2 = np.abs(co2 - co2_pct_from_o2(fuel, o2)) > COVERAGE * _residual_std_pct(fuel, o2)
    beyond_fuel = np.isnan(o2) & (co2 - fuel.co2_max_pct > MARGIN_WITHOUT_O2_PCT)
    misfits: NDArray[np.bool_] = from_o2 | beyond_fuel
    return misfits


def _of_other_fuel(fuel: AnyFuel, o2: Floats, co2: Floats) -> NDArray[np.bool_]:
    """A calculated CO2 gives away the constant that the analyser is set to."""
    constant_pct = apparent_co2_max_pct(o2, co2)
    other: NDArray[np.bool_] = (o2 < O2_TOO_DILUTE_PCT) & (
        np.abs(constant_pct - fuel.co2_max_pct) > CALCULATED_CO2_MAX_GAP_PCT
    )
    return other


def _residual_std_pct(fuel: AnyFuel, o2: Floats) -> Floats:
    """Standard uncertainty of CO2 less what O2 asks for [points]."""
    o2_part = fuel.co2_max_pct / O2_AIR_PCT * O2_STD_PCT
    fuel_part = FUEL_CO2_MAX_STD_PCT / dilution_factor(o2)
    std: Floats = np.sqrt(CO2_STD_PCT**2 + o2_part**2 + fuel_part**2)
    return std


def _condenses(fuel: AnyFuel, o2: Floats, co2: Floats, flue: Floats) -> NDArray[np.bool_]:
    """The water of the gas read has more than its saturation pressure at the probe."""
    water_pa = water_pct_wet(fuel, _ratio(fuel, o2, co2)) / 100 * STANDARD_PRESSURE_PA
    condenses: NDArray[np.bool_] = water_pa > saturation_pressure_pa(flue)
    return condenses


def _ratio(fuel: AnyFuel, o2: Floats, co2: Floats) -> Floats:
    """Excess air from O2, from CO2 where no O2 was read."""
    from_o2 = excess_air_ratio_from_o2(fuel, o2)
    missing = np.isnan(o2)
    return np.where(missing, excess_air_ratio_from_co2(fuel, co2), from_o2)[()] if missing.any() else from_o2


# ---- with their figures ----


def doubts(
    fuel: Fuel, o2_pct: float, co2_pct: float, co_ppm: float, *, co2_basis: Co2Basis, flue_temp_c: float = math.nan
) -> tuple[Doubt, ...]:
    """The flags of one reading with their figures; arguments as in reading_flags, but scalars.

    >>> from fleet.combustion.fuels import FUELS
    >>> for doubt in doubts(FUELS["natural_gas"], 5.0, 10.5, 20.0, co2_basis="measured"):
    ...     print(doubt.code, doubt.named["fuel"])
    pair_misfits_fuel propane
    """
    flags = reading_flags(fuel, o2_pct, co2_pct, co_ppm, co2_basis=co2_basis, flue_temp_c=flue_temp_c)
    return _doubts(fuel, int(flags), o2_pct, co2_pct, co_ppm, flue_temp_c) if flags else ()


def doubts_of_rows(
    fuel: AnyFuel,
    o2_pct: ArrayLike,
    co2_pct: ArrayLike,
    co_ppm: ArrayLike,
    *,
    co2_basis: Co2Basis | Sequence[Co2Basis],
    flue_temp_c: ArrayLike = np.nan,
) -> list[tuple[Doubt, ...]]:
    """The doubts of many readings, one entry a reading: all flags at once, figures only for what fired.

    >>> from fleet.combustion.fuels import FUELS
    >>> rows = doubts_of_rows(FUELS["natural_gas"], [5.0, 18.5], [9.1, 1.4], 20.0, co2_basis="measured")
    >>> [[doubt.code for doubt in row] for row in rows]
    [[], ['o2_too_dilute']]
    """
    flags = reading_flags(fuel, o2_pct, co2_pct, co_ppm, co2_basis=co2_basis, flue_temp_c=flue_temp_c)
    flags = np.atleast_1d(flags)
    given = [np.broadcast_to(floats(each), flags.shape) for each in (o2_pct, co2_pct, co_ppm, flue_temp_c)]
    found: list[tuple[Doubt, ...]] = [()] * flags.size
    for row in flags.nonzero()[0].tolist():
        burnt = fuel if isinstance(fuel, Fuel) else fuel.fuels[fuel.index[row]]
        found[row] = _doubts(burnt, int(flags[row]), *(float(each[row]) for each in given))
    return found


# The figures that each flag stands on.
_STANDS_ON: Final = MappingProxyType(
    {
        ReadingFlag.O2_ABOVE_AIR: ("o2_pct",),
        ReadingFlag.O2_TOO_DILUTE: ("o2_pct", "co_ppm"),
        ReadingFlag.PAIR_MISFITS_FUEL: (
            *("o2_pct", "co2_pct"),
            *("expected_co2_pct", "apparent_co2_max_pct", "fuel_co2_max_pct"),
        ),
        ReadingFlag.CO2_CALCULATED: ("o2_pct", "co2_pct"),
        ReadingFlag.RICH_SIDE: ("o2_pct", "co2_pct", "co_ppm"),
        ReadingFlag.CO2_OF_OTHER_FUEL: ("o2_pct", "co2_pct", "apparent_co2_max_pct", "fuel_co2_max_pct"),
        ReadingFlag.CONDENSING_IN_PROBE: ("flue_temp_c", "dew_point_c"),
    }
)


# What a doubt's figures are, from the fuel and the reading's O2, CO2, CO and flue temperature.
_FIGURES: Final[Mapping[str, Callable[[Fuel, float, float, float, float], float]]] = MappingProxyType(
    {
        "o2_pct": lambda fuel, o2, co2, co, flue: o2,
        "co2_pct": lambda fuel, o2, co2, co, flue: co2,
        "co_ppm": lambda fuel, o2, co2, co, flue: co,
        "flue_temp_c": lambda fuel, o2, co2, co, flue: flue,
        "expected_co2_pct": lambda fuel, o2, co2, co, flue: _expected_co2_pct(fuel, o2),
        "apparent_co2_max_pct": lambda fuel, o2, co2, co, flue: float(apparent_co2_max_pct(o2, co2)),
        "fuel_co2_max_pct": lambda fuel, o2, co2, co, flue: fuel.co2_max_pct,
        "dew_point_c": lambda fuel, o2, co2, co, flue: float(dew_point_c(fuel, _ratio(fuel, floats(o2), floats(co2)))),
    }
)


def _expected_co2_pct(fuel: Fuel, o2_pct: float) -> float:
    return fuel.co2_max_pct if math.isnan(o2_pct) else float(co2_pct_from_o2(fuel, o2_pct))


def _doubts(fuel: Fuel, flags: int, *reading: float) -> tuple[Doubt, ...]:
    return tuple(_doubt(flag, fuel, *reading) for flag in ReadingFlag if flag.value & flags)


def _doubt(flag: ReadingFlag, fuel: Fuel, *reading: float) -> Doubt:
    figures = {name: _FIGURES[name](fuel, *reading) for name in _STANDS_ON[flag]}
    fitting = None
    if flag is ReadingFlag.PAIR_MISFITS_FUEL and not math.isnan(figures["o2_pct"]):
        fitting = _fuel_that_fits(figures["o2_pct"], figures["co2_pct"], figures["apparent_co2_max_pct"])
    return Doubt(
        code=str(flag.name).lower(),
        figures=figures,
        makes_invalid=bool(flag.value & INVALIDATING),
        named={"fuel": fitting.name} if fitting else {},
    )


def _fuel_that_fits(o2_pct: float, co2_pct: float, apparent_co2_max_pct: float) -> Fuel | None:
    """Of the fuels that a supply can bring and that fit the pair, the one with the nearest CO2 maximum."""
    o2, co2 = floats(o2_pct), floats(co2_pct)
    supplied = [fuel for name, fuel in FUELS.items() if name not in TEST_GASES]
    fitting = [fuel for fuel in supplied if not _misfits(fuel, o2, co2)]
    return min(fitting, key=lambda fuel: abs(fuel.co2_max_pct - apparent_co2_max_pct), default=None)


# ---- copied readings ----


def identical_readings(rows: Sequence[Mapping[str, float | None]]) -> list[tuple[int, int]]:
    """Pairs of readings, by position, that agree to the last digit: a sign that one was copied.

    rows: quantity to value as read, None or NaN where it wasn't; no derived values. A pair agrees in every
    quantity read in both, in at least 4, one of them CO, flue temperature or O2.

    >>> one = {"o2_pct": 5.1, "co_ppm": 34.0, "flue_temp_c": 61.3, "air_temp_c": 18.2}
    >>> identical_readings([one, one | {"co_ppm": 35.0}, dict(one)])
    [(0, 2)]
    """
    names = list(dict.fromkeys(name for row in rows for name in row))
    values = np.array([[math.nan if row.get(name) is None else row[name] for name in names] for row in rows], float)
    read, alert = ~np.isnan(values), [number for number, name in enumerate(names) if name in ALERT]
    pairs = []
    for first in range(len(rows) - 1):
        both = read[first] & read[first + 1 :]
        same = ((values[first] == values[first + 1 :]) | ~both).all(axis=1)
        enough = (both.sum(axis=1) >= IDENTICAL_FROM) & both[:, alert].any(axis=1)
        pairs += [(first, first + 1 + after) for after in (same & enough).nonzero()[0].tolist()]
    return pairs
