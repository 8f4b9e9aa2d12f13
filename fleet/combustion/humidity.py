"""Water vapour: saturation, humid air, and the dew point of flue gas.

Saturation follows IAPWS-IF97 region 4, whose equations are explicit both ways. They are valid from 0 °C to the critical
point; carried on to -30 °C they give the pressure over supercooled water, which weather air needs.
"""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import water_pct_wet
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import AIR_MASS_G_MOL, STANDARD_PRESSURE_PA, WATER_MASS_G_MOL, ZERO_C_K

SATURATION_RANGE_C: Final = (-30.0, 373.946)
SATURATION_RANGE_PA: Final = (50.9, 22.064e6)

# IAPWS-IF97 table 34, and from it the quadratics of equations 30 and 31 divided by their first coefficient.
_N1, _N2, _N3, _N4, _N5, _N6, _N7, _N8, _N9, _N10 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_B_OF_THETA: Final = (_N4 / _N3, _N5 / _N3)
_C_OF_THETA: Final = (_N7 / _N6, _N8 / _N6)
_F_OF_BETA: Final = (_N4 / _N1, _N7 / _N1)
_G_OF_BETA: Final = (_N5 / _N2, _N8 / _N2)
_FOUR_AC: Final = 4 * _N6 / _N3**2
_FOUR_EG: Final = 4 * _N2 / _N1**2
_PA: Final = 1e6 * (2 * _N6 / -_N3) ** 4


@QUIET
def saturation_pressure_pa(temp_c: ArrayLike) -> Floats:
    """Pressure of saturated water vapour [Pa]; NaN outside -30 to 373.946 °C.

    Source: IAPWS-IF97 equation 30.

    >>> round(float(saturation_pressure_pa(25.0)), 2)
    3169.75
    """
    t = floats(temp_c)
    low, high = SATURATION_RANGE_C
    theta = _N9 / (t + (ZERO_C_K - _N10)) + (t + ZERO_C_K)
    a = (theta + _N1) * theta + _N2
    b = (theta + _B_OF_THETA[0]) * theta + _B_OF_THETA[1]
    c = (theta + _C_OF_THETA[0]) * theta + _C_OF_THETA[1]
    root = c / (np.sqrt(b * b - a * c * _FOUR_AC) + b)
    # Squared twice: numpy's power of four takes ten times as long.
    square = root * root
    pressure = square * square * _PA
    return only_where((t >= low) & (t <= high), pressure)


@QUIET
def saturation_temperature_c(pressure_pa: ArrayLike) -> Floats:
    """Temperature at which water vapour of this pressure is saturated [°C]; NaN outside 50.9 Pa to 22.064 MPa.

    Source: IAPWS-IF97 equation 31.

    >>> round(float(saturation_temperature_c(101325.0)), 2)
    99.97
    """
    p = floats(pressure_pa)
    low, high = SATURATION_RANGE_PA
    beta = np.sqrt(np.sqrt(p * 1e-6))
    e = (beta + _N3) * beta + _N6
    f = (beta + _F_OF_BETA[0]) * beta + _F_OF_BETA[1]
    g = (beta + _G_OF_BETA[0]) * beta + _G_OF_BETA[1]
    d = g * (-2 * _N2 / _N1) / (np.sqrt(f * f - e * g * _FOUR_EG) + f)
    beyond = d - _N10
    temp_c = (d - np.sqrt(beyond * beyond - 4 * _N9)) * 0.5 + (_N10 / 2 - ZERO_C_K)
    return only_where((p >= low) & (p <= high), temp_c)


@QUIET
def water_fraction(
    temp_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Floats:
    """Water vapour in humid air [mol/mol humid air]; relative_humidity is a fraction over liquid water.

    NaN outside 0 to 1, and where the vapour alone would exceed the pressure.
    """
    humidity = floats(relative_humidity)
    fraction = humidity * saturation_pressure_pa(temp_c) / floats(pressure_pa)
    return only_where((humidity >= 0) & (humidity <= 1) & (fraction < 1), fraction)


def humidity_ratio(
    temp_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Floats:
    """Water in air [kg/kg dry air] from temperature, relative humidity (fraction) and pressure.

    >>> round(float(humidity_ratio(20.0, 0.5)), 5)
    0.00726
    """
    fraction = water_fraction(temp_c, relative_humidity, pressure_pa)
    return WATER_MASS_G_MOL / AIR_MASS_G_MOL * fraction / (1 - fraction)


@QUIET
def dew_point_c(
    fuel: AnyFuel,
    excess_air_ratio: ArrayLike,
    *,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    humidity_ratio: ArrayLike = 0.0,
) -> Floats:
    """Temperature at which the flue gas begins to condense [°C]; NaN where the ratio is below 1.

    pressure_pa: of the flue gas. humidity_ratio: of the combustion air [kg/kg dry air].
    Equation: saturation temperature of the water's partial pressure, ideal gas, pure water.

    >>> from fleet.combustion.fuels import FUELS
    >>> round(float(dew_point_c(FUELS["methane"], 1.25)), 1)
    54.9
    """
    share_pct = water_pct_wet(fuel, excess_air_ratio, humidity_ratio=humidity_ratio)
    return saturation_temperature_c(share_pct / 100 * floats(pressure_pa))


@lru_cache(maxsize=1024)
def highest_dew_point_c(
    fuels: tuple[Fuel, ...], *, pressure_pa: float = STANDARD_PRESSURE_PA, humidity_ratio: float = 0.0
) -> float:
    """The highest dew point that any excess air can give with any of the fuels [°C]; NaN without water.

    More air takes the share of water from that of the gas without excess towards that of the humid air.
    """
    wettest_pct = max(float(water_pct_wet(fuel, 1.0, humidity_ratio=humidity_ratio)) for fuel in fuels)
    moist = humidity_ratio * AIR_MASS_G_MOL / WATER_MASS_G_MOL
    return float(saturation_temperature_c(max(wettest_pct / 100, moist / (1 + moist)) * pressure_pa))
