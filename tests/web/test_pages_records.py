"""Records, required checks and statements: lists in pages, what the office resolves, and what a statement says."""

import re
from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.coded import coded, wrong
from fleet.models import Analyser, Appliance, Person, Question, UnreadableRecord, User
from fleet.services.required_checks import add_required_check
from fleet.services.visits import keep_unreadable, resolve_question
from tests.cast import NOON, make_appliance, store
from tests.web.markup import main_of, read, words_of
from tests.web.opened import browser_of, checked, opened, sent
from tests.web.world import add_undecided_required_check, add_yearly_required_check, visited


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def question(body: dict[str, Any], technician: User) -> Question:
    body["data_plate"] = {"confirmed": False}
    store(body, technician)
    return Question.objects.get()


@pytest.fixture
def held(technician: User) -> UnreadableRecord:
    body = b'{"note": "<script>x</script>"}'
    phases = wrong("one_of", None, allowed=["as_found", "between", "as_left"])
    errors = {"id": coded("missing"), "readings.0.phase": phases, "readings.0.sampling_point": coded("missing")}
    return keep_unreadable(body=body, errors=errors, unsafe=None, actor=technician, now=NOON)


# ---- records ----


def test_nothing_recorded_says_what_will_appear(manager: User) -> None:
    assert "No visit yet. A visit appears here as soon as it is sent" in words_of(opened(manager, "/records/"))


def test_a_record_in_the_list_says_done_received_and_hash(body: dict[str, Any], dispatcher: User) -> None:
    visit = store(body, dispatcher)
    page = words_of(opened(dispatcher, "/records/"))
    assert "1 record of a visit" in page
    assert "2 Mar 2026 Boiler 1, Weir House Weir Trust Ada Test found outside, left within; left in use" in page
    assert visit.record.sha256[:4] in page


def test_a_record_that_came_days_after_the_work_is_called_late(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher, day="2026-02-20")
    assert "entered late" in opened(dispatcher, "/records/")


