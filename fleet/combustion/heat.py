"""Where the heat of the fuel goes: flue losses, condensation and combustion efficiency by enthalpy.

An engineering figure. The loss that a regulation asks for comes from `regulation` with its own coefficients.
"""

from dataclasses import dataclass
from enum import IntFlag
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import ROUNDING, FlueGas, flue_gas
from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import (
    AIR,
    CO_HEAT_KJ_MOL,
    ENTHALPY,
    ENTHALPY_RANGE_C,
    HEATING_VALUE_TEMP_C,
    STANDARD_PRESSURE_PA,
    VAPORISATION_KJ_MOL,
    WATER_HEAT_CAPACITY_J_MOL_K,
    WATER_MASS_G_MOL,
)
from fleet.combustion.humidity import SATURATION_RANGE_C, saturation_pressure_pa, saturation_temperature_c

KJ_PER_KWH: Final = 3600.0


class HeatFlag(IntFlag):
    """What to know about a heat balance; several can hold at once."""

    CONDENSING = 1
    RICH = 2
    FLUE_BELOW_AIR = 4
    OUTSIDE_ENTHALPY_RANGE = 8


@dataclass(frozen=True, slots=True)
class HeatBalance:
    """Losses and efficiencies in percent of the net or gross heating value at 25 °C, shape of the inputs.

    A figure is NaN only where something that it rests on is: the dew point needs no flue temperature.

    sensible_loss_pct_net: heat of the flue gas above air temperature, all its water as vapour.
    latent_loss_pct_gross: vaporisation heat of the vapour that leaves, less what came in with the air;
    negative if more leaves as liquid than combustion made.
    unburnt_loss_pct_net: heat of the CO. condensate_fraction: condensed share of all water [0 to 1].
    condensate_kg_per_kwh_gross: liquid water per kWh of gross input. dew_point_c: of the flue gas.
    efficiency_pct_net, efficiency_pct_gross: first law, fuel and air entering at air temperature.
    flags: HeatFlag bits as integers.
    """

    sensible_loss_pct_net: Floats
    latent_loss_pct_gross: Floats
    unburnt_loss_pct_net: Floats
    condensate_fraction: Floats
    condensate_kg_per_kwh_gross: Floats
    dew_point_c: Floats
    efficiency_pct_net: Floats
    efficiency_pct_gross: Floats
    flags: NDArray[np.int64]


@QUIET
def heat_balance(
    fuel: Fuel,
    excess_air_ratio: ArrayLike,
    flue_temp_c: ArrayLike,
    air_temp_c: ArrayLike,
    *,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    humidity_ratio: ArrayLike = 0.0,
    co_ppm: ArrayLike = 0.0,
) -> HeatBalance:
    """Heat balance of the flue gas leaving at flue_temp_c; inputs broadcast, NaN in gives NaN out.

    excess_air_ratio: at least 1, NaN results below (flag RICH). flue_temp_c, air_temp_c [°C]; fuel and air
    enter at air_temp_c. pressure_pa: of the flue gas. humidity_ratio: of the air [kg/kg dry air].
    co_ppm: CO in the dry flue gas as measured [ppm].

    Below the dew point the gas leaves saturated over pure water and the condensate leaves at the flue
    temperature; a real appliance whose flue gas is colder on average than at the probe condenses differently.
    100 less the sensible and unburnt losses differs from efficiency_pct_net, where nothing condenses, by at
    most 0.03 points for air of 5 to 35 °C, because heating values belong to 25 °C.

    Source: enthalpies fitted to the NASA 7-coefficient data (McBride and others), -20 to 300 °C, flagged
    outside; saturation by IAPWS-IF97; sulfur dioxide is counted with the enthalpy of carbon dioxide.

    >>> from fleet.combustion.fuels import FUELS
    >>> balance = heat_balance(FUELS["methane"], 1.25, 30.0, 20.0)
    >>> round(float(balance.efficiency_pct_gross), 1), round(float(balance.efficiency_pct_net), 1)
    (97.2, 107.8)
    """
    ratio, t_flue, t_air, pressure, humidity, co = np.broadcast_arrays(
        excess_air_ratio, flue_temp_c, air_temp_c, pressure_pa, humidity_ratio, floats(co_ppm)
    )
    pressure = only_where(pressure > 0, pressure)
    gas = flue_gas(fuel, ratio, humidity_ratio=humidity)
    water = gas.water + gas.air_water
    vapour = np.minimum(water, _vapour_capacity(gas.dry, t_flue, pressure))
    liquid = water - vapour
    unburnt_kj = co * 1e-6 * gas.dry * CO_HEAT_KJ_MOL
    lost_kj = _leaving_kj(gas, t_flue, liquid) - _entering_kj(fuel, gas, ratio, t_air) + unburnt_kj
    useful_kj = fuel.lhv_kj_mol - lost_kj
    sensible_kj = _gas_kj(gas, t_flue) - _gas_kj(gas, t_air)
    return HeatBalance(
        sensible_loss_pct_net=100 * sensible_kj / fuel.lhv_kj_mol,
        latent_loss_pct_gross=100 * (gas.water - liquid) * VAPORISATION_KJ_MOL / fuel.hhv_kj_mol,
        unburnt_loss_pct_net=100 * unburnt_kj / fuel.lhv_kj_mol,
        condensate_fraction=liquid / np.where(water == 0, 1.0, water),
        condensate_kg_per_kwh_gross=liquid * WATER_MASS_G_MOL / 1000 * KJ_PER_KWH / fuel.hhv_kj_mol,
        dew_point_c=saturation_temperature_c(gas.water_pct_wet / 100 * pressure),
        efficiency_pct_net=100 * useful_kj / fuel.lhv_kj_mol,
        efficiency_pct_gross=100 * useful_kj / fuel.hhv_kj_mol,
        flags=_flags(ratio, t_flue, t_air, liquid),
    )


