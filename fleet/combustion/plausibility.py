"""Does a reading make sense for its fuel, and if not, does that void it?

A voided reading explains nothing and clears nothing; a CO, spillage or over-range finding on it stands.
O2 and CO2 together find a wrong fuel setting or a sensor fault. They can't find air leaking into the sample,
because leaked air moves both along the line they share; nothing here claims to.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntFlag
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import QUIET, Floats, floats
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from fleet.combustion.flue_gas import O2_AIR_PCT, apparent_co2_max_pct, co2_pct_from_o2, dilution_factor
from fleet.combustion.fuels import Fuel

Co2Basis = Literal["measured", "calculated", "absent"]

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
# Three standard deviations: at two, one sound reading in twenty would be voided.
COVERAGE: Final = 3.0
# Analysers carry 11.7 to 12.1 % for natural gas; the next fuel is 1.7 points away (own judgement, no source).
CALCULATED_CO2_MAX_GAP_PCT: Final = 0.8


class ReadingFlag(IntFlag):
    """What is odd about a reading; several can hold at once."""

    O2_ABOVE_AIR = 1
    O2_TOO_DILUTE = 2
    PAIR_MISFITS_FUEL = 4
    CO2_CALCULATED = 8
    RICH_SIDE = 16
    CO2_OF_OTHER_FUEL = 32


# A calculated CO2 only repeats O2, so it takes nothing away; everything else does.
VOIDING: Final = ~ReadingFlag.CO2_CALCULATED


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that is odd about one reading.

    code: name of the ReadingFlag in lower case. sentence: for people. figures: what fired it, names end in
    units. voids: whether the reading may still explain or clear anything.
    """

    code: str
    sentence: str
    figures: Mapping[str, float]
    voids: bool


@QUIET
def reading_flags(
    fuel: Fuel,
    o2_pct: ArrayLike,
    co2_pct: ArrayLike,
    co_ppm: ArrayLike,
    *,
    co2_basis: Co2Basis,
) -> NDArray[np.int64]:
    """ReadingFlag bits as integers, shape of the inputs; a NaN value raises no flag of its own.

    o2_pct, co2_pct [% vol, dry], co_ppm [ppm, dry, as measured]. co2_basis: whether the analyser measures
    CO2, calculates it from O2, or has none. `flags & VOIDING` is nonzero where the reading is void.
    Raises ValueError for an unknown co2_basis.
    """
    if co2_basis not in ("measured", "calculated", "absent"):
        raise ValueError(f"co2_basis: {co2_basis!r} is not one of measured, calculated, absent")
    o2, co2, co = np.broadcast_arrays(floats(o2_pct), floats(co2_pct), floats(co_ppm))
    rich = (co >= RICH_CO_PPM) & ((o2 <= RICH_O2_PCT) | np.isnan(o2))
    measured, calculated = co2_basis == "measured", co2_basis == "calculated"
    flags: NDArray[np.int64] = (
        ReadingFlag.O2_ABOVE_AIR.value * (o2 > O2_ABOVE_AIR_PCT)
        + ReadingFlag.O2_TOO_DILUTE.value * ((o2 >= O2_TOO_DILUTE_PCT) & (o2 <= O2_ABOVE_AIR_PCT))
        + ReadingFlag.PAIR_MISFITS_FUEL.value * (measured & ~rich & _misfits(fuel, o2, co2))
        + ReadingFlag.CO2_CALCULATED.value * (calculated & ~np.isnan(co2))
        + ReadingFlag.RICH_SIDE.value * rich
        + ReadingFlag.CO2_OF_OTHER_FUEL.value * (calculated & _of_other_fuel(fuel, o2, co2))
    )
    return flags


def doubts(fuel: Fuel, o2_pct: float, co2_pct: float, co_ppm: float, *, co2_basis: Co2Basis) -> tuple[Doubt, ...]:
    """The flags of one reading in words with their figures; arguments as in reading_flags, but scalars.

    >>> from fleet.combustion.fuels import FUELS
    >>> [doubt.code for doubt in doubts(FUELS["natural_gas"], 5.0, 10.5, 20.0, co2_basis="measured")]
    ['pair_misfits_fuel']
    """
    found = ReadingFlag(int(reading_flags(fuel, o2_pct, co2_pct, co_ppm, co2_basis=co2_basis)))
    figures = _figures(fuel, o2_pct, co2_pct, co_ppm)
    return tuple(_doubt(flag, figures) for flag in ReadingFlag if flag in found)


