"""Refusals as a person reads them: where, what was given, what is allowed; no path and no code."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.coded import Coded, coded, wrong
from fleet.intake.visits import VisitIn
from fleet.presentation.codes import allowed_words, field_words, refusal_lines, wrong_text, wrong_words

NAMES = st.sampled_from(
    [*VisitIn.model_fields, "sampling_point", "rate_proven_by", "time_zone", "values", "o2", "draught"]
)


@given(st.lists(st.one_of(NAMES, st.integers(0, 30).map(str)), min_size=1, max_size=5).map(".".join))
def test_no_path_reaches_a_person(path: str) -> None:
    for said in (field_words(path), field_words(path, VisitIn)):
        assert "_" not in said and "." not in said and "values" not in said.lower()


@pytest.mark.parametrize(
    ("said", "words", "text"),
    [
        (wrong("one_of", None, allowed=["as_found", "between"]),
         "is missing; it must be one of: as found, between.", "is missing; it must be one of: as_found, between"),
        (coded("burns_already", fuel=["natural_gas"]),
         "is natural gas; it burns that already.", "is natural_gas; it burns that already"),
        (wrong("not_ahead", date(2026, 12, 24), today_on=date(2026, 12, 3)),
         "is 24 December 2026; it must not be after today, 3 December 2026.",
         "is 2026-12-24; it must not be after today, 2026-12-03"),
        (wrong("day", "soon"), "is 'soon'; it must be a day such as 2026-03-02.",
         "is 'soon'; it must be a day such as 2026-03-02"),
        (wrong("email", "a@b_c.example"),
         "is 'a@b_c.example'; it must be an e-mail address such as office@heating.example.",
         "is 'a@b_c.example'; it must be an e-mail address such as office@heating.example"),
        (coded("between", value="30", low=0.5, high=21.0), "is 30; it must be from 0.5 to 21.",
         "is 30; it must be from 0.5 to 21"),
        (coded("blank"), "is empty; it must be given.", "is empty; it must be given"),
    ],
)  # fmt: skip
def test_what_was_given_and_what_is_allowed_stand_in_words(said: Coded, words: str, text: str) -> None:
    assert (wrong_words(said), wrong_text(said)) == (words, text)


def test_beside_an_empty_field_what_is_allowed_is_enough() -> None:
    assert allowed_words(wrong("decimal", None)) == 'it must be a decimal number such as "9.20".'
    assert allowed_words(wrong("decimal", "x")) == "is 'x'; it must be a decimal number such as \"9.20\"."


def test_the_label_that_was_seen_goes_before_the_path() -> None:
    errors = {"notice.given_on": coded("missing"), "readings.0.values.o2.unit": coded("missing")}
    assert refusal_lines(errors, VisitIn, {"given_on": "On"}) == [
        ("On", "is missing; it must be given."),
        ("Reading 1, O₂, unit", "is missing; it must be given."),
    ]
