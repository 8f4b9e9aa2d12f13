"""What a statement says of evidence, of what is due and late in its period, and of what was judged."""

from datetime import date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.statements import Line, Statement
from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, LimitSet, LimitSetVersion, OutOfUse, Person, Question, User, Visit
from fleet.models.register import new_id
from fleet.presentation.revisits import attempt_words
from fleet.queries.statements import statement_for
from fleet.services.no_access import record_no_access
from fleet.services.register import add_calibration
from fleet.services.required_checks import add_required_check
from tests.cast import NOON, make_appliance, make_building, measured, store, visit_body
from tests.intake.refused import said_of
from tests.limits.cast import make_verdict
from tests.models.rows import made

TODAY = date(2026, 3, 5)
BY_AGE_OF_FLUE = {"type": "max_months", "months": 24, "variants": [{"select": {"age_of_flue_ge": 10}, "months": 12}]}


def line_of(
    appliance: Appliance, viewer: User, begins: str = "2026-01-01", ends: str = "2026-12-31", today: date = TODAY
) -> Line:
    period = {"begins": date.fromisoformat(begins), "ends": date.fromisoformat(ends)}
    (line,) = statement_for(viewer, building_id=appliance.building_id, **period, today=today).lines
    return line


def yearly(appliance: Appliance, actor: User, since: str, **changes: Any) -> None:
    values = {"appliance": appliance, "name": "Yearly check", "source": "contract", "why": "signed"}
    values |= {"rule": {"type": "max_months", "months": 12}, "since": date.fromisoformat(since)} | changes
    add_required_check(values=values, actor=actor, now=NOON)


# ---- evidence ----


def test_a_certificate_entered_later_makes_the_record_evidence(
    body: dict[str, Any], boiler: Appliance, analyser: Analyser, technician: User, manager: User
) -> None:
    analyser.calibrations.all().delete()
    store(body, technician)
    assert line_of(boiler, manager).not_evidence == ("Analyser 1 had no calibration in force on 2 March 2026.",)
    content = {"done_on": "2026-01-10", "valid_to": "2027-01-10", "certificate": "C-2", "by": "a laboratory"}
    add_calibration(analyser=analyser, content=content | {"passed": True}, actor=manager, now=NOON, id=new_id())
    assert line_of(boiler, manager).not_evidence == ()


def test_a_certificate_taken_back_is_seen_though_no_mark_says_so(
    body: dict[str, Any], boiler: Appliance, person: Person, technician: User, manager: User
) -> None:
    store(body, technician)
    person.qualifications.update(valid_to="2026-03-01")
    assert not Question.objects.filter(code="person_not_qualified").exists()
    (why,) = line_of(boiler, manager).not_evidence
    assert why == "Ada Test had no qualification for gas in force on 2 March 2026."


