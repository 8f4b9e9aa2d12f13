"""The flue loss as a regulation words it: fixed coefficients, net basis, no condensation, no humidity.

Coefficients belong to a jurisdiction and an edition. Below the dew point the result means nothing; against
the enthalpy balance it is within 0.2 points for natural gas and oil and up to 0.8 points low for liquefied
gas.
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

    fuel: words of the source. basis: heating value that the percentage refers to. evidence: how far to trust
    it.
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


@dataclass(frozen=True, slots=True)
class Co2LossCoefficients:
    """One published set for loss = (flue - air temperature) (a / CO2 + b), fields as in LossCoefficients.

    Unlike the form with O2 it goes wrong where the gas isn't the one that it was made for: hydrogen in natural
    gas makes it up to 0.9 points high.
    """

    fuel: str
    a: float
    b: float
    jurisdiction: str
    edition: str
    source: str
    evidence: str
    basis: Literal["net"] = "net"


def _german(fuel: str, a: float, b: float) -> LossCoefficients:
    return LossCoefficients(
        fuel, a, b, "DE", "2010", "1. BImSchV 2010, Annex 2 no. 3.4.1", "seen in the published text"
    )


def _older_german(fuel: str, a: float, b: float) -> Co2LossCoefficients:
    return Co2LossCoefficients(fuel, a, b, "DE", "before 2010", "1. BImSchV in an edition before 2010", "memory")


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

CO2_LOSS_COEFFICIENTS: Final[Mapping[str, Co2LossCoefficients]] = MappingProxyType(
    {
        "de_older_light_oil": _older_german("heating oil EL", 0.50, 0.007),
        "de_older_natural_gas": _older_german("natural gas", 0.37, 0.009),
        "de_older_town_gas": _older_german("town gas", 0.35, 0.011),
        "de_older_coke_oven_gas": _older_german("coke-oven gas", 0.29, 0.011),
        "de_older_liquefied_gas": _older_german("liquefied gas", 0.42, 0.008),
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


@QUIET
def regulation_loss_from_co2(
    coefficients: Co2LossCoefficients, co2_pct: ArrayLike, flue_temp_c: ArrayLike, air_temp_c: ArrayLike
) -> Floats:
    """Flue loss [% of the net heating value] by the coefficients of a regulation that goes by CO2.

    co2_pct [% vol, dry], flue_temp_c, air_temp_c [°C]. NaN where CO2 is not above 0. A calculated CO2 makes it
    a loss by O2 in other clothes.
    Equation: (tf - ta) (A1 / CO2 + B).    Source: that of the coefficients.

    >>> older = CO2_LOSS_COEFFICIENTS["de_older_natural_gas"]
    >>> round(float(regulation_loss_from_co2(older, 9.0, 160.0, 20.0)), 3)
    7.016
    """
    co2 = floats(co2_pct)
    rise_k = floats(flue_temp_c) - floats(air_temp_c)
    return only_where(co2 > 0, rise_k * (coefficients.a / co2 + coefficients.b))