def gas_enthalpy_j_mol(species: str, temp_c: ArrayLike) -> Floats:
    """Enthalpy of CO2, H2O (vapour), N2, O2 or Ar above 25 °C [J/mol]; KeyError for another species."""
    x = floats(temp_c) - HEATING_VALUE_TEMP_C
    a, b, c, d = ENTHALPY[species]
    return x * (a + x * (b + x * (c + x * d)))


def _vapour_capacity(dry: Floats, t_flue: Floats, pressure: Floats) -> Floats:
    """Vapour that the dry gas can carry [mol/mol fuel]; without bound from boiling upwards."""
    low, high = SATURATION_RANGE_C
    saturation = saturation_pressure_pa(np.clip(t_flue, low, high))
    boiling = saturation >= pressure
    return np.where(boiling, np.inf, dry * saturation / (pressure - saturation))


def _gas_kj(gas: FlueGas, temp_c: Floats) -> Floats:
    """Enthalpy of the wet gas above 25 °C, all water as vapour [kJ/mol fuel]."""
    total = (
        (gas.co2 + gas.so2) * gas_enthalpy_j_mol("CO2", temp_c)
        + (gas.water + gas.air_water) * gas_enthalpy_j_mol("H2O", temp_c)
        + gas.nitrogen * gas_enthalpy_j_mol("N2", temp_c)
        + gas.oxygen * gas_enthalpy_j_mol("O2", temp_c)
        + gas.argon * gas_enthalpy_j_mol("Ar", temp_c)
    )
    return total / 1000


def _leaving_kj(gas: FlueGas, t_flue: Floats, liquid: Floats) -> Floats:
    """Enthalpy of what leaves, liquid water counted as vapour that gave its heat back [kJ/mol fuel]."""
    cooling_j_mol = gas_enthalpy_j_mol("H2O", t_flue) - WATER_HEAT_CAPACITY_J_MOL_K * (t_flue - HEATING_VALUE_TEMP_C)
    return _gas_kj(gas, t_flue) - liquid * (VAPORISATION_KJ_MOL + cooling_j_mol / 1000)


def _entering_kj(fuel: Fuel, gas: FlueGas, ratio: Floats, t_air: Floats) -> Floats:
    """Enthalpy of fuel and humid air above 25 °C [kJ/mol fuel]."""
    air_j_mol = sum(share * gas_enthalpy_j_mol(species, t_air) for species, share in AIR.items())
    total = (
        fuel.heat_capacity_j_mol_k * (t_air - HEATING_VALUE_TEMP_C)
        + ratio * fuel.air_demand * air_j_mol
        + gas.air_water * gas_enthalpy_j_mol("H2O", t_air)
    )
    return total / 1000


def _flags(ratio: Floats, t_flue: Floats, t_air: Floats, liquid: Floats) -> NDArray[np.int64]:
    low, high = ENTHALPY_RANGE_C
    outside = (t_flue < low) | (t_flue > high) | (t_air < low) | (t_air > high)
    flags: NDArray[np.int64] = (
        HeatFlag.CONDENSING.value * (liquid > 0)
        + HeatFlag.RICH.value * (ratio < 1 - ROUNDING)
        + HeatFlag.FLUE_BELOW_AIR.value * (t_flue < t_air)
        + HeatFlag.OUTSIDE_ENTHALPY_RANGE.value * outside
    )
    return flags
