"""The gases that fuels, air and flue gas are made of, as tables.

Air: dry mole fractions N2 0.78084, O2 0.20946, Ar 0.00930, CO2 0.00040 (rounded standard atmosphere).
Gross heating values: ISO 6976:2016 at 25 °C, figures from memory. The chemicals 1.5 data base gives CH4
890.59, C3H8 2219.33, nC4 2877.17 and H2 285.83 kJ/mol, so the memory is right to 1e-4.
Roots of b (real-gas volumes): ISO 6976:1995 at 15 °C, figures from memory.
Heat capacities of the fuel species at 25 °C: handbook values from memory; they move an efficiency by less
than 0.03 points and the heating value at 15 °C by less than 0.01 %.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

AIR: Final = MappingProxyType({"N2": 0.78084, "O2": 0.20946, "Ar": 0.00930, "CO2": 0.00040})
STANDARD_PRESSURE_PA: Final = 101_325.0
GAS_CONSTANT_J_MOL_K: Final = 8.314462618
ZERO_C_K: Final = 273.15
HEATING_VALUE_TEMP_C: Final = 25.0

# Heat of vaporisation of water at 25 °C (ISO 6976:2016, from memory; IAPWS real-gas value 43.987).
VAPORISATION_KJ_MOL: Final = 44.004
CO_HEAT_KJ_MOL: Final = 282.98
WATER_HEAT_CAPACITY_J_MOL_K: Final = 75.33

ATOMIC_MASS_G_MOL: Final = MappingProxyType({"C": 12.011, "H": 1.00794, "O": 15.9994, "N": 14.0067, "S": 32.065})
CO_MASS_G_MOL: Final = 28.0101
NO2_MASS_G_MOL: Final = 46.0055
WATER_MASS_G_MOL: Final = 18.01528
AIR_MASS_G_MOL: Final = 28.9652

# Dry air at 15 °C and 101 325 Pa (ISO 6976:1995, from memory).
AIR_COMPRESSIBILITY: Final = 0.99958


@dataclass(frozen=True, slots=True)
class Species:
    """One constituent of a gaseous fuel.

    carbon, hydrogen, oxygen, nitrogen: atoms in a molecule. hhv_kj_mol: gross heating value at 25 °C.
    heat_capacity_j_mol_k: at 25 °C. root_b: summation factor of ISO 6976:1995, Z = 1 - (sum of x root_b)^2.
    """

    carbon: int
    hydrogen: int
    oxygen: int
    nitrogen: int
    hhv_kj_mol: float
    heat_capacity_j_mol_k: float
    root_b: float


SPECIES: Final = MappingProxyType(
    {
        "CH4": Species(1, 4, 0, 0, 890.58, 35.7, 0.0447),
        "C2H6": Species(2, 6, 0, 0, 1560.69, 52.5, 0.0922),
        "C3H8": Species(3, 8, 0, 0, 2219.17, 73.6, 0.1338),
        "nC4": Species(4, 10, 0, 0, 2877.40, 98.5, 0.1871),
        "iC4": Species(4, 10, 0, 0, 2868.20, 96.7, 0.1789),
        "nC5": Species(5, 12, 0, 0, 3535.77, 120.0, 0.2510),
        "H2": Species(0, 2, 0, 0, 285.83, 28.8, -0.0048),
        "CO": Species(1, 0, 1, 0, 282.98, 29.1, 0.0224),
        "CO2": Species(1, 0, 2, 0, 0.0, 37.1, 0.0748),
        "N2": Species(0, 0, 0, 2, 0.0, 29.1, 0.0173),
        "O2": Species(0, 0, 2, 0, 0.0, 29.4, 0.0283),
    }
)


def moles_from_volumes(volumes: Mapping[str, float]) -> dict[str, float]:
    """Mole fractions from real-gas volume fractions at 15 °C: each is its volume over its Z, normalised.

    Raises ValueError for an unknown species.

    >>> moles = moles_from_volumes({"CH4": 0.87, "C3H8": 0.13})
    >>> round(moles["C3H8"], 4)
    0.1318
    """
    if unknown := volumes.keys() - SPECIES.keys():
        raise ValueError(f"volumes: {sorted(unknown)} not known; known are {', '.join(SPECIES)}")
    amounts = {key: volume / (1 - SPECIES[key].root_b ** 2) for key, volume in volumes.items()}
    scale = math.fsum(volumes.values()) / math.fsum(amounts.values())
    return {key: amount * scale for key, amount in amounts.items()}


# Enthalpy above 25 °C: h = x (a + b x + c x^2 + d x^3) J/mol, x = t - 25 °C, fitted to the NASA 7-coefficient
# data (McBride and others) from -20 to 300 °C with an error of at most 0.083 J/mol.
ENTHALPY_RANGE_C: Final = (-20.0, 300.0)
ENTHALPY: Final = MappingProxyType(
    {
        "CO2": (37.1351484, 2.23542374e-2, -1.38375014e-5, 4.62466e-9),
        "H2O": (33.5878505, 2.40514e-3, 6.82033e-6, -5.40153e-9),
        "N2": (29.1239207, 3.09605e-4, 2.77177e-6, 2.87113e-10),
        "O2": (29.3787928, 2.66867e-3, 7.60051e-6, -9.12957e-9),
        "Ar": (20.7861565, 0.0, 0.0, 0.0),
    }
)