def test_an_analyser_and_a_person_that_nobody_knows_are_no_evidence(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    body["readings"][0] |= {"analyser": "borrowed one", "person": "somebody else"}
    store(body, technician)
    assert line_of(boiler, manager).not_evidence == (
        "Analyser borrowed one is not on the register.",
        "The person somebody else is not on the register.",
    )


# ---- due and late ----


def test_lateness_is_the_periods_and_a_visit_after_it_changes_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    yearly(boiler, manager, "2024-06-01")
    store(visit_body(boiler, person, analyser, day="2024-06-01"), technician)
    before = line_of(boiler, manager, "2025-01-01", "2025-12-31")
    store(visit_body(boiler, person, analyser, day="2026-02-02"), technician)
    after = line_of(boiler, manager, "2025-01-01", "2025-12-31")
    assert (before.due, before.late_days) == (after.due, after.late_days) == (date(2025, 6, 1), 213)
    assert (line_of(boiler, manager).due, line_of(boiler, manager).late_days) == (date(2027, 2, 2), 0)


def test_a_removed_appliance_was_late_up_to_its_last_day(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    yearly(boiler, manager, "2024-01-10")
    store(visit_body(boiler, person, analyser, day="2025-01-10"), technician)
    Appliance.objects.filter(id=boiler.id).update(in_service_to=date(2026, 2, 9))
    line = line_of(boiler, manager)
    assert (line.due, line.late_days) == (date(2026, 1, 10), 30)


def test_days_to_come_are_not_late(boiler: Appliance, manager: User) -> None:
    yearly(boiler, manager, "2025-04-01")
    line = line_of(boiler, manager)
    assert (line.due, line.late_days) == (date(2026, 4, 1), 0)


def test_a_required_check_that_began_after_the_period_is_not_in_it(boiler: Appliance, manager: User) -> None:
    yearly(boiler, manager, "2026-02-01")
    assert line_of(boiler, manager, "2025-01-01", "2025-12-31").due is None


def test_a_required_check_that_cannot_be_told_is_counted_and_never_late(boiler: Appliance, manager: User) -> None:
    yearly(boiler, manager, "2025-06-01", name="By flue", rule=BY_AGE_OF_FLUE)
    line = line_of(boiler, manager)
    assert (line.due, line.late_days) == (None, 0)
    (said,) = line.undecided
    assert said.startswith("By flue: as early as 1 June 2026; age of flue not recorded")


def test_a_date_that_counts_from_a_record_that_is_no_evidence_says_so(
    body: dict[str, Any], boiler: Appliance, analyser: Analyser, technician: User, manager: User
) -> None:
    yearly(boiler, manager, "2025-01-01")
    store(body, technician)
    assert line_of(boiler, manager).due_doubt == ""
    analyser.calibrations.update(passed=False)
    line = line_of(boiler, manager)
    assert line.due == date(2027, 3, 2)
    assert line.due_doubt == (
        "Counts from a record that is no evidence: Analyser 1 had no calibration in force on 2 March 2026."
    )


# ---- what was judged ----


def _verdict(outcome: str, quantity: str = "co", **changes: Any) -> dict[str, Any]:
    said = {"set_id": "a", "set_name": "A set", "set_version": "1", "kind": "limit", "evidence": "official_text_read"}
    said |= {
        "phase": "as_left",
        "rate": "high",
        "reading_key": "3",
        "limit_id": quantity,
        "quantity": quantity,
        "label": [quantity, {}],
    }
    return dict(vars(make_verdict(**said | {"outcome": outcome} | changes)))


@pytest.mark.parametrize(
    ("verdicts", "outcome"),
    [
        ([_verdict("within"), _verdict("within", "o2")], "within"),
        ([_verdict("within"), _verdict("cannot_tell", "o2")], "cannot_tell"),
        ([_verdict("outside"), _verdict("cannot_tell", "o2")], "outside"),
        ([_verdict("within", "o2"), _verdict("not_judged")], "incomplete"),
        ([_verdict("within", "o2"), _verdict("not_judged", phase=None, rate=None, reading_key=None)], "incomplete"),
        ([_verdict("within", "co_ppm_air_free"), _verdict("not_judged", "nox")], "within"),
        ([_verdict("not_judged")], "not_judged"),
    ],
)
def test_a_set_is_within_only_where_nothing_of_it_is_left_open_for_co(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User, verdicts: Any, outcome: str
) -> None:
    visit = store(body, technician)
    visit.judgement.verdicts |= {"verdicts": verdicts}
    visit.judgement.save()
    (said,) = line_of(boiler, manager).outcomes
    assert said.outcome == outcome


@pytest.mark.parametrize(
    ("judged", "said"),
    [("incomplete", "incomplete"), ("outside", "outside"), ("not_judged", "not_judged"), ("within", "within")],
)
def test_a_line_says_what_its_last_record_was_judged(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User, judged: str, said: str
) -> None:
    visit = store(body, technician)
    visit.judgement.outcome = judged
    visit.judgement.save()
    assert line_of(boiler, manager).outcome == said


def test_without_co_the_sheet_is_not_called_kept(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    for reading in body["readings"]:
        reading["values"]["co"] = measured("0", "ppm", "not_measured")
    store(body, technician)
    line = line_of(boiler, manager)
    assert {each.outcome for each in line.outcomes if each.kind in ("band", "ceiling")} == {"incomplete"}
    assert Visit.objects.get().judgement.outcome != "within"


# ---- without access ----


def attempted(appliance: Appliance, actor: User, day: str, **said: Any) -> None:
    said = {"kind": "nobody_in", "note": "", "letter": ""} | said
    at = datetime.fromisoformat(f"{day}T10:00:00+00:00")
    record_no_access(appliances=[appliance], at=at, actor=actor, now=NOON, **said)


def test_attempts_of_the_period_stand_in_their_line_with_what_was_left(
    boiler: Appliance, technician: User, manager: User, auditor: User
) -> None:
    for day in ("2025-12-30", "2026-02-20", "2026-03-02"):
        attempted(boiler, technician, day, letter="card in the box" if day == "2026-02-20" else "")
    for viewer in (manager, auditor):
        assert tuple(attempt_words(each) for each in line_of(boiler, viewer).attempts) == (
            "20 February 2026: nobody in; letter: card in the box, says technician.",
            "2 March 2026: nobody in, says technician.",
        )
    assert len(line_of(boiler, manager, ends="2026-02-28").attempts) == 1


def test_an_attempt_is_of_its_own_appliance(boiler: Appliance, technician: User, manager: User) -> None:
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    attempted(other, technician, "2026-03-01", note="dog in the yard")
    period = {"begins": date(2026, 1, 1), "ends": date(2026, 12, 31)}
    lines = statement_for(manager, building_id=boiler.building_id, **period, today=TODAY).lines
    assert {each.appliance: len(each.attempts) for each in lines} == {boiler: 0, other: 1}


# ---- what is asked for, and of which appliances ----


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"begins": date(2026, 3, 2), "ends": date(2026, 3, 1), "client_id": "ours"}, "ends"),
        ({}, "client"),
        ({"client_id": "ours", "building_id": "ours"}, "client"),
    ],
)
def test_a_period_or_a_place_that_is_none_is_refused_by_its_field(
    boiler: Appliance, manager: User, asked: dict[str, Any], field: str
) -> None:
    places = {"client_id": boiler.building.client_id, "building_id": boiler.building_id}
    asked = {name: places.get(name, value) for name, value in asked.items()}
    with pytest.raises(FleetError) as refused:
        statement_for(manager, **{"begins": TODAY, "ends": TODAY, "today": TODAY} | asked)
    assert (refused.value.code, list(said_of(refused.value))) == ("invalid", [field])


