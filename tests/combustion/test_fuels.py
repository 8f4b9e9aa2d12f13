import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, TEST_GASES, Fuel, fuel_for, gas_properties, hydrogen_blend, moles_from_volumes
from fleet.combustion.gases import AIR, SPECIES
from tests.combustion.cases import property_settings


def needs_oxygen(parts: dict[str, float]) -> bool:
    """A gas that brings all its oxygen along is no fuel; H2 needs the least, half a mole."""
    demand = sum(parts.get(key, 0.0) * moles for key, moles in (("H2", 0.5), ("CH4", 2.0), ("C3H8", 5.0)))
    return demand > parts.get("O2", 0.0) + 1e-3


burnable_gases = st.dictionaries(
    st.sampled_from(sorted(SPECIES)), st.floats(0.01, 1.0), min_size=1, max_size=len(SPECIES)
).filter(lambda parts: needs_oxygen(parts))


def normalised(parts: dict[str, float]) -> dict[str, float]:
    total = math.fsum(parts.values())
    return {key: part / total for key, part in parts.items()}


def test_air_is_whole() -> None:
    assert math.fsum(AIR.values()) == pytest.approx(1.0, abs=1e-12)


def test_every_fuel_on_the_list_says_where_it_comes_from() -> None:
    assert {"natural_gas", "propane", "light_oil", "methane", "biogas", "lpg", "hydrogen"} <= FUELS.keys()
    assert set(TEST_GASES) <= FUELS.keys()
    for name, fuel in FUELS.items():
        assert fuel.name == name
        assert fuel.label
        assert fuel.source
        assert fuel.evidence


def test_what_nobody_published_says_so() -> None:
    assert "own choice" in FUELS["lpg"].source
    assert FUELS["lpg"].evidence.endswith("no source")
    assert FUELS["biogas"].evidence == "common practice, no source"


def test_our_mixtures_burn_as_their_parts_do() -> None:
    """Liquefied gas between propane and butane; biogas has the air demand of its methane alone."""
    propane, lpg, butane = (FUELS[name].co2_max_pct for name in ("propane", "lpg", "butane"))
    assert propane < lpg < butane
    assert FUELS["biogas"].air_demand == pytest.approx(0.6 * FUELS["methane"].air_demand, rel=1e-12)
    assert FUELS["biogas"].lhv_kj_mol == pytest.approx(0.6 * FUELS["methane"].lhv_kj_mol, rel=1e-12)


