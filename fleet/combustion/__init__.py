"""Combustion arithmetic: fuels, excess air, losses, emissions, weather, heat input, plausibility.

Pure functions of numbers in the units their names say: `_pct` of dry flue gas by volume, `_ppm` dry as
measured, `_c` degrees Celsius, `_pa`, `_kw`, `_pct_net` and `_pct_gross` of the net or gross heating value.
`arrays` says how scalars, arrays and NaN are handled.
"""

from fleet.combustion.ambient import barometric_pressure_pa, corrected_to_reference
from fleet.combustion.emissions import air_free, co_co2_ratio, mg_per_kwh, nox_from_no
from fleet.combustion.figures import derived_figures
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
from fleet.combustion.fuel_gas import GasProperties, gas_properties
from fleet.combustion.fuel_rows import AnyFuel, FuelRows
from fleet.combustion.fuels import FUELS, TEST_GASES, Fuel, fuel_for, hydrogen_blend
from fleet.combustion.gases import moles_from_volumes
from fleet.combustion.heat import HeatBalance, HeatFlag, heat_balance
from fleet.combustion.heat_input import heat_input_kw
from fleet.combustion.humidity import dew_point_c, humidity_ratio, saturation_pressure_pa, saturation_temperature_c
from fleet.combustion.plausibility import (
    INVALIDATING,
    Doubt,
    ReadingFlag,
    doubts,
    doubts_of_rows,
    identical_readings,
    reading_flags,
)
from fleet.combustion.regulation import LOSS_COEFFICIENTS, LossCoefficients, regulation_loss
from fleet.combustion.steadiness import Criterion, Steadiness, co_rise, overall, steadiness
from fleet.combustion.uncertainty import Derived, figures_with_uncertainty, standard_uncertainties
