"""Refusals as a person reads them: where, what was given, what is allowed; no path and no code."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.intake.visits import VisitIn
from fleet.presentation.codes import field_words, refusal_lines, refusal_words

NAMES = st.sampled_from([*VisitIn().fields, "sampling_point", "rate_proven_by", "time_zone", "values", "o2", "draught"])


@given(st.lists(st.one_of(NAMES, st.integers(0, 30).map(str)), min_size=1, max_size=5).map(".".join))
def test_no_path_reaches_a_person(path: str) -> None:
    said = field_words(path)
    assert "_" not in said and "." not in said and "values" not in said.lower()


@pytest.mark.parametrize(
    ("refusal", "words"),
    [
        ("is missing; it must be one of: as_found, between, as_left",
         "is missing; it must be one of: as found, between, as left."),
        ("is natural_gas; it burns that already", "is natural gas; it burns that already."),
        ("is 2026-12-24; it must not lie ahead", "is 24 December 2026; it must not lie ahead."),
        ("is 'soon'; it must be a day such as 2026-03-02", "is 'soon'; it must be a day such as 2026-03-02."),
        ("is 'a@b_c.example'; it must be an e-mail address such as office@heating.example",
         "is 'a@b_c.example'; it must be an e-mail address such as office@heating.example."),
        ("is 'about 5'; it must be a decimal number such as \"9.20\"",
         "is 'about 5'; it must be a decimal number such as \"9.20\"."),
    ],
)  # fmt: skip
def test_what_was_given_and_what_is_allowed_stand_in_words(refusal: str, words: str) -> None:
    assert refusal_words(refusal) == words


def test_the_label_that_was_seen_goes_before_the_path() -> None:
    lines = refusal_lines({"notice.given_on": "is missing", "readings.0.rate": "is missing"}, {"given_on": "On"})
    assert lines == [("On", "is missing."), ("Reading 1, rate", "is missing.")]
