"""What people wrote stands within our sentences as they wrote it, with one stop at the end however they ended it."""

from collections.abc import Callable
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest

from fleet.limits import Advice
from fleet.limits.card import Adjuster
from fleet.models import Defect, Flag, NoAccess, User, Visit, WorkItem
from fleet.presentation.advice import advice_words
from fleet.presentation.due_dates import date_words, not_counted_words
from fleet.presentation.follow_ups import flag_words
from fleet.presentation.revisits import attempt_words, reason_words
from fleet.presentation.visits import defect_line, opening, restore_lines, stop_levels, work_line
from tests.limits.cast import make_verdict
from tests.presentation.sentences import faults_of

DAY = date(2026, 3, 2)


def visit(**values: Any) -> SimpleNamespace:
    """The facts of a visit without readings."""
    known = {"local_date": DAY, "outcome": "not_tested", "disposition": "not_touched"} | values
    return SimpleNamespace(
        visit=Visit(**known), readings=(), judgement=SimpleNamespace(said=(), verdicts={"found": "", "stop": False})
    )


def attempt(**values: Any) -> NoAccess:
    made = NoAccess(local_date=DAY, kind="nobody_in", by=User(username="technician"), **values)
    made._prefetched_objects_cache = {"files": NoAccess.objects.none()}  # type: ignore[attr-defined]  # none are read
    return made


def adjusting(**values: Any) -> Advice:
    fields = {"name": "ratio screw", "rate": "high", "raises_co2": "clockwise", "field_adjustment": "allowed"}
    empty = dict.fromkeys(("place", "tool", "who", "reseal", "largest_step"), "")
    adjuster = Adjuster(**{"sealed": False, "largest_step_turns": None} | empty | fields | values)
    keeps = ["from_to", {"lower": 9.1, "upper": 9.7}]
    target = {"kind": "band", "label": ["co2", {}], "quantity": "co2", "unit": "%", "keeps": keeps}
    band = make_verdict(**target, value=8.9, lower=9.1, upper=9.7, rate="high")
    figures = {"verdict": band, "target": 9.4, "adjuster": adjuster, "is_first_step": True, "other_rates": ["low"],
               "stop_co_ppm_air_free": 400.0}  # fmt: skip
    return Advice("adjust", "ratio screw", "clockwise", figures=figures)


# What is said around what somebody wrote, by what it is.
AROUND: dict[str, Callable[[str], str]] = {
    "why it was not tested": lambda text: opening(visit(outcome_reason=text)),
    "why a step was not done": lambda text: " ".join(
        restore_lines(Visit(restore_steps=[{"step": "port refitted", "answer": "not_done", "why": text}]))
    ),
    "a step done": lambda text: " ".join(restore_lines(Visit(restore_steps=[{"step": text, "answer": "done"}] * 2))),
    "a step that does not apply": lambda text: " ".join(
        restore_lines(Visit(restore_steps=[{"step": text, "answer": "does_not_apply"}]))
    ),
    "why a rate was not read": lambda text: " ".join(
        restore_lines(Visit(not_done=[{"rate": "low", "phase": "as_left", "why": text}]))
    ),
    "why it was declared unsafe": lambda text: " ".join(
        stop_levels(visit(unsafe=True, unsafe_details={"reason": text, "isolated": True}))
    ),
    "who was told of it": lambda text: " ".join(stop_levels(visit(unsafe=True, unsafe_details={"told": text}))),
    "a defect": lambda text: defect_line(Defect(what=text, severity="repair")),
    "a defect with its place": lambda text: defect_line(Defect(what=text, where="first elbow", severity="repair")),
    "what was done about a defect": lambda text: defect_line(Defect(what="Leak", severity="unsafe", action=text)),
    "who was told of a defect": lambda text: defect_line(Defect(what="Leak", severity="repair", told=text)),
    "a part": lambda text: work_line(WorkItem(kind="part", component=text, after_reading=2)),
    "how far it was turned": lambda text: work_line(WorkItem(kind="adjustment", amount=text, after_reading=0)),
    "a note on work": lambda text: work_line(WorkItem(kind="cleaning", note=text, after_reading=1)),
    "a note on an attempt": lambda text: attempt_words(attempt(note=text)),
    "a letter left behind": lambda text: attempt_words(attempt(letter=text)),
    "a note and a letter": lambda text: attempt_words(attempt(note=text, letter=text)),
    "a defect as a reason to come": lambda text: reason_words(
        ["defect", {"what": text, "steps": [["as_recorded", {}]]}]
    ),
    "an unsafe appliance on the same flue": lambda text: flag_words(
        Flag(kind="unsafe", sentence=text, figures={"shares_flue_with": "Boiler 2"})
    ),
    "a visit that did not count": lambda text: not_counted_words(
        DAY, [("not_tested", {"outcome": "not_tested", "reason": text})]
    ),
    "a failed sending": lambda text: date_words([("failed", {"said": text})]),
    "a tenancy that was called off": lambda text: date_words([("tenancy_called_off", {"said": text})]),
    "who may touch an adjuster": lambda text: advice_words(adjusting(who=text)),
    "how an adjuster is sealed": lambda text: advice_words(adjusting(reseal=text)),
    "with what it is turned": lambda text: advice_words(adjusting(tool=text)),
    "where an adjuster is": lambda text: advice_words(adjusting(place=text)),
    "its largest step": lambda text: advice_words(adjusting(largest_step=text)),
}


@pytest.mark.parametrize("name", AROUND)
def test_it_stands_there_as_it_was_written(name: str) -> None:
    said = AROUND[name]("The caretaker has no key")
    assert "The caretaker has no key" in said
    assert faults_of(said, most_words=60) == [], said


@pytest.mark.parametrize("name", AROUND)
def test_its_own_full_stop_makes_no_second_one(name: str) -> None:
    said = AROUND[name]("The caretaker has no key.")
    assert "The caretaker has no key" in said
    assert faults_of(said) == [], said


def test_what_nobody_wrote_leaves_no_gap() -> None:
    assert attempt_words(attempt()) == "2 March 2026: nobody in, says technician."
    assert defect_line(Defect(what="Leak", severity="repair")) == "Leak: repair. Open. Who was told is not recorded."
    assert work_line(WorkItem(kind="cleaning", after_reading=0)) == "Cleaning: before any reading."
    assert list(restore_lines(Visit(restore_steps=[{"step": "port", "answer": "not_done"}]))) == [
        "NOT done: port. Why: not said"
    ]