def period_of(appliance: Appliance, viewer: User, begins: date, ends: date) -> Statement:
    return statement_for(viewer, client_id=appliance.building.client_id, begins=begins, ends=ends, today=TODAY)


@pytest.mark.parametrize(
    ("came", "left", "is_in"),
    [
        ("2026-03-31", None, True),
        ("2026-04-01", None, False),
        ("2020-01-01", "2026-03-01", True),
        ("2020-01-01", "2026-02-28", False),
    ],
)
def test_in_service_on_one_day_of_the_period_is_in_the_statement(
    boiler: Appliance, manager: User, came: str, left: str | None, is_in: bool
) -> None:
    ends = {"in_service_to": left and date.fromisoformat(left)}
    Appliance.objects.filter(id=boiler.id).update(in_service_from=date.fromisoformat(came), **ends)
    lines = period_of(boiler, manager, date(2026, 3, 1), date(2026, 3, 31)).lines
    assert [each.appliance for each in lines] == [boiler] * is_in


def test_lines_stand_by_building_and_name_and_a_building_s_are_its_own(boiler: Appliance, manager: User) -> None:
    other = make_building(boiler.building.client, "Alder House")
    second, third = (make_appliance(place, None, name) for place, name in ((other, "Z"), (boiler.building, "A")))
    assert [each.appliance for each in period_of(boiler, manager, TODAY, TODAY).lines] == [second, third, boiler]
    alone = statement_for(manager, building_id=other.id, begins=TODAY, ends=TODAY, today=TODAY)
    assert ([each.appliance for each in alone.lines], alone.building) == ([second], other)
    assert alone.client == boiler.building.client


