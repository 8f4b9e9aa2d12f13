"""A fuel gas by volume: real-gas composition, heating value per cubic metre, Wobbe index.

Standards and meters speak of volumes, chemistry of moles; between them stands the compressibility factor Z.
Reading EN 437 percentages as mole fractions would be wrong by up to 0.36 % for gases with propane.
"""

import math
from dataclasses import dataclass
from typing import Final

from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import (
    AIR_COMPRESSIBILITY,
    AIR_MASS_G_MOL,
    ENTHALPY,
    GAS_CONSTANT_J_MOL_K,
    HEATING_VALUE_TEMP_C,
    SPECIES,
    STANDARD_PRESSURE_PA,
    VAPORISATION_KJ_MOL,
    WATER_HEAT_CAPACITY_J_MOL_K,
    ZERO_C_K,
)

REFERENCE_TEMP_C: Final = 15.0
IDEAL_VOLUME_L_MOL: Final = 1000 * GAS_CONSTANT_J_MOL_K * (ZERO_C_K + REFERENCE_TEMP_C) / STANDARD_PRESSURE_PA
VAPORISATION_AT_REFERENCE_KJ_MOL: Final = VAPORISATION_KJ_MOL + (
    (HEATING_VALUE_TEMP_C - REFERENCE_TEMP_C) * (WATER_HEAT_CAPACITY_J_MOL_K - ENTHALPY["H2O"][0]) / 1000
)


@dataclass(frozen=True, slots=True)
class GasProperties:
    """A fuel gas per cubic metre of real dry gas at 15 °C, 101 325 Pa, burnt at 15 °C.

    compressibility: Z [-]. relative_density: to dry air [-]. hhv_mj_m3, lhv_mj_m3: gross and net heating
    value. wobbe_gross_mj_m3, wobbe_net_mj_m3: heating value over the root of the relative density.
    """

    compressibility: float
    relative_density: float
    hhv_mj_m3: float
    lhv_mj_m3: float
    wobbe_gross_mj_m3: float
    wobbe_net_mj_m3: float


def gas_properties(fuel: Fuel) -> GasProperties:
    """Heating values, relative density and Wobbe index of a gas at 15 °C, 101 325 Pa (ISO 6976, EN 437).

    The heating value moves from 25 to 15 °C by the heat capacities of fuel, oxygen and products (Kirchhoff).
    Raises ValueError for a fuel known only by mass.
    """
    if not fuel.composition:
        raise ValueError(f"fuel {fuel.name!r} is known by mass, not as a gas")
    compressibility = 1 - math.fsum(x * SPECIES[key].root_b for key, x in fuel.composition) ** 2
    volume_l_mol = IDEAL_VOLUME_L_MOL * compressibility
    relative_density = fuel.molar_mass_g_mol / AIR_MASS_G_MOL * AIR_COMPRESSIBILITY / compressibility
    hhv_kj_mol = _hhv_at_reference_kj_mol(fuel)
    hhv_mj_m3 = hhv_kj_mol / volume_l_mol
    lhv_mj_m3 = (hhv_kj_mol - VAPORISATION_AT_REFERENCE_KJ_MOL * fuel.water_products) / volume_l_mol
    root_density = math.sqrt(relative_density)
    return GasProperties(
        compressibility, relative_density, hhv_mj_m3, lhv_mj_m3, hhv_mj_m3 / root_density, lhv_mj_m3 / root_density
    )


def _hhv_at_reference_kj_mol(fuel: Fuel) -> float:
    products = (
        fuel.carbon * ENTHALPY["CO2"][0]
        + fuel.nitrogen / 2 * ENTHALPY["N2"][0]
        + fuel.water_products * WATER_HEAT_CAPACITY_J_MOL_K
    )
    reactants = fuel.heat_capacity_j_mol_k + fuel.oxygen_demand * ENTHALPY["O2"][0]
    return fuel.hhv_kj_mol + (HEATING_VALUE_TEMP_C - REFERENCE_TEMP_C) * (products - reactants) / 1000