def _misfits(fuel: Fuel, o2: Floats, co2: Floats) -> NDArray[np.bool_]:
    """CO2 too far from what O2 and fuel ask for or, without O2, above what the fuel can give."""
    from_o2 = np.abs(co2 - co2_pct_from_o2(fuel, o2)) > COVERAGE * _residual_std_pct(fuel, o2)
    beyond_fuel = np.isnan(o2) & (co2 - fuel.co2_max_pct > COVERAGE * np.hypot(CO2_STD_PCT, FUEL_CO2_MAX_STD_PCT))
    misfits: NDArray[np.bool_] = from_o2 | beyond_fuel
    return misfits


def _of_other_fuel(fuel: Fuel, o2: Floats, co2: Floats) -> NDArray[np.bool_]:
    """A calculated CO2 gives away the constant that the analyser is set to."""
    constant_pct = apparent_co2_max_pct(o2, co2)
    other: NDArray[np.bool_] = (o2 < O2_TOO_DILUTE_PCT) & (
        np.abs(constant_pct - fuel.co2_max_pct) > CALCULATED_CO2_MAX_GAP_PCT
    )
    return other


def _residual_std_pct(fuel: Fuel, o2: Floats) -> Floats:
    """Standard uncertainty of CO2 less what O2 asks for [points]."""
    o2_part = fuel.co2_max_pct / O2_AIR_PCT * O2_STD_PCT
    fuel_part = FUEL_CO2_MAX_STD_PCT / dilution_factor(o2)
    std: Floats = np.sqrt(CO2_STD_PCT**2 + o2_part**2 + fuel_part**2)
    return std


# The sentence of each flag and the figures that it stands on.
_WORDS: Final = MappingProxyType(
    {
        ReadingFlag.O2_ABOVE_AIR: (
            "O2 of {o2_pct:.1f} % is more than air holds: the O2 cell or its zero in air is at fault.",
            ("o2_pct",),
        ),
        ReadingFlag.O2_TOO_DILUTE: (
            "O2 of {o2_pct:.1f} % is nearly air, so no air-free figure can be given and CO stands as measured.",
            ("o2_pct", "co_ppm"),
        ),
        ReadingFlag.PAIR_MISFITS_FUEL: (
            (
                "CO2 of {co2_pct:.1f} % doesn't belong to this fuel, which gives {expected_co2_pct:.1f} % "
                "(at the O2 read, or at most): wrong fuel, or a sensor at fault."
            ),
            ("o2_pct", "co2_pct", "expected_co2_pct", "apparent_co2_max_pct", "fuel_co2_max_pct"),
        ),
        ReadingFlag.CO2_CALCULATED: (
            "CO2 is calculated from O2 and confirms nothing.",
            ("o2_pct", "co2_pct"),
        ),
        ReadingFlag.RICH_SIDE: (
            (
                "CO of {co_ppm:.0f} ppm with O2 near 0 or not read: the flame may be short of air, where CO2 "
                "falls as air is taken away. CO2 alone must not guide an adjustment."
            ),
            ("o2_pct", "co2_pct", "co_ppm"),
        ),
        ReadingFlag.CO2_OF_OTHER_FUEL: (
            (
                "The calculated CO2 belongs to a fuel of {apparent_co2_max_pct:.1f} % CO2 at most, not of "
                "{fuel_co2_max_pct:.1f} %: the analyser is set to another fuel."
            ),
            ("o2_pct", "co2_pct", "apparent_co2_max_pct", "fuel_co2_max_pct"),
        ),
    }
)


def _figures(fuel: Fuel, o2_pct: float, co2_pct: float, co_ppm: float) -> dict[str, float]:
    expected = co2_pct_from_o2(fuel, o2_pct)
    return {
        "o2_pct": o2_pct,
        "co2_pct": co2_pct,
        "co_ppm": co_ppm,
        "expected_co2_pct": fuel.co2_max_pct if np.isnan(o2_pct) else float(expected),
        "apparent_co2_max_pct": float(apparent_co2_max_pct(o2_pct, co2_pct)),
        "fuel_co2_max_pct": fuel.co2_max_pct,
    }


def _doubt(flag: ReadingFlag, figures: Mapping[str, float]) -> Doubt:
    sentence, fired_by = _WORDS[flag]
    return Doubt(
        code=str(flag.name).lower(),
        sentence=sentence.format(**figures),
        figures={name: figures[name] for name in fired_by},
        voids=flag in VOIDING,
    )
