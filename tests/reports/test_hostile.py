"""Whatever anybody typed into any field, a paper comes out and nothing else is opened, asked or run."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.assess.judging.visit_facts import VisitFacts
from fleet.assess.statements import Statement
from fleet.models import Appliance, User
from reports.statements import statement_csv, statement_pdf
from reports.visits import visit_pdf
from tests.cast import store
from tests.reports.cases import KNOWN_ON, corrected, unsafe
from tests.reports.reading import words
from tests.reports.test_statements import one_building, rows_of

WATCHED = ("open", "socket.", "urllib.", "subprocess.", "os.system", "os.exec", "http.", "ftplib.")
_seen: list[str] | None = None


def _note(event: str, arguments: tuple[Any, ...]) -> None:
    if _seen is not None and event.startswith(WATCHED):
        _seen.append(f"{event} {arguments!r:.120}")


sys.addaudithook(_note)


@contextmanager
def watched() -> Iterator[list[str]]:
    """Every file opened and every connection tried while this lasts."""
    global _seen
    _seen = []
    try:
        yield _seen
    finally:
        _seen = None


NASTY = (
    '<img src="file:///etc/passwd"/>',
    "<img src='http://127.0.0.1:9/x.png' width='9999'/>",
    '<a href="javascript:alert(1)">x</a>',
    "<font color=\"__import__('os').system('id')\">x</font>",
    "A & B <C",
    "</para></b></font>&#x0;&bogus;]]>",
    "<para><seq id='a'/><onDraw name='x' label='y'/>",
    "x" * 20_000,
    "gas\u202eevlav\u2066 \u200b\ufeff\x00\x1b[31m",
    "\ud800 half",
    "中文 العربية עברית 🔥",
    "=cmd|' /C calc'!A0",
    "%s %d %(name)s {0} %",
    "",
    " ",
)
texts = st.text(max_size=300)


def poison(model: Any, text: str, *names: str) -> None:
    for name in names:
        setattr(model, name, text)


def poison_frozen(part: Any, text: str, *names: str) -> None:
    vars(part).update(dict.fromkeys(names, text))


def poisoned_visit(facts: VisitFacts, text: str) -> VisitFacts:
    """The text in every place that holds anybody's words."""
    visit, appliance = facts.visit, facts.appliance
    poison(facts.contractor, text, "name", "address")
    facts.contractor.emergency_numbers = [text]
    poison(appliance, text, "name", "room", "serial", "kind")
    poison(appliance.building, text, "name", "address")
    poison(appliance.building.client, text, "name")
    poison(visit, text, "outcome_reason", "note", "fuel")
    visit.outcome = "partly_tested"
    visit.data_plate = {"confirmed": False, "serial_seen": f"{text}."}
    visit.unsafe_details = {"reason": text, "told": text}
    visit.restore_steps = [
        {"step": text, "answer": answer, "why": text} for answer in ("done", "not_done", "does_not_apply")
    ]
    visit.not_done = [{"rate": text, "phase": text, "why": text}]
    for item in visit.work.all():
        poison(item, text, "kind", "component", "adjuster", "rate", "direction", "amount", "note")
    for defect in visit.defects.all():
        poison(defect, text, "what", "where", "severity", "action", "told")
    for question in facts.questions:
        poison(question, text, "sentence")
    for each in facts.readings:
        poison(each.reading, text, "rate_proven_by", "casing", "sampling_point", "steadiness")
        each.reading.analyser_given = each.reading.person_given = text
    for who in facts.people:
        if who.qualification:
            poison(who.qualification, text, "scheme", "number")
    for what in facts.analysers:
        if what.analyser and what.calibration:
            poison(what.analyser, text, "serial")
            poison(what.calibration, text, "certificate", "by")
            what.analyser.measures = [text]
    _poison_judgement(facts, text)
    for record in facts.records:
        content = json.loads(bytes(record.content)) | {"amendment": {"reason": text}}
        record.content = json.dumps(content).encode()
        poison(record.actor, text, "first_name", "last_name", "username")
    return replace(
        facts,
        people=tuple(replace(each, name=text) for each in facts.people),
        analysers=tuple(replace(each, name=text) for each in facts.analysers),
    )


