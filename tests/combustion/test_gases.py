"""The constants of gases against figures that were got another way; mostly from memory, each as its test says."""

import math
import re

import numpy as np
import pytest

from fleet.combustion import gases, moles_from_volumes
from fleet.combustion.gases import AIR, ATOMIC_MASS_G_MOL, ENTHALPY, ENTHALPY_RANGE_C, SPECIES
from tests.combustion.cases import enthalpy_j_mol

FORMULAS = {"nC4": "C4H10", "iC4": "C4H10", "nC5": "C5H12"}
# Enthalpy of formation at 25 °C [kJ/mol], handbook values from memory; CO2 and liquid water are what is left.
FORMATION = {
    "CH4": -74.6,
    "C2H6": -84.0,
    "C3H8": -104.7,
    "nC4": -125.7,
    "iC4": -134.2,
    "nC5": -146.9,
    "H2": 0.0,
    "CO": -110.53,
    "CO2": -393.51,
    "N2": 0.0,
    "O2": 0.0,
}
WATER_FORMATION = -285.83
# Compressibility at 15 °C and 101 325 Pa: ISO 6976:1995 table 2, from memory.
COMPRESSIBILITY = {
    "CH4": 0.9980,
    "C2H6": 0.9915,
    "C3H8": 0.9821,
    "nC4": 0.9650,
    "iC4": 0.9680,
    "nC5": 0.9370,
    "CO": 0.9995,
    "CO2": 0.9944,
    "N2": 0.9997,
    "O2": 0.9992,
}
# NASA 7-coefficient polynomials, 200 to 1000 K (McBride and others), from memory: heat capacity over R.
NASA = {
    "CO2": (2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13),
    "H2O": (4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12),
    "N2": (3.53100528, -1.23660988e-4, -5.02999433e-7, 2.43530612e-9, -1.40881235e-12),
    "O2": (3.78245636, -2.99673416e-3, 9.84730201e-6, -9.68129509e-9, 3.24372837e-12),
    "Ar": (2.5, 0.0, 0.0, 0.0, 0.0),
}


def atoms(key: str) -> dict[str, int]:
    found = re.findall(r"([A-Z][a-z]?)(\d*)", FORMULAS.get(key, key))
    return {element: int(count or 1) for element, count in found}


def mass_g_mol(key: str) -> float:
    return sum(count * ATOMIC_MASS_G_MOL[element] for element, count in atoms(key).items())


@pytest.mark.parametrize("key", SPECIES)
def test_a_species_has_the_atoms_of_its_formula(key: str) -> None:
    species = SPECIES[key]
    found = {"C": species.carbon, "H": species.hydrogen, "O": species.oxygen, "N": species.nitrogen}
    assert {element: count for element, count in found.items() if count} == atoms(key)


@pytest.mark.parametrize("key", SPECIES)
def test_heating_values_follow_from_the_heats_of_formation(key: str) -> None:
    """To 1 kJ/mol: what the species holds beyond its CO2 and liquid water."""
    species = SPECIES[key]
    burnt = species.carbon * FORMATION["CO2"] + species.hydrogen / 2 * WATER_FORMATION
    assert species.hhv_kj_mol == pytest.approx(FORMATION[key] - burnt, abs=1.0)


@pytest.mark.parametrize("key", COMPRESSIBILITY)
def test_summation_factors_are_the_root_of_what_lacks_to_an_ideal_gas(key: str) -> None:
    assert SPECIES[key].root_b == pytest.approx(math.sqrt(1 - COMPRESSIBILITY[key]), abs=6e-5)


def test_hydrogen_is_larger_than_ideal() -> None:
    """-0.0048: ISO 6976:1995 table 2, from memory."""
    assert SPECIES["H2"].root_b == -0.0048


@pytest.mark.parametrize(
    ("key", "joule"),
    [
        *(("CH4", 35.7), ("C2H6", 52.5), ("C3H8", 73.6), ("nC4", 98.5), ("iC4", 96.65), ("nC5", 120.04)),
        *(("H2", 28.84), ("CO", 29.14), ("CO2", 37.13), ("N2", 29.12), ("O2", 29.38)),
    ],
)
def test_heat_capacities_of_the_species_at_25_c(key: str, joule: float) -> None:
    """Handbook values from memory [J/mol K]."""
    assert SPECIES[key].heat_capacity_j_mol_k == pytest.approx(joule, abs=0.06)


