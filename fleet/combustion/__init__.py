"""Combustion arithmetic: fuels, excess air, losses, emissions, weather, heat input, plausibility.

Pure functions of numbers in the units their names say: `_pct` of dry flue gas by volume, `_ppm` dry as
measured, `_c` degrees Celsius, `_pa`, `_kw`, `_pct_net` and `_pct_gross` of the net or gross heating value.
`arrays` says how scalars, arrays and NaN are handled.
"""

from fleet.combustion.ambient import barometric_pressure_pa, corrected_to_reference
from fleet.combustion.emissions import air_free, air_free_from_co2, at_reference_o2, co_co2_ratio, mg_per_kwh
from fleet.combustion.flue_gas import (
    FlueGas,
    apparent_co2_max_pct,
    co2_pct_from_o2,
    co2_pct_from_ratio,
    dilution_factor,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    flue_gas,
    o2_pct_from_co2,
    o2_pct_from_ratio,
)
from fleet.combustion.fuel_gas import GasProperties, gas_properties, moles_from_volumes
from fleet.combustion.fuels import FUELS, Fuel
from fleet.combustion.heat import HeatBalance, HeatFlag, heat_balance
from fleet.combustion.heat_input import heat_input_kw
from fleet.combustion.humidity import (
    dew_point_c,
    humidity_ratio,
    saturation_pressure_pa,
    saturation_temperature_c,
)
from fleet.combustion.plausibility import VOIDING, Doubt, ReadingFlag, doubts, reading_flags
from fleet.combustion.regulation import LOSS_COEFFICIENTS, LossCoefficients, regulation_loss

__all__ = [
    "FUELS",
    "LOSS_COEFFICIENTS",
    "VOIDING",
    "Doubt",
    "FlueGas",
    "Fuel",
    "GasProperties",
    "HeatBalance",
    "HeatFlag",
    "LossCoefficients",
    "ReadingFlag",
    "air_free",
    "air_free_from_co2",
    "apparent_co2_max_pct",
    "at_reference_o2",
    "barometric_pressure_pa",
    "co2_pct_from_o2",
    "co2_pct_from_ratio",
    "co_co2_ratio",
    "corrected_to_reference",
    "dew_point_c",
    "dilution_factor",
    "doubts",
    "excess_air_ratio_from_co2",
    "excess_air_ratio_from_o2",
    "flue_gas",
    "gas_properties",
    "heat_balance",
    "heat_input_kw",
    "humidity_ratio",
    "mg_per_kwh",
    "moles_from_volumes",
    "o2_pct_from_co2",
    "o2_pct_from_ratio",
    "reading_flags",
    "regulation_loss",
    "saturation_pressure_pa",
    "saturation_temperature_c",
]
