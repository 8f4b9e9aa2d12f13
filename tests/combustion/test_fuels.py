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
        ({"N2": 1.0}, "fuel 'odd' needs no oxygen"),
        ({"O2": 0.9, "CH4": 0.1}, "fuel 'odd' needs no oxygen"),
    ],
)
def test_refuses_a_composition_and_says_why(composition: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=f"^{words}"):
        Fuel.from_composition("odd", composition)


@pytest.mark.parametrize(
    ("mass_fractions", "hhv_mj_kg", "words"),
    [
        ({"C": 0.86, "K": 0.14}, 45.5, "mass_fractions: 'K' is not known"),
        ({"C": 1.14, "H": -0.14}, 45.5, "mass_fractions: the fraction of H is -0.14"),
        ({"C": 0.86, "H": 0.12}, 45.5, "mass_fractions: fractions sum to 0.98"),
        ({"H": 1.0}, 141.8, "mass_fractions: a fuel known by mass is counted per mole of carbon, so C must"),
        ({"C": 0.86, "H": 0.14}, math.nan, "fuel 'odd': the heating value"),
        ({"C": 0.86, "H": 0.14}, 1.0, "fuel 'odd': the heating value"),
    ],
)
def test_refuses_an_analysis_and_says_why(mass_fractions: dict[str, float], hhv_mj_kg: float, words: str) -> None:
    with pytest.raises(ValueError, match=f"^{words}"):
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


# ---- the list ----


@pytest.mark.parametrize(
    ("name", "label", "evidence"),
    [
        ("natural_gas", "Natural gas (typical)", "seen in the source"),
        ("methane", "Methane (G20)", "definition"),
        ("natural_gas_l", "Low-calorific natural gas (G25)", "from memory"),
        ("natural_gas_20_h2", "Methane with 20 % hydrogen", "definition"),
        ("propane", "Propane (G31)", "definition"),
        ("butane", "Butane (G30)", "from memory"),
        ("light_oil", "Light heating oil (No. 2, extra light)", "assumption"),
        ("lpg", "Liquefied petroleum gas (propane and butane)", "own choice, no source"),
        ("biogas", "Biogas (60 % methane)", "common practice, no source"),
        ("natural_gas_10_h2", "Natural gas (typical) with 10 % hydrogen", "share by definition; base seen"),
        ("natural_gas_30_h2", "Natural gas (typical) with 30 % hydrogen", "share by definition; base seen"),
        ("hydrogen", "Hydrogen", "definition"),
        ("g21", "EN 437 test gas G21", "from memory"),
        ("g222", "EN 437 test gas G222", "seen in the text"),
        ("g23", "EN 437 test gas G23", "seen in the text"),
        ("g24", "EN 437 test gas G24", "seen in the text"),
        ("g26", "EN 437 test gas G26", "from memory"),
        ("g27", "EN 437 test gas G27", "from memory"),
    ],
)
def test_each_fuel_is_called_what_it_is_and_trusted_as_far_as_it_goes(name: str, label: str, evidence: str) -> None:
    fuel = FUELS[name]
    assert (fuel.name, fuel.label) == (name, label)
    assert fuel.evidence.startswith(evidence)
    assert bool(fuel.notes) is (name == "natural_gas")  # its utility's figures sum to 0.9999
    if label.startswith("EN 437") or label.endswith(("(G25)", "(G30)")):
        gas = label.rpartition(" ")[2].strip("()")
        assert fuel.source == f"EN 437, test gas {gas}, volumes turned to moles"


def test_the_list_is_whole() -> None:
    assert TEST_GASES == ("g21", "g222", "g23", "g24", "g26", "g27")
    assert list(FUELS) == [
        *("natural_gas", "methane", "natural_gas_l", "natural_gas_20_h2", "propane", "butane", "light_oil", "lpg"),
        *("biogas", "natural_gas_10_h2", "natural_gas_30_h2", "hydrogen", *TEST_GASES),
    ]


@pytest.mark.parametrize(
    ("name", "percent"),
    [
        ("methane", {"CH4": 100}),
        ("propane", {"C3H8": 100}),
        ("hydrogen", {"H2": 100}),
        ("natural_gas_20_h2", {"CH4": 80, "H2": 20}),
        ("lpg", {"C3H8": 70, "nC4": 20, "iC4": 10}),
        ("biogas", {"CH4": 60, "CO2": 40}),
    ],
)
def test_mixtures_by_mole(name: str, percent: dict[str, int]) -> None:
    """By definition, or of our own choice."""
    assert dict(FUELS[name].composition) == pytest.approx({key: share / 100 for key, share in percent.items()})


