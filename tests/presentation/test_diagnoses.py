"""What makes a reading doubtful, in sentences."""

import math
from dataclasses import replace
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, ReadingFlag, doubts
from fleet.combustion.plausibility import Co2Basis, Doubt
from fleet.presentation.diagnoses import DOUBTS, doubt_words
from tests.combustion.cases import property_settings

GAS = FUELS["natural_gas"]


def kept(doubt: Doubt) -> Doubt:
    """As a judgement keeps it."""
    figures: Any = {name: None if math.isnan(value) else value for name, value in doubt.figures.items()}
    return replace(doubt, figures=figures)


def said(o2_pct: float, co2_pct: float, co_ppm: float = 20.0, **how: Any) -> list[str]:
    return [doubt_words(kept(each)) for each in doubts(GAS, o2_pct, co2_pct, co_ppm, **how)]


def every_kind() -> list[str]:
    return [
        sentence
        for o2, co2, co in ((21.5, 9.0, 1.0), (18.5, 9.0, 1.0), (0.0, 9.0, 5000.0), (5.0, 13.0, 1.0))
        for basis in ("measured", "calculated")
        for sentence in said(o2, co2, co, co2_basis=basis, flue_temp_c=40.0)
    ]


def test_each_doubt_has_its_sentence_and_no_sentence_is_left_over() -> None:
    assert set(DOUBTS) == {str(flag.name).lower() for flag in ReadingFlag}


figures = st.one_of(st.just(math.nan), st.floats(-1.0, 25.0))


@property_settings
@given(figures, figures, st.floats(0.0, 6000.0), st.sampled_from(get_args(Co2Basis)), st.floats(-10.0, 200.0))
def test_every_doubt_is_said_with_all_its_figures(o2: float, co2: float, co: float, basis: Any, flue_c: float) -> None:
    for sentence in said(o2, co2, co, co2_basis=basis, flue_temp_c=flue_c):
        assert sentence.endswith(".")
        assert "nan" not in sentence


def test_a_pair_that_misfits_names_what_was_read_what_is_due_and_the_fuel_that_would_fit() -> None:
    (sentence,) = said(5.0, 10.5, co2_basis="measured")
    assert "10.50 %" in sentence
    assert "9.07 %" in sentence
    assert sentence.endswith(f"The pair would fit {FUELS['propane'].label}.")


@pytest.mark.parametrize(("o2_pct", "ends"), [(5.0, "The pair fits no fuel of ours."), (math.nan, "at fault.")])
def test_a_pair_that_no_fuel_explains_names_none(o2_pct: float, ends: str) -> None:
    (sentence,) = said(o2_pct, 3.0 if o2_pct == o2_pct else 13.7, co2_basis="measured")
    assert sentence.endswith(ends)


def test_no_sentence_claims_to_find_a_leak() -> None:
    found = every_kind()
    assert {sentence.split()[0] for sentence in found} >= {"O₂", "CO₂", "CO", "The"}
    assert not any("leak" in sentence.lower() for sentence in found)


def test_no_sentence_asks_for_another_firing() -> None:
    """The same words stand on a visit that was stopped."""
    assert not any("repeat" in sentence.lower() for sentence in every_kind())
