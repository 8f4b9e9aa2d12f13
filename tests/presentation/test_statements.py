"""A statement's answer in words: each count in its singular and plural, the verdict before what is open."""

from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.statements import Line, SetOutcome, Statement
from fleet.models import Appliance, Building, Client, Contractor
from fleet.presentation.statements import (
    FURTHEST,
    axis_of,
    no_date_words,
    opening,
    outcome_counts,
    sets_by_outcome,
    statement_rule,
    statement_strip,
)
from fleet.presentation.strips import Head, Span, Upright
from fleet.presentation.words import MOST_WORDS
from tests.presentation.sentences import faults_of, is_whole

BEGINS, ENDS = date(2026, 1, 1), date(2026, 12, 31)
CLIENT = Client(name="Weir Trust")


def line(outcome: str = "", **values: Any) -> Line:
    appliance = Appliance(in_service_from=date(2020, 1, 1), in_service_to=values.pop("gone", None))
    last: Any = SimpleNamespace(
        local_date=values.pop("on", date(2026, 5, 1)), judgement=SimpleNamespace(outcome=outcome)
    )
    plain = {
        "visits_in_period": 1,
        "outcomes": (),
        "due": None,
        "due_by": "",
        "late_days": 0,
        "flags": (),
        "defects": (),
    }
    return Line(appliance=appliance, last=last if outcome else None, **plain | {"not_evidence": ()} | values)


def statement(*lines: Line, **values: Any) -> Statement:
    known = {"building": None, "begins": BEGINS, "ends": ENDS, "known_on": ENDS, "unreviewed": ()} | values
    return Statement(contractor=Contractor(name="Test Heating"), client=CLIENT, lines=lines, **known)


def opened(told: Statement) -> str:
    return " ".join(filter(None, opening(told)))


def test_one_appliance_is_told_in_the_singular() -> None:
    said = opened(statement(line("within")))
    assert said == (
        "One appliance of Weir Trust was in service in this period. "
        "As last recorded, against the sets named below: one within. None is past its due date."
    )


def test_several_are_told_in_the_plural_with_each_outcome_once() -> None:
    lines = [line("within"), line("within"), line("outside"), line("incomplete"), line()]
    said = opened(statement(*lines, building=Building(name="Weir House")))
    assert said.startswith(
        "Five appliances of Weir House, Weir Trust were in service in this period. One has no record"
    )
    assert "two within, one outside and one incomplete." in said


MORE: dict[str, tuple[dict[str, Any], str, str]] = {
    "late": ({"late_days": 3}, "One is past its due date.", "Two are past their due date."),
    "undecided": (
        {"undecided": ("x",)},
        "One has a required check that can't be told.",
        "Two have a required check that can't be told.",
    ),
    "attempts": (
        {"attempts": (None,)},
        "One time in this period somebody came and did not get to an appliance.",
        "Two times in this period somebody came and did not get to an appliance.",
    ),
    "flags": ({"flags": (None, None)}, "One has an open flag.", "Two have an open flag."),
    "no evidence": (
        {"not_evidence": ("x",)},
        "The last record of one is no evidence:",
        "The last records of two are no evidence:",
    ),
}


@pytest.mark.parametrize("name", MORE)
def test_each_count_has_its_singular_and_its_plural_and_none_is_not_said(name: str) -> None:
    values, one, two = MORE[name]
    assert one in opened(statement(line("within", **values), line("within")))
    assert two in opened(statement(line("within", **values), line("within", **values)))
    plain = opened(statement(line("within"), line("within")))
    assert one not in plain and two not in plain


def test_what_is_not_known_to_be_late_is_not_said_to_be_in_time() -> None:
    assert "None is known to be past its due date." in opened(statement(line("within", undecided=("x",))))
    assert "None is past its due date." in opened(statement(line("within")))


def test_what_is_out_of_use_counts_apart_and_outside_still_counts_as_outside() -> None:
    idle = {"idle_at_end": True, "idle_throughout": True}
    told = statement(line("within"), line("within", **idle), line("", **idle), line("outside", idle_at_end=True))
    assert outcome_counts(told) == [(1, "within"), (1, "outside"), (2, "out of use")]
    said = [no_date_words(each) for each in told.lines[:2]]
    assert said == ["No due date is known.", "Out of use: no check falls due until it is started again."]


