"""The coefficients as the regulations print them, and where their formulas end."""

from dataclasses import astuple

import numpy as np
import pytest

from fleet.combustion import LOSS_COEFFICIENTS, LossCoefficients, regulation_loss

GERMANY, FLANDERS = ("DE", "2010"), ("BE-VLG", "as published by EMIS, act 29199")
OLDER = ("DE", "before 2010")


def test_coefficients_of_the_form_with_o2() -> None:
    """1. BImSchV 2010 annex 2 no. 3.4.1 and the Flemish annex II, both seen; town gas from memory."""
    assert {name: astuple(each)[:5] for name, each in LOSS_COEFFICIENTS.items()} == {
        "de_2010_light_oil": ("heating oil EL, plant oils and their esters", 0.68, 0.007, *GERMANY),
        "de_2010_natural_gas": ("gas of the public supply", 0.66, 0.009, *GERMANY),
        "de_2010_coke_oven_gas": ("coke-oven gas", 0.60, 0.011, *GERMANY),
        "de_2010_liquefied_gas": ("liquefied gas and its mixtures with air", 0.63, 0.008, *GERMANY),
        "de_older_town_gas": ("town gas", 0.63, 0.011, *OLDER),
        "be_vlg_natural_gas": ("natural gas", 0.65, 0.009, *FLANDERS),
        "be_vlg_propane": ("propane", 0.63, 0.008, *FLANDERS),
        "be_vlg_light_oil": ("heating oil", 0.68, 0.007, *FLANDERS),
    }
    assert {each.o2_air_pct for each in LOSS_COEFFICIENTS.values()} == {21.0}


@pytest.mark.parametrize("coefficients", LOSS_COEFFICIENTS.values())
def test_each_says_how_far_to_trust_it(coefficients: LossCoefficients) -> None:
    seen = coefficients.edition != "before 2010"
    assert coefficients.evidence == ("seen in the published text" if seen else "memory")
    assert coefficients.source.startswith("1. BImSchV" if coefficients.jurisdiction == "DE" else "Flemish")
    assert coefficients.basis == "net"


def test_o2_just_below_that_of_the_formulas_air_still_has_a_loss() -> None:
    gas = LOSS_COEFFICIENTS["de_2010_natural_gas"]
    assert np.isfinite(regulation_loss(gas, np.nextafter(21.0, 0), 160.0, 20.0))
    assert np.isnan(regulation_loss(gas, 21.0, 160.0, 20.0))
    assert regulation_loss(gas, 20.0, 160.0, 20.0) == pytest.approx(140 * (0.66 + 0.009))
