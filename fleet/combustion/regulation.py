"""The flue loss as a regulation words it: fixed coefficients, net basis, no condensation, no humidity.

Coefficients belong to a jurisdiction and an edition. Below the dew point the result means nothing; against the enthalpy
balance it is within 0.2 points for natural gas and oil and up to 0.8 points low for liquefied gas.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where


@dataclass(frozen=True, slots=True)
class LossCoefficients:
    """One published set for loss = (flue - air temperature) (a / (o2_air_pct - O2) + b).

    fuel: words of the source. basis: heating value that the percentage refers to. evidence: how far to trust it.
    """

    fuel: str
    a: float
    b: float
    jurisdiction: str
    edition: str
    source: str
    evidence: str
    basis: Literal["net"] = "net"
    o2_air_pct: float = 21.0


def _german(fuel: str, a: float, b: float) -> LossCoefficients:
    return LossCoefficients(
        fuel, a, b, "DE", "2010", "1. BImSchV 2010, Annex 2 no. 3.4.1", "seen in the published text"
    )


def _flemish(fuel: str, a: float, b: float) -> LossCoefficients:
    return LossCoefficients(
        fuel,
        a,
        b,
        "BE-VLG",
        "as published by EMIS, act 29199",
        "Flemish regulation on heating appliances, annex II",
        "seen in the published text",
    )


LOSS_COEFFICIENTS: Final[Mapping[str, LossCoefficients]] = MappingProxyType(
    {
        "de_2010_light_oil": _german("heating oil EL, plant oils and their esters", 0.68, 0.007),
        "de_2010_natural_gas": _german("gas of the public supply", 0.66, 0.009),
        "de_2010_coke_oven_gas": _german("coke-oven gas", 0.60, 0.011),
        "de_2010_liquefied_gas": _german("liquefied gas and its mixtures with air", 0.63, 0.008),
        "de_older_town_gas": LossCoefficients(
            "town gas", 0.63, 0.011, "DE", "before 2010", "1. BImSchV in an edition before 2010", "memory"
        ),
        "be_vlg_natural_gas": _flemish("natural gas", 0.65, 0.009),
        "be_vlg_propane": _flemish("propane", 0.63, 0.008),
        "be_vlg_light_oil": _flemish("heating oil", 0.68, 0.007),
    }
)


@QUIET
def regulation_loss(
    coefficients: LossCoefficients, o2_pct: ArrayLike, flue_temp_c: ArrayLike, air_temp_c: ArrayLike
) -> Floats:
    """Flue loss [% of the net heating value] by the coefficients of one regulation.

    o2_pct [% vol, dry], flue_temp_c, air_temp_c [°C]. NaN from the coefficients' O2 in air (21 %) upwards.
    Equation: (tf - ta) (A / (21 - O2) + B).    Source: that of the coefficients.

    >>> round(float(regulation_loss(LOSS_COEFFICIENTS["de_2010_natural_gas"], 5.0, 160.0, 20.0)), 3)
    7.035
    """
    o2 = floats(o2_pct)
    rise_k = floats(flue_temp_c) - floats(air_temp_c)
    loss = rise_k * (coefficients.a / (coefficients.o2_air_pct - o2) + coefficients.b)
    return only_where(o2 < coefficients.o2_air_pct, loss)