def _poison_judgement(facts: VisitFacts, text: str) -> None:
    names = ("set_name", "set_version", "action", "severity", "evidence", "unit", "basis")
    coded = {"label": [text, {}], "keeps": ["as_written", {"text": text}], "review": "reviewed", "reviewed_by": text}
    poison_frozen(facts.card.sheet, text, "name", "version", "control")
    vars(facts.card)["left_out"] = [{"id": text}]
    for each in [*facts.card.rows, *facts.judgement.said]:
        poison_frozen(each, text, *(name for name in names if name in vars(each)))
        vars(each).update(coded)
    for verdict in facts.judgement.said:
        vars(verdict)["reasons"] = [["needs_unit", {"gas": text, "unit": text}]]


def run(render: Callable[[str], Any], count: int) -> None:
    """Once to warm what is loaded on first use, then with every text; nothing may be opened."""
    render("plain")

    @settings(max_examples=count, deadline=None, derandomize=True, database=None)
    @given(texts)
    def check(text: str) -> None:
        with watched() as seen:
            render(text)
        assert seen == []

    check()
    for text in NASTY:
        with watched() as seen:
            render(text)
        assert seen == []


@pytest.fixture
def everything(body: dict[str, Any], technician: User, manager: User) -> VisitFacts:
    readings = list(body["readings"])
    kept = {"readings": readings, "work": body["work"]}
    return corrected(unsafe(body) | kept, technician, manager)


def test_no_text_breaks_or_hijacks_the_paper_of_a_visit(everything: VisitFacts) -> None:
    def render(text: str) -> None:
        assert visit_pdf(poisoned_visit(everything, text), known_on=KNOWN_ON).startswith(b"%PDF")

    run(render, 8)


def poisoned_statement(statement: Statement, text: str) -> Statement:
    line = statement.lines[0]
    poison(statement.contractor, text, "name", "address")
    poison(statement.client, text, "name")
    poison(line.appliance, text, "name", "room", "serial")
    poison(line.appliance.building, text, "name")
    for defect in line.defects:
        poison(defect, text, "what")
    for flag in line.flags:
        poison(flag, text, "sentence")
    outcomes = tuple(replace(each, name=text, version=text, evidence=text, reviewed=False) for each in line.outcomes)
    changed = replace(line, outcomes=outcomes, due=KNOWN_ON, due_by=text, not_evidence=(text,), due_doubt=text)
    changed = replace(changed, undecided=(text,))
    return replace(statement, lines=(changed,), unreviewed=(text,) * 30)


def test_no_text_breaks_or_hijacks_a_statement(
    body: dict[str, Any], technician: User, manager: User, boiler: Appliance
) -> None:
    store(unsafe(body), technician)
    statement = one_building(boiler, manager)

    def render(text: str) -> None:
        made = poisoned_statement(statement, text)
        assert statement_pdf(made).startswith(b"%PDF")
        assert all(not row["limit_set"].startswith(("=", "+", "-", "@")) for row in rows_of(statement_csv(made)))

    run(render, 8)


def test_the_watch_sees_what_it_is_there_for(tmp_path: Any) -> None:
    with watched() as seen:
        (tmp_path / "x").write_text("seen")
    assert any(each.startswith("open") for each in seen)


def test_markup_in_a_name_stands_on_the_paper_as_it_was_typed(everything: VisitFacts) -> None:
    everything.appliance.name = "Boiler <b>1</b> & <img src=x>"
    assert "Boiler <b>1</b> & <img src=x>, Weir House" in words(visit_pdf(everything, known_on=KNOWN_ON))