def test_visits_of_the_period_are_counted_and_the_newest_up_to_its_end_is_the_last(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    made_on = {day: store(visit_body(boiler, person, analyser, day=day), technician)
               for day in ("2024-05-01", "2025-02-03", "2025-11-04", "2026-02-05")}  # fmt: skip
    untested = visit_body(boiler, person, analyser, day="2025-12-01") | {"outcome": "not_tested"}
    store(untested | {"outcome_reason": "no gas", "readings": [], "work": []}, technician)
    line = line_of(boiler, manager, "2025-01-01", "2025-12-31")
    # An attempt that tested nothing is no record of a test.
    assert (line.last, line.visits_in_period) == (made_on["2025-11-04"], 2)
    assert line_of(boiler, manager, "2024-01-01", "2024-04-30").last is None


def test_days_out_of_use_are_those_of_the_period_up_to_the_day_before_the_restart(
    boiler: Appliance, manager: User
) -> None:
    for begins, ends in (("2025-12-01", "2026-01-10"), ("2026-02-01", "2026-02-01"), ("2026-03-01", None)):
        made(OutOfUse, appliance=boiler, begins=date.fromisoformat(begins), ends=ends and date.fromisoformat(ends))
    line = line_of(boiler, manager, "2026-01-01", "2026-03-31")
    # Known up to 5 March; the middle one was started again on the very day.
    assert line.idle == ((date(2026, 1, 1), date(2026, 1, 9)), (date(2026, 3, 1), date(2026, 3, 5)))
    assert (line.idle_throughout, line.idle_at_end) == (False, True)
    assert not line_of(boiler, manager, "2026-01-01", "2026-02-28").idle_at_end


@pytest.mark.parametrize(
    ("begins", "ends", "throughout"),
    [("2026-01-01", None, True), ("2025-06-01", "2026-03-06", True), ("2026-01-02", None, False)],
)
def test_one_that_stood_still_throughout_lacks_no_record(
    boiler: Appliance, manager: User, begins: str, ends: str | None, throughout: bool
) -> None:
    made(OutOfUse, appliance=boiler, begins=date.fromisoformat(begins), ends=ends and date.fromisoformat(ends))
    statement = period_of(boiler, manager, date(2026, 1, 1), date(2026, 12, 31))
    assert statement.lines[0].idle_throughout is throughout
    assert len(statement.without_record) == (not throughout)


def test_a_version_is_reviewed_where_a_later_one_of_the_same_content_was(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    visit = store(body, technician)
    said = [_verdict("within", set_name="Ours", set_version="1"), _verdict("within", set_name="Ours", set_version="2")]
    visit.judgement.verdicts |= {"verdicts": said}
    visit.judgement.save()
    limit_set = made(LimitSet, name="Ours")
    for number, content, by in ((1, {"a": 1}, ""), (2, {"a": 2}, ""), (3, {"a": 1}, "R. Viewer")):
        made(LimitSetVersion, limit_set=limit_set, number=number, content=content, reviewed_by=by)
    statement = period_of(boiler, manager, TODAY, TODAY)
    assert [(each.version, each.reviewed, each.on_paper) for each in statement.lines[0].outcomes] == [
        ("1", True, "within"),
        ("2", False, "withheld"),
    ]
    assert statement.unreviewed == ("Ours v2",)
    assert statement.lines[0].outcome == (
        "withheld" if visit.judgement.outcome == "within" else visit.judgement.outcome
    )


def test_more_appliances_take_no_more_statements(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert period_of(boiler, manager, date(2026, 1, 1), date(2026, 12, 31)).lines
        return len(asked)

    def another() -> None:
        appliance = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
        yearly(appliance, manager, "2025-06-01")
        store(visit_body(appliance, person, analyser), technician)

    another()
    few = statements()
    another()
    another()
    assert statements() == few