def test_records_come_in_pages_by_key_newest_first(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.web.pages.PAGE_ROWS", 2)
    made = [str(visited(boiler, person, analyser, dispatcher, day=f"2026-02-0{day}").id) for day in range(1, 6)]
    path, seen = "/records/", []
    while path:
        page = read(opened(dispatcher, path))
        seen += [link.split("/")[2] for link in page.links if link.startswith("/visits/")]
        following = [link for link in page.links if link.startswith("?after=")]
        path = f"/records/{following[0]}" if following else ""
    assert seen == made[::-1]


def test_the_office_resolves_a_mark_with_words(question: Question, dispatcher: User) -> None:
    assert "Resolve it" in opened(dispatcher, "/records/")
    answer = sent(
        dispatcher, f"/records/questions/{question.id}/resolve/", version=1, words="Asked; it was the right one"
    )
    assert (answer.status_code, answer["Location"]) == (302, "/records/")
    question.refresh_from_db()
    assert (question.resolved_by, question.resolved_note) == (dispatcher, "Asked; it was the right one")
    assert "To be looked at" not in opened(dispatcher, "/records/")


def test_words_typed_on_a_page_lose_what_reorders_or_hides_text(question: Question, dispatcher: User) -> None:
    typed = " Asked\u202e; it\u200b was\u0007 the right one cafe\u0301"
    sent(dispatcher, f"/records/questions/{question.id}/resolve/", version=1, words=typed)
    question.refresh_from_db()
    assert question.resolved_note == "Asked; it was the right one caf\u00e9"


def test_words_that_nobody_could_see_are_no_words(question: Question, dispatcher: User) -> None:
    answer = sent(dispatcher, f"/records/questions/{question.id}/resolve/", version=1, words="\u202e\u200b\u0007")
    assert (answer.status_code, Question.objects.get().resolved_note) == (400, "")


@pytest.mark.parametrize(("begins", "ends"), [("0001-01-01", "2026-12-31"), ("2026-01-01", "9999-12-31")])
def test_a_statement_of_years_that_no_record_can_have_is_refused_in_words(
    boiler: Appliance, auditor: User, begins: str, ends: str
) -> None:
    question = {"building": str(boiler.building_id), "begins": begins, "ends": ends}
    answer = browser_of(auditor).get("/statements/", question)
    assert answer.status_code == 400
    assert "Give a day of the years 1900 to 2200." in checked(answer)
    assert browser_of(auditor).get("/statements/statement.pdf", question).status_code == 404


def test_a_mark_resolved_meanwhile_is_a_fault_block_and_keeps_the_words(
    question: Question, dispatcher: User, manager: User
) -> None:
    resolve_question(question=question, version=1, note="by me", actor=manager, now=NOON)
    answer = sent(dispatcher, f"/records/questions/{question.id}/resolve/", version=1, words="by <me>, too")
    page = main_of(checked(answer))
    assert answer.status_code == 409
    assert 'class="fault"' in page
    assert "by me" in page
    assert "by &lt;me&gt;, too" in page
    question.refresh_from_db()
    assert (question.resolved_by, question.version) == (manager, 2)


def test_resolving_without_words_is_refused(question: Question, held: UnreadableRecord, dispatcher: User) -> None:
    for path in (f"/records/questions/{question.id}/resolve/", f"/records/unreadable/{held.id}/resolve/"):
        answer = sent(dispatcher, path, version=1, words="  ")
        assert answer.status_code == 400
        assert "Say why, in a few words." in checked(answer)


def test_questions_are_resolved_by_the_office_alone(question: Question, technician: User, auditor: User) -> None:
    for user in (technician, auditor):
        assert "Resolve it" not in opened(user, "/records/")
        assert sent(user, f"/records/questions/{question.id}/resolve/", version=1, words="x").status_code == 403


def test_unreadable_records_show_their_errors_and_raw_text_to_the_office(
    held: UnreadableRecord, manager: User, technician: User
) -> None:
    page = main_of(opened(manager, "/records/"))
    assert "One message could not be read and is kept to be corrected." in page
    assert "is missing" in page
    shown = page[page.index('id="unreadable"') : page.index("<summary>The message as it came")]
    assert "it must be one of: as found, between, as left." in shown
    assert "Reading 1, sampling point" in shown
    assert not re.search(r">[^<]*[a-z]_[a-z]", shown)
    assert "&lt;script&gt;x&lt;/script&gt;" in page
    assert "is missing" not in opened(technician, "/records/")


def test_an_unreadable_record_is_resolved_once(held: UnreadableRecord, manager: User, dispatcher: User) -> None:
    path = f"/records/unreadable/{held.id}/resolve/"
    assert sent(manager, path, version=1, words="sent anew").status_code == 302
    answer = sent(dispatcher, path, version=1, words="put aside")
    page = main_of(checked(answer))
    assert answer.status_code == 409
    assert "sent anew" in page
    assert "You wrote: put aside" in page
    held.refresh_from_db()
    assert (held.resolved_how, bytes(held.body)[:1]) == ("sent anew", b"{")


def test_papers_that_have_run_out_are_called_that(analyser: Analyser, person: Person, manager: User) -> None:
    analyser.calibrations.update(valid_to="2026-02-01")
    person.qualifications.update(valid_to="2026-01-01")
    page = words_of(opened(manager, "/records/"))
    assert "Analyser 1, expired 1 Feb 2026" in page
    assert "Ada Test, expired 1 Jan 2026" in page
    assert "certificate C-1 by a laboratory" in page


# ---- required checks ----


def test_no_required_check_says_how_one_comes_about(dispatcher: User) -> None:
    page = words_of(opened(dispatcher, "/required-checks/"))
    assert "No required check stands." in page
    assert "A required check appears here when a limit set with an interval is assigned" in page


def test_required_checks_stand_soonest_first_with_their_arithmetic(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    late = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    add_yearly_required_check(late, dispatcher)
    visited(boiler, person, analyser, dispatcher)
    visited(late, person, analyser, dispatcher, day="2025-02-20")
    page = words_of(opened(dispatcher, "/required-checks/"))
    assert "One required check is late and none fall due within three weeks, of 2." in page
    assert "20 Feb 2026 10 days late" in page
    assert "Yearly check: 20 February 2025 plus 12 months is 20 February 2026." in page
    assert page.index("Boiler 2 Weir House") < page.index("Boiler 1 Weir House")


def test_a_required_check_that_cannot_be_told_says_which_fact_is_missing(boiler: Appliance, dispatcher: User) -> None:
    rule = {"type": "max_months", "months": 24, "variants": [{"select": {"age_of_flue_ge": 10}, "months": 12}]}
    values = {"appliance": boiler, "name": "By age", "source": "contract", "rule": rule, "why": "signed"}
    add_required_check(values=values | {"since": NOON.date()}, actor=dispatcher, now=NOON)
    page = words_of(opened(dispatcher, "/required-checks/"))
    assert "one can't be told for sure" in page
    assert "age of flue not recorded" in page


def test_a_required_check_that_cannot_be_told_is_never_late(boiler: Appliance, dispatcher: User) -> None:
    add_undecided_required_check(boiler, dispatcher, date(2025, 6, 1))
    page = words_of(opened(dispatcher, "/required-checks/"))
    assert "No required check is late, none fall due within three weeks and one can't be told for sure, of 1." in page
    assert "1 Jun 2026 at the earliest" in page
    assert "days late" not in page


def test_required_checks_stay_until_a_removal_that_is_planned_ahead(boiler: Appliance, dispatcher: User) -> None:
    add_yearly_required_check(boiler, dispatcher)
    Appliance.objects.filter(id=boiler.id).update(in_service_to="2027-05-01")
    assert "Yearly check: " in words_of(opened(dispatcher, "/required-checks/"))


# ---- statements ----


@pytest.fixture
def query(boiler: Appliance) -> str:
    return f"?client={boiler.building.client_id}&begins=2026-01-01&ends=2026-03-02"


def test_a_statement_is_asked_for_by_a_form(auditor: User) -> None:
    page = main_of(opened(auditor, "/statements/"))
    assert "For whom, and for which days?" in page
    assert 'name="begins" type="date" required value="2026-01-01"' in page
    assert "Weir Trust" in page


def test_a_statement_opens_with_its_answer_and_as_known_on(
    boiler: Appliance, person: Person, analyser: Analyser, auditor: User, manager: User, query: str
) -> None:
    add_yearly_required_check(boiler, manager)
    visited(boiler, person, analyser, manager)
    never = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    page = words_of(opened(auditor, f"/statements/{query}"))
    assert "1 January 2026 to 2 March 2026, as known on 2 March 2026" in page
    assert "Two appliances of Weir Trust were in service in this period." in page
    assert "one within" in page
    assert "One has no record of a test." in page
    assert "None is past its due date." in page
    assert f"{never.name} Weir House" in page


def test_late_and_not_evidence_are_said(
    boiler: Appliance, person: Person, analyser: Analyser, auditor: User, manager: User, query: str
) -> None:
    add_yearly_required_check(boiler, manager)
    person.qualifications.update(valid_to="2024-01-01")
    visited(boiler, person, analyser, manager, day="2025-02-20")
    page = words_of(opened(auditor, f"/statements/{query}"))
    assert "One is past its due date." in page
    assert "10 days late" in page
    assert "The last record of one is no evidence" in page
    assert "Not evidence: Ada Test had no qualification for gas in force on 20 February 2025." in page


def test_what_cannot_be_told_is_counted_and_said(boiler: Appliance, auditor: User, manager: User, query: str) -> None:
    add_undecided_required_check(boiler, manager, date(2025, 6, 1))
    page = words_of(opened(auditor, f"/statements/{query}"))
    assert "None is known to be past its due date. One has a required check that can't be told." in page
    assert "Can't be told: By flue: as early as 1 June 2026; age of flue not recorded" in page
    assert "No due date is known." not in page


def test_a_date_that_counts_from_no_evidence_says_so(
    boiler: Appliance, person: Person, analyser: Analyser, auditor: User, manager: User, query: str
) -> None:
    add_yearly_required_check(boiler, manager)
    analyser.calibrations.update(passed=False)
    visited(boiler, person, analyser, manager)
    page = words_of(opened(auditor, f"/statements/{query}"))
    assert "Due 2 Mar 2027 by Yearly check." in page
    assert "Counts from a record that is no evidence: Analyser 1 had no calibration in force on 2 March 2026." in page


def test_an_incompletely_judged_record_is_called_that(
    boiler: Appliance, person: Person, analyser: Analyser, auditor: User, manager: User, query: str
) -> None:
    visit = visited(boiler, person, analyser, manager)
    type(visit.judgement).objects.update(outcome="incomplete")
    assert "against the sets named below: one incomplete." in words_of(opened(auditor, f"/statements/{query}"))


def test_an_unreviewed_set_is_named_and_its_within_withheld(
    boiler: Appliance, person: Person, analyser: Analyser, auditor: User, manager: User, query: str
) -> None:
    from tests.reports.cases import attach

    attach(("demo-neutral",), boiler, manager)
    visited(boiler, person, analyser, manager)
    page = words_of(opened(auditor, f"/statements/{query}"))
    assert "Limit sets that nobody has reviewed" in page
    assert "withheld until somebody has reviewed it: Neutral demo profile" in page


def test_a_statement_comes_on_paper_and_as_a_table(auditor: User, query: str) -> None:
    browser = browser_of(auditor)
    paper = browser.get(f"/statements/statement.pdf{query}")
    table = browser.get(f"/statements/statement.csv{query}")
    assert (paper["Content-Type"], paper.content[:5]) == ("application/pdf", b"%PDF-")
    assert table["Content-Type"] == "text/csv; charset=utf-8"
    assert table["Content-Disposition"] == 'attachment; filename="statement.csv"'
    assert b"Boiler 1" in table.content
    links = read(opened(auditor, f"/statements/{query}")).links
    assert f"/statements/statement.pdf{query}" in links


@pytest.mark.parametrize(
    "wrong",
    ["?begins=2026-01-01&ends=2026-02-01", "?client={client}&begins=2026-02-01&ends=2026-01-01",
     "?client={client}&begins=x&ends=", "?client=x&begins=2026-01-01&ends=2026-02-01"],
)  # fmt: skip
def test_a_question_that_cannot_be_read_is_a_fault_block_and_keeps_what_was_chosen(
    boiler: Appliance, auditor: User, wrong: str
) -> None:
    asked = wrong.format(client=boiler.building.client_id)
    answer = browser_of(auditor).get(f"/statements/{asked}")
    page = main_of(checked(answer))
    assert answer.status_code == 400
    assert "No statement was made." in page
    assert 'class="fault"' in page
    assert browser_of(auditor).get(f"/statements/statement.pdf{asked}").status_code == 404
