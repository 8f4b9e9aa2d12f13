"""Weather and altitude in a combustion reading: how O2 or CO2 moves with the intake air of an untouched burner.

Colder air is denser, so a burner runs leaner in winter. Uncorrected, a year looks like a drift of 0.4 to 1.4
CO2 points. How much depends on how the burner meters its air:

    moles of dry air per mole of gas  ~  (1 - w) p^k / (T M)^n

with T the intake temperature [K], p the pressure, w the water fraction and M the molar mass of the humid air
(M only for a ratio control, where a pressure difference drives both flows through orifices).
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT, excess_air_ratio_from_o2, line_co2_pct, line_o2_pct
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import AIR_MASS_G_MOL, STANDARD_PRESSURE_PA, WATER_MASS_G_MOL, ZERO_C_K
from fleet.combustion.humidity import water_fraction

Control = Literal["pneumatic_ratio", "self_adapting", "linkage", "fixed_atmospheric", "oil_pressure_jet"]
Quantity = Literal["o2", "co2"]

REFERENCE_RELATIVE_HUMIDITY: Final = 0.5
# Standard deviations assumed where nothing better is known (own judgement, no source).
AIR_TEMP_STD_K: Final = 1.0
MISSING_AIR_TEMP_STD_K: Final = 6.0
UNKNOWN_HUMIDITY_STD: Final = 0.2
KNOWN_HUMIDITY_STD: Final = 0.03
WEATHER_PRESSURE_STD: Final = 0.01
BAROMETER_STD: Final = 0.001
ALTITUDE_RANGE_M: Final = (-1000.0, 11_000.0)


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
        "pneumatic_ratio": ControlLaw(0.5, 0.1, True, 0.0),
        "linkage": ControlLaw(1.0, 0.15, False, 0.5),
        "fixed_atmospheric": ControlLaw(1.0, 0.35, False, 0.5),
        "oil_pressure_jet": ControlLaw(1.0, 0.15, False, 1.0),
    }
)


@QUIET
def barometric_pressure_pa(altitude_m: ArrayLike) -> Floats:
    """Mean pressure of the air at an altitude [m] up to 11 000 m [Pa]; NaN outside -1000 to 11 000 m.

    Equation: 101325 (1 - 2.25577e-5 h)^5.25588, ISO 2533 / ICAO standard atmosphere.

    >>> round(float(barometric_pressure_pa(1609.0)) / 100, 1)
    834.3
    """
    altitude = floats(altitude_m)
    return only_where(_within(altitude), STANDARD_PRESSURE_PA * (1 - 2.25577e-5 * altitude) ** 5.25588)


@QUIET
def corrected_to_reference(
    fuel: AnyFuel,
    control: Control,
    quantity: Quantity,
    value_pct: ArrayLike,
    air_temp_c: ArrayLike,
    *,
    reference_air_temp_c: float = 20.0,
    relative_humidity: ArrayLike = np.nan,
    pressure_pa: ArrayLike | None = None,
    reference_pressure_pa: ArrayLike | None = None,
) -> tuple[Floats, Floats]:
    """A reading as it would be with intake air at the reference temperature, with its uncertainty.

    control: kind of air/fuel control. quantity, value_pct: "o2" or "co2" [% vol, dry] on the lean side, read with
    the burner untouched since. ValueError for an unknown control or quantity.
    air_temp_c: of the intake air [°C]; NaN leaves the value as it is with the uncertainty of an
    unknown intake temperature. relative_humidity: NaN means 50 %, uncertain by 20 points.
    pressure_pa, reference_pressure_pa: read at the site, and the site's own mean; where either is None or NaN
    pressure is not corrected.

    Returns (corrected value [% vol, dry], its standard uncertainty from the correction alone [points]). The
    uncertainty holds the intake temperature (1 K read, 6 K missing), the humidity, the spread of real
    controls around the law, and the pressure: of the weather (1 %) where not corrected, else of a barometer
    (0.1 %). A self-adapting burner regulates the weather out: value unchanged, uncertainty 0.

    Raises ValueError for an unknown control or quantity.

    >>> from fleet.combustion.fuels import FUELS
    >>> value, _ = corrected_to_reference(FUELS["methane"], "pneumatic_ratio", "co2", 8.79, 0.0)
    >>> round(float(value), 1)
    9.2
    """
    law = _law(control, quantity)
    value, temp, humidity = floats(value_pct), floats(air_temp_c), floats(relative_humidity)
    pressure, reference_pa = (floats(np.nan if each is None else each) for each in (pressure_pa, reference_pressure_pa))
    if law is None:
        kept = np.broadcast_arrays(value, temp, humidity, pressure, reference_pa)[0][()]
        return kept, 0 * kept
    no_temp, no_pressure = np.isnan(temp), np.isnan(pressure) | np.isnan(reference_pa)
    unsaid = no_temp | np.isnan(humidity)
    here = _Intake(
        np.where(no_temp, reference_air_temp_c, temp),
        np.where(unsaid, REFERENCE_RELATIVE_HUMIDITY, humidity),
        np.where(no_pressure, STANDARD_PRESSURE_PA, pressure),
    )
    there = _Intake(
        floats(reference_air_temp_c),
        floats(REFERENCE_RELATIVE_HUMIDITY),
        np.where(no_pressure, STANDARD_PRESSURE_PA, reference_pa),
    )
    corrected, ratio = _moved(fuel, law, quantity, value, here, there)
    known_humidity = np.where(np.isnan(humidity), UNKNOWN_HUMIDITY_STD, KNOWN_HUMIDITY_STD)
    parts = (
        law.temp_exponent * np.where(no_temp, MISSING_AIR_TEMP_STD_K, AIR_TEMP_STD_K) / (here.temp_c + ZERO_C_K),
        known_humidity * water_fraction(here.temp_c, 1.0, here.pressure_pa),
        law.temp_exponent_std * np.log((here.temp_c + ZERO_C_K) / (reference_air_temp_c + ZERO_C_K)),
        law.pressure_exponent * np.where(no_pressure, WEATHER_PRESSURE_STD, BAROMETER_STD),
    )
    relative_std = np.sqrt(sum(part**2 for part in parts))
    return corrected, np.abs(_slope_pct(fuel, quantity, ratio)) * ratio * relative_std


class _Intake(NamedTuple):
    temp_c: Floats
    relative_humidity: Floats
    pressure_pa: Floats


def _within(altitude_m: Floats) -> NDArray[np.bool_]:
    low, high = ALTITUDE_RANGE_M
    within: NDArray[np.bool_] = (altitude_m >= low) & (altitude_m <= high)
    return within


def _law(control: Control, quantity: Quantity) -> ControlLaw | None:
    """The law of a control; None for one that regulates the air out."""
    if quantity not in ("o2", "co2"):
        raise ValueError(f"quantity: {quantity!r} is not one of o2, co2")
    if control == "self_adapting":
        return None
    if control not in CONTROL_LAWS:
        raise ValueError(f"control: {control!r} is not one of self-adapting, {', '.join(CONTROL_LAWS)}")
    return CONTROL_LAWS[control]


def _moved(
    fuel: AnyFuel, law: ControlLaw, quantity: Quantity, value_pct: Floats, here: _Intake, there: _Intake
) -> tuple[Floats, Floats]:
    """The reading with the air of `there` [% vol, dry] and its excess air ratio; untouched where it is the same."""
    shift = _relative_air(law, there) / _relative_air(law, here)
    ratio = _line_ratio(fuel, quantity, value_pct) * shift
    return np.where(shift == 1.0, value_pct, _line_value_pct(fuel, quantity, ratio))[()], ratio


def _relative_air(law: ControlLaw, intake: _Intake) -> Floats:
    """Dry air that the burner draws, up to a constant factor."""
    water = water_fraction(intake.temp_c, intake.relative_humidity, intake.pressure_pa)
    mass = AIR_MASS_G_MOL + water * (WATER_MASS_G_MOL - AIR_MASS_G_MOL)
    moved = (intake.temp_c + ZERO_C_K) * (mass if law.by_mass else 1.0)
    pressed = (intake.pressure_pa / STANDARD_PRESSURE_PA) ** law.pressure_exponent
    air: Floats = (1 - water) * pressed / moved**law.temp_exponent
    return air


def _line_ratio(fuel: AnyFuel, quantity: Quantity, value_pct: Floats) -> Floats:
    """Excess air ratio from a reading, continued below 1 for a CO2 reading above the fuel's maximum."""
    if quantity == "o2":
        return excess_air_ratio_from_o2(fuel, value_pct)
    above_air = np.where(value_pct > CO2_AIR_PCT, value_pct - CO2_AIR_PCT, np.nan)
    ratio: Floats = 1 + fuel.dry_products / fuel.air_demand * (fuel.co2_max_pct - value_pct) / above_air
    return ratio


def _line_value_pct(fuel: AnyFuel, quantity: Quantity, ratio: Floats) -> Floats:
    return line_o2_pct(fuel, ratio) if quantity == "o2" else line_co2_pct(fuel, ratio)


def _slope_pct(fuel: AnyFuel, quantity: Quantity, ratio: Floats) -> Floats:
    """Change of the reading with the excess air ratio [points per 1]."""
    dry = fuel.dry_products + (ratio - 1) * fuel.air_demand
    end = O2_AIR_PCT if quantity == "o2" else CO2_AIR_PCT - fuel.co2_max_pct
    slope: Floats = end * fuel.air_demand * fuel.dry_products / dry**2
    return slope
