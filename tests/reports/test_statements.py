"""The statement says the same of every appliance in service on paper and as CSV."""

import csv
from dataclasses import replace
from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.statements import Statement
from fleet.models import Analyser, Appliance, Client, Person, User
from fleet.presentation.statements import StatementRule, axis_of
from fleet.queries.statements import statement_for
from fleet.services.no_access import record_no_access
from reports.csv_files import FORMULA_STARTS
from reports.statements import COLUMNS, statement_csv, statement_pdf
from tests.cast import NOON, store
from tests.reports.cases import JULY, twelve
from tests.reports.reading import faces, pages, size_pt, words


@pytest.fixture
def statement(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> Statement:
    return twelve(boiler, person, analyser, manager)


def rows_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(data.decode("utf-8"), newline="")))


def test_the_paper_and_the_table_tell_of_the_same_appliances(statement: Statement) -> None:
    pdf = statement_pdf(statement)
    said = words(pdf)
    table = rows_of(statement_csv(statement))
    _the_paper_opens_with_the_answer(said)
    _each_line_is_on_both(statement, said, table)
    _the_paper_names_sets_that_nobody_reviewed(said)
    _the_paper_is_the_same_each_time(statement, pdf)
    _nothing_is_asked_of_the_database(statement)


def _the_paper_opens_with_the_answer(said: str) -> None:
    assert "1 January 2026 to 30 June 2026, as known on 5 July 2026" in said
    assert "Twelve appliances of Weir Trust were in service in this period. Two have no record of a test." in said
    assert (
        "As last recorded, against the sets named below: two outside and eight withheld until somebody has "
        "reviewed the set." in said
    )
    assert "Two have an open flag." in said
    assert said.index("Twelve appliances") < said.index("Boiler 10")
    assert "it does not declare any appliance safe" in said
    assert "In service without a record Boiler 11, Alder House; Boiler 12, Alder House" in said


def _each_line_is_on_both(statement: Statement, said: str, table: list[dict[str, str]]) -> None:
    assert len(table) == sum(max(len(line.outcomes), 1) for line in statement.lines)
    for line in statement.lines:
        mine = [row for row in table if row["appliance_id"] == str(line.appliance.id)]
        assert f"serial {line.appliance.serial}" in said
        assert {row["limit_set"] for row in mine} == {each.name for each in line.outcomes} or not line.outcomes
        assert {int(row["late_days"]) for row in mine} == {line.late_days}
        assert {row["next_due"] for row in mine} == {line.due.isoformat() if line.due else ""}
        if line.late_days:
            assert f"{line.late_days} days late" in said
        if line.last:
            assert {row["last_record_sha256"] for row in mine} == {line.last.record.sha256}
    unsafe = next(row for row in table if row["appliance"] == "Boiler 4")
    assert unsafe["open_flags"].startswith("unsafe: CO over range at high fire")
    assert "outside: Test sheet v1" in said
    assert "unsafe: CO over range at high fire" in said
    assert "defect: Case seal worn" in said


def _the_paper_names_sets_that_nobody_reviewed(said: str) -> None:
    framed = said.index("Limit sets that nobody has reviewed")
    assert framed < said.index("Boiler 10")
    assert "Neutral demo profile (not a legal limit set) v1: not reviewed." in said
    assert "(not reviewed, own figures, no outside source)" in said


def _the_paper_is_the_same_each_time(statement: Statement, pdf: bytes) -> None:
    assert statement_pdf(statement) == pdf
    assert all(faces(pdf).values())
    assert all(f"Page {n} of {len(pages(pdf))}" in text for n, text in enumerate(pages(pdf), 1))
    assert tuple(round(each) for each in size_pt(pdf)) == (842, 595)
    assert tuple(round(each) for each in size_pt(statement_pdf(statement, paper="Letter"))) == (792, 612)


def _nothing_is_asked_of_the_database(statement: Statement) -> None:
    with CaptureQueriesContext(connection) as asked:
        statement_pdf(statement)
        statement_csv(statement)
    assert all(each["sql"].startswith("SELECT") for each in asked)
    assert not asked.captured_queries


@pytest.fixture
def small(boiler: Appliance, body: dict[str, Any], technician: User, manager: User) -> Statement:
    store(body, technician)
    return one_building(boiler, manager)


def one_building(boiler: Appliance, viewer: User) -> Statement:
    return statement_for(
        viewer, building_id=boiler.building_id, begins=date(2026, 1, 1), ends=date(2026, 6, 30), today=JULY.date()
    )


def test_the_table_is_rfc_4180_with_a_header_in_utf_8(small: Statement) -> None:
    small.lines[0].appliance.name = 'Kessel "Süd", links'
    data = statement_csv(small)
    lines = data.decode("utf-8").split("\r\n")
    assert lines[0].split(",") == list(COLUMNS)
    assert lines[-1] == ""
    assert '"Kessel ""Süd"", links"' in lines[1]
    assert rows_of(data)[0]["appliance"] == 'Kessel "Süd", links'


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_text_that_would_run_as_a_formula_is_guarded_and_figures_stay_figures(small: Statement, start: str) -> None:
    small.lines[0].appliance.name = f"{start}HYPERLINK(1)"
    small.lines[0].appliance.serial = f" {start}1+1"
    row = rows_of(statement_csv(small))[0]
    assert row["appliance"].startswith("'")
    assert not row["serial"].startswith(FORMULA_STARTS)
    assert row["visits_in_period"] == "1"
    assert row["late_days"] == "0"
    assert date.fromisoformat(row["last_record_on"]) == date(2026, 3, 2)