def test_typical_natural_gas_as_its_utility_prints_it() -> None:
    """Mole percent: 93.9 methane, 4.2 ethane, 0.3 propane, 0.03 of each butane and of C5+, 1.0 N2, 0.5 CO2."""
    percent = {"CH4": 93.9, "C2H6": 4.2, "C3H8": 0.3, "iC4": 0.03, "nC4": 0.03, "nC5": 0.03, "N2": 1.0, "CO2": 0.5}
    total = math.fsum(percent.values())
    assert dict(FUELS["natural_gas"].composition) == pytest.approx({key: x / total for key, x in percent.items()})


def test_light_oil_is_what_it_is_taken_for() -> None:
    """CH1.8 of 45.5 MJ/kg gross: 13.825 g and 629.1 kJ a mole of carbon; 2.0 J/g K."""
    oil = FUELS["light_oil"]
    assert (oil.carbon, oil.oxygen, oil.nitrogen, oil.sulfur) == (1.0, 0.0, 0.0, 0.0)
    assert oil.hydrogen == pytest.approx(1.8, abs=5e-4)
    assert oil.hhv_kj_mol == pytest.approx(45.5 * 13.8253, rel=1e-4)
    assert oil.heat_capacity_j_mol_k == pytest.approx(2.0 * 13.8253, rel=1e-4)
    assert oil.composition == ()


# ---- sums, names and notes ----


def test_a_sum_may_be_half_a_percent_off_and_not_more() -> None:
    for total in (0.9951, 1.0049):
        assert Fuel.from_composition("near", {"CH4": total}).notes == (
            f"Fractions summed to {total:.6g} and were divided by that sum.",
        )
    for total in (0.9949, 1.0051):
        with pytest.raises(ValueError, match=r"composition: fractions sum to .*, more than 0.5% away from 1"):
            Fuel.from_composition("far", {"CH4": total})


def test_a_rounding_error_of_the_sum_is_not_worth_a_note() -> None:
    assert Fuel.from_composition("near", {"CH4": 1 - 5e-10}).notes == ()
    assert Fuel.from_composition("near", {"CH4": 1 - 2e-9}).notes != ()
    assert Fuel.from_ultimate_analysis("near", {"C": 0.87, "H": 0.128}, 45.5).notes == (
        "Fractions summed to 0.998 and were divided by that sum.",
    )


@pytest.mark.parametrize("share", [math.inf, -math.inf, -1e-9])
def test_a_fraction_must_be_finite_and_not_negative(share: float) -> None:
    with pytest.raises(ValueError, match=f"composition: the fraction of N2 is {share}"):
        Fuel.from_composition("odd", {"CH4": 1.0, "N2": share})


def test_nothing_of_a_species_may_be_said() -> None:
    assert Fuel.from_composition("pure", {"CH4": 1.0, "N2": 0.0}).hhv_kj_mol == FUELS["methane"].hhv_kj_mol


def test_a_fuel_goes_by_its_name_unless_it_has_a_label() -> None:
    analysis = {"C": 0.87, "H": 0.13}
    for plain in (Fuel.from_composition("bare", {"CH4": 1.0}), Fuel.from_ultimate_analysis("bare", analysis, 45.5)):
        assert (plain.label, plain.source, plain.evidence) == ("bare", "", "")
    words = {"label": "Oil", "source": "a book", "evidence": "seen"}
    told = Fuel.from_ultimate_analysis("oil", analysis, 45.5, **words)
    assert (told.label, told.source, told.evidence) == ("Oil", "a book", "seen")
    made = Fuel("own", 1.0, 4.0, 0.0, 0.0, 0.0, 890.58, 35.7)
    assert (made.label, made.source, made.evidence, made.composition, made.notes) == ("", "", "", (), ())


def test_a_fuel_has_a_heating_value_that_is_a_number_and_more_than_its_steam_takes() -> None:
    for hhv_kj_mol in (math.inf, math.nan, 88.0):
        with pytest.raises(ValueError, match="fuel 'odd': the heating value must be finite and positive"):
            Fuel("odd", 1.0, 4.0, 0.0, 0.0, 0.0, hhv_kj_mol, 35.7)
    assert Fuel("poor", 1.0, 4.0, 0.0, 0.0, 0.0, 88.1, 35.7).lhv_kj_mol > 0