@pytest.mark.parametrize(
    ("composition", "words"),
    [
        ({"CH5": 1.0}, "composition: 'CH5' is not known"),
        ({"CH4": 1.1, "N2": -0.1}, "composition: the fraction of N2 is -0.1"),
        ({"CH4": math.nan}, "composition: the fraction of CH4 is nan"),
        ({"CH4": 0.90, "N2": 0.09}, "composition: fractions sum to 0.99"),
        ({}, "composition: fractions sum to 0"),
        ({"N2": 1.0}, "needs no oxygen"),
        ({"O2": 0.9, "CH4": 0.1}, "needs no oxygen"),
    ],
)
def test_refuses_a_composition_and_says_why(composition: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Fuel.from_composition("odd", composition)


@pytest.mark.parametrize(
    ("mass_fractions", "hhv_mj_kg", "words"),
    [
        ({"C": 0.86, "K": 0.14}, 45.5, "mass_fractions: 'K' is not known"),
        ({"C": 1.14, "H": -0.14}, 45.5, "mass_fractions: the fraction of H is -0.14"),
        ({"C": 0.86, "H": 0.12}, 45.5, "mass_fractions: fractions sum to 0.98"),
        ({"H": 1.0}, 141.8, "C must be present"),
        ({"C": 0.86, "H": 0.14}, math.nan, "heating value"),
        ({"C": 0.86, "H": 0.14}, 1.0, "heating value"),
    ],
)
def test_refuses_an_analysis_and_says_why(mass_fractions: dict[str, float], hhv_mj_kg: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Fuel.from_ultimate_analysis("odd", mass_fractions, hhv_mj_kg)


def test_a_small_gap_in_the_sum_is_closed_and_said() -> None:
    fuel = Fuel.from_composition("nearly", {"CH4": 0.857, "N2": 0.139})
    assert fuel.co2_max_pct == pytest.approx(
        Fuel.from_composition("whole", {"CH4": 0.857 / 0.996, "N2": 0.139 / 0.996}).co2_max_pct
    )
    assert fuel.notes == ("Fractions summed to 0.996 and were divided by that sum.",)


@property_settings
@given(burnable_gases)
def test_nothing_is_lost_or_made_when_a_gas_is_mixed(parts: dict[str, float]) -> None:
    composition = normalised(parts)
    fuel = Fuel.from_composition("gas", composition)
    assert fuel.carbon == pytest.approx(sum(x * SPECIES[key].carbon for key, x in composition.items()))
    assert fuel.hhv_kj_mol >= fuel.lhv_kj_mol
    # Nitrogen of fuel and air, argon, and CO2 make up all dry gas once the oxygen is used.
    inert = fuel.nitrogen / 2 + fuel.air_demand * (AIR["N2"] + AIR["Ar"])
    assert fuel.dry_products * (1 - fuel.co2_max_pct / 100) == pytest.approx(inert, rel=1e-12)


@property_settings
@given(burnable_gases)
def test_volumes_and_moles_describe_the_same_gas(parts: dict[str, float]) -> None:
    volumes = normalised(parts)
    moles = moles_from_volumes(volumes)
    assert math.fsum(moles.values()) == pytest.approx(1.0, abs=1e-12)
    for key, mole in moles.items():
        assert mole == pytest.approx(volumes[key], rel=0.08)


def test_volumes_refuse_an_unknown_species() -> None:
    with pytest.raises(ValueError, match="volumes"):
        moles_from_volumes({"CH4": 0.9, "steam": 0.1})


def test_a_fuel_known_by_mass_has_no_gas_properties() -> None:
    with pytest.raises(ValueError, match="light_oil"):
        gas_properties(FUELS["light_oil"])


def test_sulfur_takes_oxygen_and_leaves_dry_gas() -> None:
    clean = Fuel.from_ultimate_analysis("clean", {"C": 0.87, "H": 0.13}, 45.0)
    sour = Fuel.from_ultimate_analysis("sour", {"C": 0.87, "H": 0.12, "S": 0.01}, 45.0)
    sulfur = 0.01 / 32.065 * 12.011 / 0.87
    assert sour.sulfur == pytest.approx(sulfur)
    assert sour.oxygen_demand == pytest.approx(sour.carbon + sour.hydrogen / 4 + sulfur)
    assert sour.dry_products == pytest.approx(1 + sulfur + sour.air_demand * (1 - AIR["O2"]))
    assert sour.co2_max_pct != clean.co2_max_pct


def test_light_oil_is_near_european_practice() -> None:
    """15.4 % for heating oil EL: common practice from memory, no source."""
    assert FUELS["light_oil"].co2_max_pct == pytest.approx(15.4, abs=0.2)


@pytest.mark.parametrize(("share", "name"), [(0.1, "natural_gas_10_h2"), (0.3, "natural_gas_30_h2")])
def test_a_hydrogen_blend_is_named_by_base_and_share(share: float, name: str) -> None:
    blend = hydrogen_blend(FUELS["natural_gas"], share)
    assert blend == FUELS[name]
    assert blend.label == f"Natural gas (typical) with {100 * share:g} % hydrogen"
    assert dict(blend.composition)["H2"] == pytest.approx(share)


@property_settings
@given(st.sampled_from([fuel for fuel in FUELS.values() if fuel.composition]), st.floats(0.0, 1.0))
def test_a_blend_lies_between_its_base_and_hydrogen(base: Fuel, share: float) -> None:
    blend, hydrogen = hydrogen_blend(base, share), FUELS["hydrogen"]
    for name in ("carbon", "hydrogen", "nitrogen", "hhv_kj_mol", "lhv_kj_mol", "air_demand", "molar_mass_g_mol"):
        parts = (1 - share) * getattr(base, name) + share * getattr(hydrogen, name)
        assert getattr(blend, name) == pytest.approx(parts, rel=1e-9, abs=1e-12), name


def test_nothing_and_everything_can_be_hydrogen() -> None:
    methane = FUELS["methane"]
    assert hydrogen_blend(methane, 0.0).composition == methane.composition
    assert hydrogen_blend(methane, 1.0).composition == FUELS["hydrogen"].composition
    more = dict(hydrogen_blend(FUELS["g222"], 0.5).composition)
    assert more["H2"] == pytest.approx(0.5 * 0.22965 + 0.5, abs=1e-5)


@pytest.mark.parametrize("share", [-0.01, 1.01, math.nan])
def test_a_blend_refuses_a_share_that_is_none(share: float) -> None:
    with pytest.raises(ValueError, match="share"):
        hydrogen_blend(FUELS["methane"], share)


def test_oil_takes_no_hydrogen() -> None:
    with pytest.raises(ValueError, match="base: fuel 'light_oil'"):
        hydrogen_blend(FUELS["light_oil"], 0.1)


def test_a_fuel_is_found_by_name_or_made_of_its_composition() -> None:
    assert fuel_for("methane") is fuel_for("methane", {}) is FUELS["methane"]
    made = fuel_for("site gas", {"CH4": "0.86", "N2": "0.14"})
    assert made.name == made.label == "site gas"
    assert made.hhv_kj_mol == Fuel.from_composition("site gas", {"CH4": 0.86, "N2": 0.14}).hhv_kj_mol
    assert made.source
    assert made.evidence


def test_the_same_composition_is_made_once() -> None:
    parts = {"CH4": "0.90", "C2H6": "0.10"}
    assert fuel_for("site gas", parts) is fuel_for("site gas", dict(parts))
    assert fuel_for("other gas", parts) is not fuel_for("site gas", parts)


@pytest.mark.parametrize(
    ("name", "composition", "words"),
    [
        ("coal", None, "name: 'coal' is not a fuel known here; known are natural_gas"),
        ("site gas", {"CH4": "much"}, "composition: the fraction of CH4 is 'much'"),
        ("site gas", {"CH4": "0.5"}, "composition: fractions sum to 0.5"),
        ("site gas", {"CH5": "1"}, "composition: 'CH5' is not known"),
        ("site gas", {"CH4": "NaN"}, "composition: the fraction of CH4 is nan"),
    ],
)
def test_refuses_a_fuel_and_says_why(name: str, composition: dict[str, float | str] | None, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fuel_for(name, composition)