def test_a_negative_figure_is_not_guarded(small: Statement) -> None:
    changed = replace(small, lines=(replace(small.lines[0], late_days=-3),))
    assert rows_of(statement_csv(changed))[0]["late_days"] == "-3"


def test_a_record_that_is_no_evidence_says_so(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User, analyser: Analyser
) -> None:
    analyser.calibrations.update(valid_to="2025-12-31")
    store(body, technician)
    statement = one_building(boiler, manager)
    assert "NO EVIDENCE: Analyser 1 had no calibration in force on 2 March 2026." in words(statement_pdf(statement))
    assert "no calibration" in rows_of(statement_csv(statement))[0]["not_evidence"]


def test_what_cannot_be_told_and_what_counts_from_no_evidence_stands_on_both(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User, analyser: Analyser
) -> None:
    from tests.web.world import add_undecided_required_check, add_yearly_required_check

    analyser.calibrations.update(passed=False)
    store(body, technician)
    add_yearly_required_check(boiler, manager)
    add_undecided_required_check(boiler, manager, date(2025, 6, 1))
    statement = one_building(boiler, manager)
    doubt = "Counts from a record that is no evidence: Analyser 1 had no calibration in force on 2 March 2026."
    said, (row, *_more) = words(statement_pdf(statement)), rows_of(statement_csv(statement))
    assert "None is known to be past its due date. One has a required check that can't be told." in said
    assert "Can't be told: By flue: as early as 2 March 2027; age of flue not recorded" in said
    assert doubt.replace("2026-03-02", "2 March 2026") in said
    assert row["due_doubt"] == doubt
    assert row["cannot_be_told"].startswith("By flue: as early as 2 March 2027; age of flue not recorded")


def test_an_incompletely_judged_record_is_called_that(small: Statement) -> None:
    (line,) = small.lines
    assert line.last
    line.last.judgement.outcome = "incomplete"
    changed = replace(line, outcomes=tuple(replace(each, outcome="incomplete") for each in line.outcomes))
    said = words(statement_pdf(replace(small, lines=(changed,))))
    assert "against the sets named below: one incomplete." in said
    assert "incomplete: " in said


def test_a_statement_without_appliances_says_so(client_of_ours: Client, manager: User) -> None:
    empty = statement_for(
        manager, client_id=client_of_ours.id, begins=date(2026, 1, 1), ends=date(2026, 6, 30), today=JULY.date()
    )
    assert "No appliance of Weir Trust was in service in this period." in words(statement_pdf(empty))
    assert rows_of(statement_csv(empty)) == []


def test_one_line_of_days_serves_all_rows_and_keeps_far_dates_off_it(small: Statement) -> None:
    near, far = date(2026, 11, 1), date(2040, 1, 1)
    lines = tuple(replace(small.lines[0], due=due) for due in (near, far))
    low, high = axis_of(replace(small, lines=lines))
    assert low == small.begins
    assert near < high < far
    rule = StatementRule(low, high, begins=low, ends=small.ends, late_to=small.ends, last=None, due=near)
    assert 0 < rule.pct(small.ends) < rule.pct(near) < 100
    assert rule.pct(far) == 100


def test_attempts_without_access_stand_on_both(boiler: Appliance, technician: User, manager: User) -> None:
    for number in range(1, 9):
        record_no_access(
            appliances=[boiler], at=datetime(2026, 2, number, 10, tzinfo=UTC), kind="refused", letter="",
            note="=1+1" if number == 8 else "", actor=technician, now=NOON,
        )  # fmt: skip
    period = {"begins": date(2026, 1, 1), "ends": date(2026, 6, 30)}
    made = statement_for(manager, building_id=boiler.building_id, today=date(2026, 7, 5), **period)
    said = words(statement_pdf(made))
    assert "Eight times in this period somebody came and did not get to an appliance." in said
    assert "No access on 8 February 2026: refused; =1+1, says technician." in said
    assert "No access on 2 February 2026" not in said
    assert "and 2 attempts before these, all of them in the CSV" in said
    (row,) = rows_of(statement_csv(made))
    assert row["no_access"].count("refused") == 8
    assert row["no_access"].startswith("1 February 2026: refused, says technician. 2 February 2026")


def test_a_visit_that_did_not_count_stands_on_both(small: Statement) -> None:
    said = tuple(f"Required check {number}: Visited on 2 March 2026, doesn't count." for number in range(8))
    tried = replace(small, lines=[replace(small.lines[0], not_counted=said)])
    shown = words(statement_pdf(tried))
    assert "Required check 5: Visited on 2 March 2026, doesn't count." in shown
    assert "Required check 6" not in shown
    assert "and 2 more visits that counted nothing, all of them in the CSV" in shown
    assert all(each["not_counted"] == "; ".join(said) for each in rows_of(statement_csv(tried)))