def test_nothing_in_service_is_said_and_nothing_else() -> None:
    assert opened(statement()) == "No appliance of Weir Trust was in service in this period."


LINES = st.lists(
    st.builds(
        line,
        st.sampled_from(["", "within", "outside", "incomplete", "not_judged"]),
        late_days=st.integers(0, 40),
        undecided=st.sampled_from([(), ("x",)]),
        flags=st.sampled_from([(), (None,)]),
        attempts=st.sampled_from([(), (None, None)]),
        not_evidence=st.sampled_from([(), ("x",)]),
    ),
    min_size=1,
    max_size=16,
)


@given(LINES)
def test_the_answer_is_whole_sentences_whose_counts_are_true(lines: list[Line]) -> None:
    told = statement(*lines)
    said = opened(told)
    assert len(opening(told)[0].split()) <= MOST_WORDS
    assert is_whole(said) and faults_of(said) == [], said
    counted = outcome_counts(told)
    assert sum(count for count, _word in counted) == sum(bool(each.last) for each in lines)
    assert all(count > 0 for count, _word in counted)
    # T8: never a word of our own on whether anything is safe.
    assert "safe" not in said and "compliant" not in said


def test_within_by_a_set_that_nobody_reviewed_is_withheld_and_outside_never_is() -> None:
    def of(name: str, outcome: str, *, reviewed: bool, kind: str = "limit", evidence: str = "unverified") -> SetOutcome:
        return SetOutcome(name, "2", kind, outcome, evidence, reviewed)

    outcomes = (
        of("A", "within", reviewed=True, evidence="official_text_read"),
        of("B", "within", reviewed=False),
        of("C", "outside", reviewed=False),
        of("Sheet", "within", reviewed=True, kind="band", evidence="own"),
    )
    assert sets_by_outcome(line("outside", outcomes=outcomes)) == [
        ("outside", "C v2 (not reviewed, unverified)"),
        ("withheld until somebody has reviewed it", "B v2 (not reviewed, unverified)"),
        ("within", "A v2, Sheet v2"),
    ]
    assert line("within", outcomes=outcomes[:2]).outcome == "withheld"
    assert line("outside", outcomes=outcomes[:2]).outcome == "outside"


# ---- the rule of a line ----


@pytest.mark.parametrize(
    ("due", "until"),
    [
        (None, ENDS),
        (date(2026, 6, 1), ENDS),
        (date(2027, 6, 1), date(2027, 6, 1)),
        (ENDS + FURTHEST, ENDS + FURTHEST),
        (ENDS + FURTHEST + timedelta(days=1), ENDS),
    ],
)
def test_one_axis_holds_the_period_and_every_date_that_is_not_far_beyond(due: date | None, until: date) -> None:
    begins, ends = axis_of(statement(line("within", due=due), line("within")))
    assert begins == BEGINS
    assert ends == until + timedelta(days=14)


@given(st.none() | st.integers(-500, 1500), st.none() | st.integers(-900, 364), st.integers(0, 364), st.booleans())
def test_every_mark_is_on_the_line_and_only_days_past_the_due_date_are_hatched(
    due_in: int | None, last_in: int | None, known_in: int, is_gone: bool
) -> None:
    due = None if due_in is None else BEGINS + timedelta(days=due_in)
    on = None if last_in is None else BEGINS + timedelta(days=last_in)
    known_on = BEGINS + timedelta(days=known_in)
    told = line(
        "within" if on else "", **({"on": on} if on else {}), due=due, gone=date(2026, 9, 30) if is_gone else None
    )
    whole = statement(told, known_on=known_on)
    rule = statement_rule(whole, told)
    marks = statement_strip(rule).marks
    for mark in marks:
        ends = (mark.from_pct, mark.to_pct) if isinstance(mark, Span) else (mark.at_pct,)
        assert all(0 <= each <= 100 for each in ends)
    hatched = [mark for mark in marks if isinstance(mark, Span) and mark.kind == "beyond"]
    assert bool(hatched) == (due is not None and due < known_on and known_in > 0)
    walls = [mark for mark in marks if isinstance(mark, Upright) and mark.kind == "wall"]
    assert [each.from_pct for each in hatched] == [each.at_pct for each in walls] * bool(hatched)
    heads = [mark.beyond for mark in marks if isinstance(mark, Head)]
    assert heads == ([] if on is None else [-1 if on < BEGINS else 0])