@pytest.mark.parametrize("key", ENTHALPY)
def test_enthalpies_are_those_of_the_polynomials_they_were_fitted_to(key: str) -> None:
    """To the fit's stated 0.083 J/mol over its whole range."""
    low, high = ENTHALPY_RANGE_C
    assert (low, high) == (-20.0, 300.0)
    temps_c = np.linspace(low, high, 33)
    exact = [
        8.314462618 * sum(c * ((t + 273.15) ** n - 298.15**n) / n for n, c in enumerate(NASA[key], start=1))
        for t in temps_c
    ]
    assert enthalpy_j_mol(key, temps_c) == pytest.approx(exact, abs=0.0845)
    assert enthalpy_j_mol(key, 25.0) == 0.0


def test_atoms_weigh_what_the_periodic_table_says() -> None:
    """IUPAC conventional masses, from memory, to four digits."""
    known = {"C": 12.011, "H": 1.008, "O": 15.999, "N": 14.007, "S": 32.06}
    assert dict(ATOMIC_MASS_G_MOL) == pytest.approx(known, rel=2e-4)


def test_molecules_weigh_as_much_as_their_atoms() -> None:
    assert pytest.approx(mass_g_mol("CO"), abs=1e-3) == gases.CO_MASS_G_MOL
    assert pytest.approx(mass_g_mol("NO2"), abs=1e-3) == gases.NO2_MASS_G_MOL
    assert pytest.approx(mass_g_mol("H2O"), abs=1e-4) == gases.WATER_MASS_G_MOL
    argon_g_mol = 39.948 * AIR["Ar"]
    air_g_mol = argon_g_mol + sum(AIR[key] * mass_g_mol(key) for key in ("N2", "O2", "CO2"))
    assert pytest.approx(air_g_mol, abs=1e-3) == gases.AIR_MASS_G_MOL


def test_air_holds_what_the_standard_atmosphere_does() -> None:
    """ISO 2533, rounded, from memory; CO2 as of the 2020s."""
    assert dict(AIR) == {"N2": 0.78084, "O2": 0.20946, "Ar": 0.00930, "CO2": 0.00040}


def test_constants_of_physics_and_of_standards() -> None:
    """CODATA 2018 (exact by definition), ISO 2533, ISO 6976, IAPWS; all from memory."""
    assert pytest.approx(6.02214076e23 * 1.380649e-23, rel=1e-9) == gases.GAS_CONSTANT_J_MOL_K
    assert (gases.STANDARD_PRESSURE_PA, gases.ZERO_C_K, gases.HEATING_VALUE_TEMP_C) == (101_325.0, 273.15, 25.0)
    # Vapour's and liquid's heats of formation, and the ideal gas's 44.004 against the real one's.
    assert pytest.approx(-241.826 - WATER_FORMATION, abs=1e-3) == gases.VAPORISATION_KJ_MOL
    assert pytest.approx(43.987, rel=5e-4) == gases.VAPORISATION_KJ_MOL
    assert SPECIES["CO"].hhv_kj_mol == gases.CO_HEAT_KJ_MOL
    # 4.1816 J/g K of liquid water at 25 °C.
    assert pytest.approx(4.1816 * 18.01528, abs=0.01) == gases.WATER_HEAT_CAPACITY_J_MOL_K
    # Air of the standard: 28.9626 g/mol ideal, 1.22541 kg/m³ real at 15 °C.
    ideal_kg_m3 = 28.9626 * 101_325 / (8314.4626 * 288.15)
    assert pytest.approx(ideal_kg_m3 / 1.22541, abs=5e-5) == gases.AIR_COMPRESSIBILITY


def test_volumes_of_real_gases_hold_more_moles_where_the_gas_is_denser() -> None:
    """By hand: 0.5 / 0.99800 of methane and 0.5 / 0.98210 of propane, brought to one."""
    moles = moles_from_volumes({"CH4": 0.5, "C3H8": 0.5})
    methane, propane = 0.5 / (1 - 0.0447**2), 0.5 / (1 - 0.1338**2)
    assert moles == pytest.approx({"CH4": methane / (methane + propane), "C3H8": propane / (methane + propane)})
    halved = moles_from_volumes({"CH4": 0.25, "C3H8": 0.25})
    assert halved == pytest.approx({key: mole / 2 for key, mole in moles.items()})
    with pytest.raises(ValueError, match=r"volumes: \['steam', 'tar'\] not known; known are CH4"):
        moles_from_volumes({"tar": 0.1, "steam": 0.1})
