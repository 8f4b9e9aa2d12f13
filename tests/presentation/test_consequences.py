"""What a draft would change, in sentences: each outcome in words, each fact by its name, each date once."""

from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

from fleet.assess.consequences import Consequence
from fleet.assess.due.due_changes import DueChange
from fleet.assess.judging.comparing import Applying, VerdictChange
from fleet.limits import Verdict
from fleet.models import Visit
from fleet.presentation.consequences import (
    applying_words,
    consequence_sentences,
    consequences_summary,
    due_change_words,
    verdict_change_words,
)
from tests.limits.cast import make_verdict
from tests.presentation.sentences import faults_of, is_whole

DAY = date(2026, 3, 2)
OUTCOMES = ("within", "outside", "incomplete", "not_judged")


def consequence(**values: Any) -> Consequence:
    plain = {"outcome_before": "within", "outcome_after": "within", "moved": 0, "otherwise": False}
    empty = dict.fromkeys(("verdicts", "newly", "no_longer", "dues"), ())
    return Consequence(**{"appliance": SimpleNamespace(), "visit": Visit(local_date=DAY)} | plain | empty | values)


@pytest.mark.parametrize("before", OUTCOMES)
@pytest.mark.parametrize("after", OUTCOMES)
def test_the_whole_outcome_is_told_first_where_it_changes(before: str, after: str) -> None:
    due = DueChange("Yearly check", DAY, None, ())
    said = consequence_sentences(consequence(outcome_before=before, outcome_after=after, dues=(due,)))
    assert len(said) == (2 if before != after else 1)
    assert said[0].startswith("Read as on") == (before != after)
    assert [each for one in said for each in faults_of(one, most_words=60)] == []


def test_without_a_visit_no_outcome_is_told() -> None:
    assert consequence_sentences(consequence(visit=None, outcome_after="outside")) == []


def verdict(outcome: str, lower: float, upper: float, **fields: Any) -> Verdict | None:
    """CO2 of 9.60 % at high fire, as left, against a sheet's band."""
    keeps = ["from_to", {"lower": lower, "upper": upper}]
    read = {"label": ["co2", {}], "quantity": "co2", "unit": "%", "value": 9.6, "qualifier": "=", "rate": "high"}
    band = {
        "phase": "as_left",
        "keeps": keeps,
        "lower": lower,
        "upper": upper,
        "set_name": "A sheet",
        "set_version": "2",
    }
    return make_verdict(**read | band | {"outcome": outcome} | fields) if outcome else None


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("within", "outside", "within (9.1 to 9.7 %) until now, outside (9.3 to 9.5 %) from now on."),
        ("", "outside", "not held against this one until now, outside (9.3 to 9.5 %) from now on."),
        ("within", "", "within (9.1 to 9.7 %) until now, not held against this one from now on."),
        (
            "cannot_tell",
            "not_judged",
            "can't be decided (9.1 to 9.7 %) until now, not judged (9.3 to 9.5 %) from now on.",
        ),
    ],
)
def test_a_reading_is_told_with_each_limit_and_what_came_of_it(before: str, after: str, says: str) -> None:
    said = verdict_change_words(VerdictChange(verdict(before, 9.1, 9.7), verdict(after, 9.3, 9.5)))
    assert said.startswith("CO₂ 9.60 % at high fire, as left, by the limits of A sheet") and said.endswith(says)
    assert faults_of(said) == []


def test_what_is_about_the_whole_visit_names_no_rate() -> None:
    bare = {"rate": None, "phase": None, "value": None, "keeps": None}
    said = verdict_change_words(VerdictChange(None, verdict("outside", 0, 0, **bare)))
    assert said == "CO₂, by the limits of A sheet: not held against this one until now, outside from now on."


FACTS = ("low_use", "output_kw", "installation_on")


@pytest.mark.parametrize(
    ("one", "says"),
    [
        (Applying(["co", {}], ["at_most", {"upper": 5.0}], "ppm", "", ()), "CO ≤ 5 ppm"),
        (Applying(["co2", {}], ["from_to", {"lower": 8, "upper": 9}], "%", "high", ()), "CO₂ 8 to 9 % at high fire"),
        (
            Applying(["nox", {}], None, "", "", FACTS),
            "NOx, if low use, output and day of installation say so, which is not recorded",
        ),
        (Applying(["nox", {}], None, "", "", FACTS[:1]), "NOx, if low use says so, which is not recorded"),
    ],
)
def test_a_limit_that_hangs_on_a_fact_names_it_in_words(one: Applying, says: str) -> None:
    assert applying_words(one) == says
    assert faults_of(applying_words(one)) == []


@pytest.mark.parametrize(
    ("before", "after", "doubt", "says"),
    [
        (DAY, date(2026, 9, 2), (), "due 2 March 2026 until now, 2 September 2026 from now on."),
        (None, DAY, (), "due no date until now, 2 March 2026 from now on."),
        (DAY, None, (("no_start", {}),), "2 March 2026 until now, no date (no start date recorded) from now on."),
        (DAY, DAY, (("no_start", {}),), "2 March 2026 at the earliest (no start date recorded) from now on."),
    ],
)
def test_a_date_is_told_as_it_stands_and_as_it_would(before: Any, after: Any, doubt: Any, says: str) -> None:
    said = due_change_words(DueChange("Yearly check", before, after, (), (), doubt))
    assert said.startswith("Yearly check: due ") and said.endswith(says)
    assert is_whole(said) and faults_of(said) == []


def test_a_draft_that_differs_never_says_that_nothing_changes() -> None:
    said = consequences_summary(changing=0, moved=0, same=3, unread=0, unseen=0)
    assert "othing changes" not in said
    assert "later visits are judged by what it says differently" in said
    said = consequences_summary(changing=0, moved=29, same=0, unread=0, unseen=0)
    assert said == (
        "29 appliances are under it. 29 keep their verdicts and days, under other figures, grades or adjusters."
    )
