"""Water vapour: saturation, humid air, and the dew point of flue gas.

Saturation follows IAPWS-IF97 region 4, whose equations are explicit both ways. They are valid from 0 °C to
the critical point; carried on to -30 °C they give the pressure over supercooled water, which weather air
needs.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import flue_gas
from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import AIR_MASS_G_MOL, STANDARD_PRESSURE_PA, WATER_MASS_G_MOL, ZERO_C_K

SATURATION_RANGE_C: Final = (-30.0, 373.946)
SATURATION_RANGE_PA: Final = (50.9, 22.064e6)

# IAPWS-IF97 table 34.
_N: Final = (
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


@QUIET
def saturation_pressure_pa(temp_c: ArrayLike) -> Floats:
    """Pressure of saturated water vapour [Pa]; NaN outside -30 to 373.946 °C.

    Source: IAPWS-IF97 equation 30.

    >>> round(float(saturation_pressure_pa(25.0)), 2)
    3169.75
    """
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    t = floats(temp_c)
    low, high = SATURATION_RANGE_C
    kelvin = t + ZERO_C_K
    theta = kelvin + n9 / (kelvin - n10)
    a = theta**2 + n1 * theta + n2
    b = n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    pressure = 1e6 * (2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4
    return only_where((t >= low) & (t <= high), pressure)


@QUIET
def saturation_temperature_c(pressure_pa: ArrayLike) -> Floats:
    """Temperature at which water vapour of this pressure is saturated [°C]; NaN outside 50.9 Pa to 22.064
    MPa.

    Source: IAPWS-IF97 equation 31.

    >>> round(float(saturation_temperature_c(101325.0)), 2)
    99.97
    """
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    p = floats(pressure_pa)
    low, high = SATURATION_RANGE_PA
    beta = (p / 1e6) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    kelvin = (n10 + d - np.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2
    return only_where((p >= low) & (p <= high), kelvin - ZERO_C_K)


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


@QUIET
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
    fuel: Fuel,
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
    gas = flue_gas(fuel, excess_air_ratio, humidity_ratio=humidity_ratio)
    return saturation_temperature_c(gas.water_pct_wet / 100 * floats(pressure_pa))
