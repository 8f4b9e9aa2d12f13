"""Fuels: what burns, how much air it needs and what it leaves, each with the source of its composition."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Self

from fleet.combustion.gases import AIR, ATOMIC_MASS_G_MOL, SPECIES, VAPORISATION_KJ_MOL, moles_from_volumes

SUM_TOLERANCE: Final = 0.005
# Below this a sum differs from one by rounding only, which is not worth a note.
SUM_ROUNDING: Final = 1e-9
# Heating oil near room temperature, 2.0 kJ/kg K (common practice, no source); 10 % of it is 0.002 points.
LIQUID_FUEL_HEAT_CAPACITY_J_G_K: Final = 2.0


def _normalised(argument: str, shares: Mapping[str, float], known: Mapping[str, object]) -> dict[str, float]:
    """The shares divided by their sum; ValueError names the argument and what is wrong with it."""
    for key, share in shares.items():
        if key not in known:
            raise ValueError(f"{argument}: {key!r} is not known; known are {', '.join(known)}")
        if not (math.isfinite(share) and share >= 0):
            raise ValueError(f"{argument}: the fraction of {key} is {share}, but must be finite and not negative")
    total = math.fsum(shares.values())
    if abs(total - 1) > SUM_TOLERANCE:
        raise ValueError(f"{argument}: fractions sum to {total:.6g}, more than {SUM_TOLERANCE:.1%} away from 1")
    return {key: share / total for key, share in shares.items()}


def _sum_note(shares: Mapping[str, float]) -> tuple[str, ...]:
    total = math.fsum(shares.values())
    if abs(total - 1) <= SUM_ROUNDING:
        return ()
    return (f"Fractions summed to {total:.6g} and were divided by that sum.",)


# No slots: what follows from the composition is calculated once and kept with the fuel.
@dataclass(frozen=True)
class Fuel:
    """One fuel, counted in moles; a fuel known by mass is counted per mole of its carbon.

    carbon, hydrogen, oxygen, nitrogen, sulfur: atoms per mole of fuel.
    hhv_kj_mol: gross heating value at 25 °C [kJ/mol]. heat_capacity_j_mol_k: of the fuel as fed [J/mol K].
    label: words for people. source, evidence: where the composition comes from and how far to trust it.
    composition: (species, mole fraction) pairs of a gas, empty for a fuel known by mass.
    notes: what was adjusted.

    Raises ValueError if the fuel needs no oxygen or has no heating value.
    """

    name: str
    carbon: float
    hydrogen: float
    oxygen: float
    nitrogen: float
    sulfur: float
    hhv_kj_mol: float
    heat_capacity_j_mol_k: float
    label: str = ""
    source: str = ""
    evidence: str = ""
    composition: tuple[tuple[str, float], ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.oxygen_demand > 0:
            raise ValueError(f"fuel {self.name!r} needs no oxygen, so it is not a fuel")
        if not (math.isfinite(self.hhv_kj_mol) and self.lhv_kj_mol > 0):
            raise ValueError(f"fuel {self.name!r}: the heating value must be finite and positive")

    @classmethod
    def from_composition(
        cls, name: str, composition: Mapping[str, float], *, label: str = "", source: str = "", evidence: str = ""
    ) -> Self:
        """A gas from mole fractions of CH4 C2H6 C3H8 nC4 iC4 nC5 H2 CO CO2 N2 O2.

        Raises ValueError for an unknown species, a negative fraction, or a sum more than 0.5 % away from 1;
        a smaller difference is normalised and said in `notes`.

        >>> round(Fuel.from_composition("G25", {"CH4": 0.86, "N2": 0.14}).co2_max_pct, 3)
        11.523
        """
        moles = _normalised("composition", composition, SPECIES)
        parts = [(SPECIES[key], moles[key]) for key in moles]
        return cls(
            name=name,
            carbon=math.fsum(x * s.carbon for s, x in parts),
            hydrogen=math.fsum(x * s.hydrogen for s, x in parts),
            oxygen=math.fsum(x * s.oxygen for s, x in parts),
            nitrogen=math.fsum(x * s.nitrogen for s, x in parts),
            sulfur=0.0,
            hhv_kj_mol=math.fsum(x * s.hhv_kj_mol for s, x in parts),
            heat_capacity_j_mol_k=math.fsum(x * s.heat_capacity_j_mol_k for s, x in parts),
            label=label or name,
            source=source,
            evidence=evidence,
            composition=tuple(moles.items()),
            notes=_sum_note(composition),
        )

    @classmethod
    def from_ultimate_analysis(
        cls,
        name: str,
        mass_fractions: Mapping[str, float],
        hhv_mj_kg: float,
        *,
        label: str = "",
        source: str = "",
        evidence: str = "",
    ) -> Self:
        """A liquid or solid fuel from mass fractions of C H O N S (dry, ash free) and its gross heating value.

        hhv_mj_kg: at 25 °C [MJ/kg]. Errors as in from_composition; carbon must be present, because the fuel
        is counted per mole of carbon.

        >>> oil = Fuel.from_ultimate_analysis("oil", {"C": 0.87, "H": 0.13}, 45.5)
        >>> round(oil.co2_max_pct, 1)
        15.5
        """
        mass = _normalised("mass_fractions", mass_fractions, ATOMIC_MASS_G_MOL)
        if not mass.get("C", 0.0) > 0:
            raise ValueError("mass_fractions: a fuel known by mass is counted per mole of carbon, so C must be present")
        grams = ATOMIC_MASS_G_MOL["C"] / mass["C"]
        atoms = {key: grams * mass.get(key, 0.0) / ATOMIC_MASS_G_MOL[key] for key in ATOMIC_MASS_G_MOL}
        return cls(
            name=name,
            carbon=1.0,
            hydrogen=atoms["H"],
            oxygen=atoms["O"],
            nitrogen=atoms["N"],
            sulfur=atoms["S"],
            hhv_kj_mol=hhv_mj_kg * grams,
            heat_capacity_j_mol_k=LIQUID_FUEL_HEAT_CAPACITY_J_G_K * grams,
            label=label or name,
            source=source,
            evidence=evidence,
            notes=_sum_note(mass_fractions),
        )

    @cached_property
    def oxygen_demand(self) -> float:
        """Oxygen for complete combustion [mol/mol fuel]: c + h/4 + s - o/2."""
        return self.carbon + self.hydrogen / 4 + self.sulfur - self.oxygen / 2

    @cached_property
    def air_demand(self) -> float:
        """Dry air for complete combustion without excess [mol/mol fuel]."""
        return self.oxygen_demand / AIR["O2"]

    @cached_property
    def dry_products(self) -> float:
        """Dry flue gas without excess air [mol/mol fuel], the CO2 of the air included."""
        return self.carbon + self.sulfur + self.nitrogen / 2 + self.air_demand * (1 - AIR["O2"])

    @cached_property
    def water_products(self) -> float:
        """Water made by combustion [mol/mol fuel]."""
        return self.hydrogen / 2

    @cached_property
    def co2_max_pct(self) -> float:
        """CO2 in the dry flue gas without excess air [% vol], for air with 20.946 % O2 and 0.04 % CO2.

        The handbook 11.73 % of methane belongs to air of 21 % O2: a constant goes with its air.
        """
        return 100 * (self.carbon + self.air_demand * AIR["CO2"]) / self.dry_products

    @cached_property
    def lhv_kj_mol(self) -> float:
        """Net heating value at 25 °C [kJ/mol]: gross less the heat of vaporisation of the water made."""
        return self.hhv_kj_mol - VAPORISATION_KJ_MOL * self.water_products

    @cached_property
    def net_per_gross(self) -> float:
        """Net over gross heating value; turns a gross basis into a net one."""
        return self.lhv_kj_mol / self.hhv_kj_mol

    @cached_property
    def molar_mass_g_mol(self) -> float:
        """Mass of a mole of the fuel as counted here [g/mol]."""
        atoms = (self.carbon, self.hydrogen, self.oxygen, self.nitrogen, self.sulfur)
        return math.fsum(n * m for n, m in zip(atoms, ATOMIC_MASS_G_MOL.values(), strict=True))


def hydrogen_blend(base: Fuel, share: float) -> Fuel:
    """The base gas with so much of the blend hydrogen, by mole [0 to 1]; the name says base and share.

    Raises ValueError for a base known by mass and for a share outside 0 to 1.

    >>> blend = hydrogen_blend(FUELS["methane"], 0.2)
    >>> blend.name, round(blend.co2_max_pct, 2)
    ('methane_20_h2', 11.13)
    """
    if not base.composition:
        raise ValueError(f"base: fuel {base.name!r} is known by mass, not as a gas")
    if not 0 <= share <= 1:
        raise ValueError(f"share: {share} is not a mole fraction of 0 to 1")
    moles = {key: x * (1 - share) for key, x in base.composition if share < 1}
    if share > 0:
        moles["H2"] = moles.get("H2", 0.0) + share
    return Fuel.from_composition(
        f"{base.name}_{100 * share:g}_h2",
        moles,
        label=f"{base.label} with {100 * share:g} % hydrogen",
        source=f"{100 * share:g} mol % hydrogen in: {base.source}",
        evidence=f"share by definition; base {base.evidence}",
    )


def fuel_for(name: str, composition: Mapping[str, float | str] | None = None) -> Fuel:
    """The fuel of this name on our list or, given a composition, a gas of that name made of it.

    composition: mole fractions as in Fuel.from_composition, decimal texts allowed; empty means none.
    Raises ValueError for a name that isn't on the list and for a composition that makes no fuel.

    >>> fuel_for("propane") is FUELS["propane"]
    True
    >>> round(fuel_for("our landfill", {"CH4": "0.55", "CO2": "0.45"}).co2_max_pct, 2)
    19.45
    """
    if composition:
        return _mixed(name, tuple(composition.items()))
    if name not in FUELS:
        raise ValueError(f"name: {name!r} is not a fuel known here; known are {', '.join(FUELS)}")
    return FUELS[name]


@lru_cache(maxsize=512)
def _mixed(name: str, composition: tuple[tuple[str, float | str], ...]) -> Fuel:
    return Fuel.from_composition(
        name,
        {key: _number(key, share) for key, share in composition},
        source="composition as given",
        evidence="as given",
    )


def _number(key: str, share: float | str) -> float:
    try:
        return float(share)
    except ValueError:
        raise ValueError(f"composition: the fraction of {key} is {share!r}, but must be a number") from None


# On the list for tests of appliances in a laboratory; no supply brings them.
TEST_GASES: Final = ("g21", "g222", "g23", "g24", "g26", "g27")
_LIST: Final = Path(__file__).resolve().parents[2] / "fixtures" / "reference" / "fuels.json"


def _listed(row: Mapping[str, Any], known: Mapping[str, Fuel]) -> Fuel:
    """A row: a blend of one above it, a gas by moles or by real-gas volumes at 15 °C, or a fuel known by mass."""
    if "base" in row:
        return hydrogen_blend(known[row["base"]], row["hydrogen"])
    words = {name: row[name] for name in ("label", "source", "evidence")}
    if "mass_fractions" in row:
        return Fuel.from_ultimate_analysis(row["name"], row["mass_fractions"], row["hhv_mj_kg"], **words)
    moles = row["moles"] if "moles" in row else moles_from_volumes(row["volumes"])
    return Fuel.from_composition(row["name"], moles, **words)


def _read_list() -> Mapping[str, Fuel]:
    known: dict[str, Fuel] = {}
    for row in json.loads(_LIST.read_text()):
        fuel = _listed(row, known)
        known[fuel.name] = fuel
    return MappingProxyType(known)


FUELS: Final[Mapping[str, Fuel]] = _read_list()
