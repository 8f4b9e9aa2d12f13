"""Weather in a combustion reading: brings O2 or CO2 to a reference temperature of the intake air.

Colder air is denser, so an untouched burner runs leaner in winter. Uncorrected, a year looks like a drift of
0.4 to 1.4 CO2 points. How much depends on how the burner meters its air:

    moles of dry air per mole of gas  ~  (1 - w) / (T M)^n

with T the intake temperature [K], w the water fraction and M the molar mass of the humid air (M only for a
ratio control, where a pressure difference drives both flows through orifices).
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats
from fleet.combustion.flue_gas import (
    CO2_AIR_PCT,
    O2_AIR_PCT,
    excess_air_ratio_from_o2,
    line_co2_pct,
    line_o2_pct,
)
from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import AIR_MASS_G_MOL, STANDARD_PRESSURE_PA, WATER_MASS_G_MOL, ZERO_C_K
from fleet.combustion.humidity import water_fraction

Control = Literal["pneumatic ratio", "self-adapting", "linkage", "fixed atmospheric", "oil pressure jet"]
Quantity = Literal["o2", "co2"]

REFERENCE_RELATIVE_HUMIDITY: Final = 0.5
# Standard deviations assumed where nothing better is known (own judgement, no source).
AIR_TEMP_STD_K: Final = 1.0
MISSING_AIR_TEMP_STD_K: Final = 6.0
UNKNOWN_HUMIDITY_STD: Final = 0.2
KNOWN_HUMIDITY_STD: Final = 0.03
WEATHER_PRESSURE_STD: Final = 0.01


@dataclass(frozen=True, slots=True)
class ControlLaw:
    """How the excess air of one kind of air/fuel control answers to its intake air.

    temp_exponent: n above. temp_exponent_std: how far real burners stray from it (own judgement, no source).
    by_mass: whether the molar mass of the humid air counts. pressure_exponent: of the barometric pressure.
    """

    temp_exponent: float
    temp_exponent_std: float
    by_mass: bool
    pressure_exponent: float


# Ratio control: air and gas through orifices at one pressure difference, pressure cancels.
# Fan or linkage: constant air volume, gas at constant gauge pressure so that its moles go with the root of
# pressure. Atmospheric: as constant volume, but chimney draught and jet entrainment differ by appliance,
# hence the wide spread. Oil jet: constant air volume, constant mass of oil.
CONTROL_LAWS: Final = MappingProxyType(
    {
        "pneumatic ratio": ControlLaw(0.5, 0.1, True, 0.0),
        "linkage": ControlLaw(1.0, 0.15, False, 0.5),
        "fixed atmospheric": ControlLaw(1.0, 0.35, False, 0.5),
        "oil pressure jet": ControlLaw(1.0, 0.15, False, 1.0),
    }
)


def barometric_pressure_pa(altitude_m: ArrayLike) -> Floats:
    """Mean pressure of the air at an altitude [m] up to 11 000 m [Pa]; NaN outside -1000 to 11 000 m.

    Equation: 101325 (1 - 2.25577e-5 h)^5.25588, ISO 2533 / ICAO standard atmosphere.

    >>> round(float(barometric_pressure_pa(1609.0)) / 100, 1)
    834.3
    """
    altitude = floats(altitude_m)
    known = np.where((altitude >= -1000) & (altitude <= 11_000), altitude, np.nan)[()]
    pressure: Floats = STANDARD_PRESSURE_PA * (1 - 2.25577e-5 * known) ** 5.25588
    return pressure


@QUIET
def corrected_to_reference(
    fuel: Fuel,
    control: Control,
    quantity: Quantity,
    value_pct: ArrayLike,
    air_temp_c: ArrayLike,
    *,
    reference_air_temp_c: float = 20.0,
    relative_humidity: ArrayLike = np.nan,
) -> tuple[Floats, Floats]:
    """A reading as it would be with intake air at the reference temperature, with its uncertainty.

    control: kind of air/fuel control. quantity, value_pct: "o2" or "co2" [% vol, dry] on the lean side.
    air_temp_c: at the intake [°C]; NaN leaves the value as it is with the uncertainty of an unknown intake
    temperature. relative_humidity: of the intake air, fraction; NaN means 50 %, uncertain by 20 points.

    Returns (corrected value [% vol, dry], its standard uncertainty from the correction alone [points]). The
    uncertainty holds the intake temperature (1 K read, 6 K missing), the humidity, the spread of real
    controls around the law, and weather pressure (1 %), which is not corrected. The altitude stays that of
    the site. A self-adapting burner regulates the weather out: value unchanged, uncertainty 0.
    Past the stoichiometric point the lean line is continued: a corrected O2 below 0, or a CO2 above the
    fuel's maximum, says that at the reference temperature air would run short.

    Raises ValueError for an unknown control or quantity. Source of the law: ideal gas through a fixed
    orifice or fan, own derivation.

    >>> from fleet.combustion.fuels import FUELS
    >>> value, _ = corrected_to_reference(FUELS["methane"], "pneumatic ratio", "co2", 8.79, 0.0)
    >>> round(float(value), 1)
    9.2
    """
    if quantity not in ("o2", "co2"):
        raise ValueError(f"quantity: {quantity!r} is not one of o2, co2")
    if control == "self-adapting":
        value, _, _ = np.broadcast_arrays(floats(value_pct), floats(air_temp_c), floats(relative_humidity))
        return value[()], 0 * value[()]
    if control not in CONTROL_LAWS:
        raise ValueError(f"control: {control!r} is not one of self-adapting, {', '.join(CONTROL_LAWS)}")
    law = CONTROL_LAWS[control]
    temp, humidity = floats(air_temp_c), floats(relative_humidity)
    known_temp = np.where(np.isnan(temp), reference_air_temp_c, temp)
    known_humidity = np.where(np.isnan(humidity), REFERENCE_RELATIVE_HUMIDITY, humidity)
    here = _relative_air(law, known_temp, known_humidity)
    reference = _relative_air(law, floats(reference_air_temp_c), floats(REFERENCE_RELATIVE_HUMIDITY))
    shift = np.where(np.isnan(temp), 1.0, reference / here)
    ratio = _line_ratio(fuel, quantity, floats(value_pct)) * shift
    relative_std = _relative_std(law, temp, humidity, known_temp, reference_air_temp_c)
    corrected = np.where(shift == 1.0, value_pct, _line_value_pct(fuel, quantity, ratio))[()]
    return corrected, np.abs(_slope_pct(fuel, quantity, ratio)) * ratio * relative_std


def _relative_air(law: ControlLaw, temp_c: Floats, relative_humidity: Floats) -> Floats:
    """Dry air that the burner draws, up to a constant factor."""
    water = water_fraction(temp_c, relative_humidity)
    mass = AIR_MASS_G_MOL + water * (WATER_MASS_G_MOL - AIR_MASS_G_MOL)
    moved = (temp_c + ZERO_C_K) * (mass if law.by_mass else 1.0)
    air: Floats = (1 - water) / moved**law.temp_exponent
    return air


def _relative_std(law: ControlLaw, temp: Floats, humidity: Floats, known_temp: Floats, reference_c: float) -> Floats:
    """Relative standard uncertainty of the excess air ratio from the correction [-]."""
    kelvin = known_temp + ZERO_C_K
    temp_std = np.where(np.isnan(temp), MISSING_AIR_TEMP_STD_K, AIR_TEMP_STD_K)
    humidity_std = np.where(np.isnan(humidity), UNKNOWN_HUMIDITY_STD, KNOWN_HUMIDITY_STD)
    parts = (
        law.temp_exponent * temp_std / kelvin,
        humidity_std * water_fraction(known_temp, 1.0),
        law.temp_exponent_std * np.log(kelvin / (reference_c + ZERO_C_K)),
        law.pressure_exponent * WEATHER_PRESSURE_STD,
    )
    total: Floats = np.sqrt(sum(part**2 for part in parts))
    return total


def _line_ratio(fuel: Fuel, quantity: Quantity, value_pct: Floats) -> Floats:
    """Excess air ratio from a reading, continued below 1 for a CO2 reading above the fuel's maximum."""
    if quantity == "o2":
        return excess_air_ratio_from_o2(fuel, value_pct)
    above_air = np.where(value_pct > CO2_AIR_PCT, value_pct - CO2_AIR_PCT, np.nan)
    ratio: Floats = 1 + fuel.dry_products / fuel.air_demand * (fuel.co2_max_pct - value_pct) / above_air
    return ratio


def _line_value_pct(fuel: Fuel, quantity: Quantity, ratio: Floats) -> Floats:
    return line_o2_pct(fuel, ratio) if quantity == "o2" else line_co2_pct(fuel, ratio)


def _slope_pct(fuel: Fuel, quantity: Quantity, ratio: Floats) -> Floats:
    """Change of the reading with the excess air ratio [points per 1]."""
    dry = fuel.dry_products + (ratio - 1) * fuel.air_demand
    end = O2_AIR_PCT if quantity == "o2" else CO2_AIR_PCT - fuel.co2_max_pct
    slope: Floats = end * fuel.air_demand * fuel.dry_products / dry**2
    return slope