def test_an_analysis_counts_every_element_per_mole_of_carbon() -> None:
    """By hand from 80 % C, 10 % H, 6 % O, 3 % N, 1 % S and the atomic masses."""
    fuel = Fuel.from_ultimate_analysis("any", {"C": 0.80, "H": 0.10, "O": 0.06, "N": 0.03, "S": 0.01}, 40.0)
    grams = 12.011 / 0.80
    assert fuel.carbon == 1.0
    assert fuel.hydrogen == pytest.approx(grams * 0.10 / 1.00794)
    assert fuel.oxygen == pytest.approx(grams * 0.06 / 15.9994)
    assert fuel.nitrogen == pytest.approx(grams * 0.03 / 14.0067)
    assert fuel.sulfur == pytest.approx(grams * 0.01 / 32.065)
    assert fuel.hhv_kj_mol == pytest.approx(40.0 * grams)
    assert fuel.molar_mass_g_mol == pytest.approx(grams)
    assert fuel.oxygen_demand == pytest.approx(1 + fuel.hydrogen / 4 + fuel.sulfur - fuel.oxygen / 2)
    expected_dry = 1 + fuel.sulfur + fuel.nitrogen / 2 + fuel.oxygen_demand / 0.20946 * 0.79054
    assert fuel.dry_products == pytest.approx(expected_dry)
    assert fuel.co2_max_pct == pytest.approx(100 * (1 + fuel.air_demand * 0.0004) / expected_dry)


@pytest.mark.parametrize(
    ("share", "name"), [(0.0, "methane_0_h2"), (0.125, "methane_12.5_h2"), (1.0, "methane_100_h2")]
)
def test_a_blend_says_what_it_is_made_of(share: float, name: str) -> None:
    blend = hydrogen_blend(FUELS["methane"], share)
    assert blend.name == name
    assert ("H2" in dict(blend.composition), "CH4" in dict(blend.composition)) == (share > 0, share < 1)
    assert blend.source == f"{100 * share:g} mol % hydrogen in: {FUELS['methane'].source}"
    assert blend.evidence == "share by definition; base definition"


def test_a_mixed_gas_says_that_its_composition_was_given() -> None:
    made = fuel_for("site gas", {"CH4": "1"})
    assert (made.source, made.evidence) == ("composition as given", "as given")


# ---- a gas by volume ----


@pytest.mark.parametrize("methane", [1.0, 0.1])
def test_a_gas_by_volume_by_hand(methane: float) -> None:
    """Methane, pure and with 90 % nitrogen, brought from 25 to 15 °C by the heat capacities of what burns and what
    comes of it; ISO 6976:1995 has 891.56 kJ/mol and 44.43 kJ/mol of water there (from memory).
    """
    gas = gas_properties(Fuel.from_composition("gas", {"CH4": methane, "N2": 1 - methane}))
    hhv = methane * (890.58 + 10 * (37.1351484 + 2 * 75.33 - 35.7 - 2 * 29.3787928) / 1000)
    hhv += (1 - methane) * 10 * (29.1239207 - 29.1) / 1000
    assert hhv == pytest.approx(891.56 * methane, rel=1e-4)
    vaporisation = 44.004 + 10 * (75.33 - 33.5878505) / 1000
    assert vaporisation == pytest.approx(44.43, abs=0.02)
    z = 1 - (methane * 0.0447 + (1 - methane) * 0.0173) ** 2
    litres = z * 8.314462618 * 288.15 / 101.325
    mass = methane * (12.011 + 4 * 1.00794) + (1 - methane) * 2 * 14.0067
    density = mass / z / (28.9652 / 0.99958)
    assert gas.compressibility == pytest.approx(z, rel=1e-12)
    assert gas.relative_density == pytest.approx(density, rel=1e-12)
    assert gas.hhv_mj_m3 == pytest.approx(hhv / litres, rel=1e-10)
    assert gas.lhv_mj_m3 == pytest.approx((hhv - 2 * methane * vaporisation) / litres, rel=1e-10)
    assert gas.wobbe_gross_mj_m3 == pytest.approx(gas.hhv_mj_m3 / math.sqrt(density), rel=1e-12)
    assert gas.wobbe_net_mj_m3 == pytest.approx(gas.lhv_mj_m3 / math.sqrt(density), rel=1e-12)
