"""A visit goes in once, is judged, and opens what it calls for."""

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from fleet.assess.judging.visit_rows import counted_phase
from fleet.coded import coded
from fleet.errors import Conflict, Malformed, NotFound
from fleet.intake.sheets import read_sheet
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Attendance,
    Building,
    Flag,
    Job,
    Judgement,
    LimitSet,
    Person,
    Reading,
    Record,
    UnreadableRecord,
    User,
    Visit,
)
from fleet.models.register import new_id
from fleet.presentation.verdicts import summary_words
from fleet.services.appliances import add_sheet_version
from fleet.services.contractor import FIRST_STOP_LEVELS
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set, set_stop_levels
from fleet.services.visits import amend_visit, keep_unreadable
from tests.cast import NOON, SHEET, make_appliance, make_building, measured, store, visit_body
from tests.intake.refused import said_of


def test_sending_the_same_visit_twice_stores_it_once(body: dict[str, Any], technician: User) -> None:
    first = store(body, technician)
    assert store(body, technician) == first
    assert Record.objects.filter(kind="visit").count() == 1
    assert Reading.objects.count() == 4


def test_other_content_under_the_same_id_is_a_conflict_and_changes_nothing(
    body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    with pytest.raises(Conflict) as refused:
        store(body | {"note": "something else"}, technician)
    assert refused.value.code == "visit_differs"
    assert Visit.objects.get().note == ""
    assert Record.objects.filter(kind="visit").count() == 1


def test_whoever_may_not_see_the_visit_learns_nothing_of_it(
    body: dict[str, Any], technician: User, outsider: User
) -> None:
    store(body, technician)
    with pytest.raises(NotFound):
        store(body, outsider)


def test_a_visit_is_judged_and_names_its_versions(body: dict[str, Any], technician: User) -> None:
    judgement = store(body, technician).judgement
    assert judgement.outcome == "within"
    assert judgement.sheet_version.number == 1
    assert judgement.stop_levels.number == 1
    assert (
        summary_words(judgement)
        == "As left, within the limits of Test sheet v1 and the contractor's stop levels v1 as recorded."
    )
    found = judgement.findings.get()
    assert (found.rate, found.phase, found.value) == ("high", "as_found", 8.9)


def test_a_visit_asks_for_its_appliance_to_be_looked_at_again(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    assert Job.objects.filter(kind="refresh_appliance", key=body["appliance"], state="waiting").count() == 1


def test_the_building_named_must_be_the_appliances(body: dict[str, Any], technician: User, building: Building) -> None:
    other = make_building(building.client, "Other House")
    body["attendance"]["building"] = str(other.id)
    with pytest.raises(Malformed) as refused:
        store(body, technician)
    assert "attendance.building" in said_of(refused.value)


def test_the_local_date_is_the_sites_and_of_the_last_reading(body: dict[str, Any], technician: User) -> None:
    """Lisbon is an hour ahead of UTC in summer: 23:40 UTC on 14 July is the 15th there."""
    for each in body["readings"]:
        each["taken_at"] = "2026-07-14T23:40:00+00:00"
    assert f"{store(body, technician, NOON + timedelta(days=200)).local_date}" == "2026-07-15"


def test_the_records_bytes_keep_what_was_entered(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["values"]["flue_temp"] = measured("136.40", "degF")
    visit = store(body, technician)
    assert b'"flue_temp":{"figure":"58","qualifier":"=","unit":"degF","value":"136.40"}' in bytes(visit.record.content)
    assert visit.readings.first().flue_temp_c == pytest.approx(58.0)


@pytest.mark.parametrize(
    ("phase", "number", "after", "counted"),
    [
        ("as_found", 1, [2], "as_found"),
        ("as_found", 3, [2], "between"),
        ("as_left", 3, [2], "as_left"),
        ("as_left", 3, [2, 3], "between"),
        ("as_left", 3, [], "as_left"),
    ],
)
def test_order_decides_what_a_reading_counts_as(phase: str, number: int, after: list[int], counted: str) -> None:
    work = [{"kind": "adjustment", "after_reading": each} for each in after]
    assert counted_phase(phase, number, work) == counted


def test_work_that_moves_nothing_leaves_the_phases_alone() -> None:
    assert counted_phase("as_found", 3, [{"kind": "other", "after_reading": 1}]) == "as_found"


def test_a_correction_is_a_new_record_and_the_old_one_stays(
    body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    visit = store(body, technician)
    body["readings"] = body["readings"][:2]
    body["work"] = []
    amended = amend_visit(draft=read_visit(body), reason="typed twice", version=1, actor=dispatcher, now=NOON)
    assert amended.id == visit.id
    assert amended.readings.count() == 2
    assert Record.objects.filter(kind="visit", subject=visit.id).count() == 2
    assert amended.record.amends == visit.record
    assert amended.judgement.outcome == "outside"


def test_a_correction_moves_a_visit_to_the_right_appliance(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    store(body, technician)
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2", serial="S-200")
    body["appliance"] = str(other.id)
    assert (
        amend_visit(draft=read_visit(body), reason="wrong one", version=1, actor=technician, now=NOON).appliance
        == other
    )


def test_moving_a_visit_closes_what_it_opened_on_the_wrong_appliance(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    body["readings"][2]["values"]["co2"] = measured("10.30", "%")
    store(body, technician)
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2", serial="S-200")
    amend_visit(
        draft=read_visit(body | {"appliance": str(other.id)}), reason="wrong one", version=1, actor=technician, now=NOON
    )
    still_open = Flag.objects.filter(closed_at__isnull=True)
    assert {each.appliance for each in still_open} == {other}
    assert set(Job.objects.filter(kind="refresh_appliance").values_list("key", flat=True)) == {
        str(boiler.id),
        str(other.id),
    }


def test_moving_a_visit_away_brings_back_what_it_had_closed(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, left=("10.30", "9.10")), technician)
    wrong = visit_body(boiler, person, analyser, day="2026-03-03")
    store(wrong, technician, NOON + timedelta(days=1))
    assert not Flag.objects.filter(closed_at__isnull=True).exists()
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2", serial="S-200")
    draft = read_visit(wrong | {"appliance": str(other.id)})
    amend_visit(draft=draft, reason="wrong one", version=1, actor=technician, now=NOON + timedelta(days=1))
    assert Flag.objects.get(closed_at__isnull=True).appliance == boiler


def test_a_correction_keeps_the_site_facts_of_its_day(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    store(body, technician)
    Building.objects.update(fuel="propane")
    amended = amend_visit(draft=read_visit(body | {"note": "a"}), reason="a", version=1, actor=technician, now=NOON)
    assert amended.fuel == "natural_gas"


def later_versions(boiler: Appliance, manager: User) -> None:
    """The day after the visit: a wider target, another figure in the attached set, lower stop levels."""
    tomorrow = NOON + timedelta(days=1)
    assert boiler.sheet is not None
    targets = [each | {"tolerance": "0.9"} for each in SHEET["targets"]]
    add_sheet_version(
        sheet=boiler.sheet, content=read_sheet(SHEET | {"targets": targets}), actor=manager, now=tomorrow, id=new_id()
    )
    assigned = LimitSet.objects.get(assignments__appliance=boiler)
    add_limit_set_version(
        limit_set=assigned, content=assigned.current.content, actor=manager, now=tomorrow, id=new_id()
    )
    lines = FIRST_STOP_LEVELS | {"co_ppm_air_free": "20"}
    set_stop_levels(content=lines, actor=manager, now=tomorrow, id=new_id())


def versions_of(visit: Visit) -> tuple[int, list[int], int]:
    made_with = Judgement.objects.get(visit=visit)
    sets = [each.number for each in made_with.limit_set_versions.all()]
    return made_with.sheet_version.number, sets, made_with.stop_levels.number


@pytest.fixture
def assigned(boiler: Appliance, manager: User) -> None:
    place = {"limit_set": LimitSet.objects.earliest("id"), "appliance": boiler, "since": date(2020, 1, 1), "why": "a"}
    assign_limit_set(values=place, actor=manager, now=NOON)


def test_a_corrected_typing_mistake_is_judged_by_the_versions_of_the_visits_day(
    body: dict[str, Any], boiler: Appliance, assigned: None, technician: User, manager: User
) -> None:
    visit = store(body, technician)
    later_versions(boiler, manager)
    amend_visit(
        draft=read_visit(body | {"note": "typo"}), reason="a", version=1, actor=manager, now=NOON + timedelta(days=9)
    )
    assert versions_of(visit) == (1, [1], 1)
    assert Judgement.objects.get(visit=visit).outcome == "within"


def test_a_visit_that_arrives_late_is_judged_by_the_versions_of_its_day(
    boiler: Appliance, person: Person, analyser: Analyser, assigned: None, technician: User, manager: User
) -> None:
    later_versions(boiler, manager)
    days = ("2019-03-02", "2026-03-02", "2026-03-03")
    visits = [
        store(visit_body(boiler, person, analyser, day=day), technician, NOON + timedelta(days=9)) for day in days
    ]
    assert [versions_of(each)[::2] for each in visits] == [(1, 1), (1, 1), (2, 2)]
    assert [versions_of(each)[1] for each in visits] == [[], [1], [2]]


def test_the_fuel_that_the_technician_saw_is_the_visits(
    body: dict[str, Any], technician: User, boiler: Appliance
) -> None:
    visit = store(body | {"fuel": "propane"}, technician)
    assert (visit.fuel, boiler.burns_on(visit.local_date).name) == ("propane", "natural_gas")
    assert visit.judgement.card["fuel"]["name"] == "propane"
    assert visit.judgement.card["facts"]["fuel"] == "lpg"


def test_a_correction_that_withdraws_the_fuel_falls_back_to_the_registers_of_that_day(
    body: dict[str, Any], technician: User
) -> None:
    store(body | {"fuel": "propane"}, technician)
    Building.objects.update(fuel="light_oil")
    assert amend_visit(draft=read_visit(body), reason="a", version=1, actor=technician, now=NOON).fuel == "natural_gas"


def test_the_last_moment_is_the_last_readings_else_of_leaving_else_of_arriving(
    body: dict[str, Any], technician: User
) -> None:
    visit = store(body, technician)
    assert visit.last_moment == datetime(2026, 3, 2, 10, 30, tzinfo=UTC)
    visit.readings.update(taken_at=None)
    assert Visit.objects.get().last_moment == datetime(2026, 3, 2, 11, 0, tzinfo=UTC)
    Attendance.objects.update(left_at=None)
    assert Visit.objects.get().last_moment == datetime(2026, 3, 2, 9, 45, tzinfo=UTC)


def test_two_corrections_of_one_record_are_a_conflict(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    first = Record.objects.get(kind="visit")
    amend_visit(draft=read_visit(body | {"note": "a"}), reason="a", version=1, actor=technician, now=NOON)
    with pytest.raises(Conflict):
        amend_visit(draft=read_visit(body | {"note": "b"}), reason="b", version=1, actor=technician, now=NOON)
    with pytest.raises(Exception, match=r"UNIQUE|unique"):
        Record.objects.create(
            kind="visit", subject=first.subject, content=b"{}", sha256="0" * 64, submitted_sha256="0" * 64,
            amends=first, actor=technician, received_at=NOON,
        )  # fmt: skip


def test_an_unreadable_message_that_calls_an_appliance_unsafe_is_acted_on(boiler: Appliance, technician: User) -> None:
    held = keep_unreadable(
        body=b"{broken", errors={"body": coded("blank")}, unsafe=boiler.id, actor=technician, now=NOON
    )
    flag = Flag.objects.get()
    assert (flag.kind, flag.appliance) == ("unsafe", boiler)
    assert flag.figures == {"unreadable_record": str(held.id)}
    assert bytes(UnreadableRecord.objects.get().body) == b"{broken"


def test_an_unreadable_message_does_not_flag_what_its_sender_may_not_see(boiler: Appliance, outsider: User) -> None:
    keep_unreadable(body=b"{", errors={"body": coded("blank")}, unsafe=boiler.id, actor=outsider, now=NOON)
    assert not Flag.objects.exists()
    assert UnreadableRecord.objects.count() == 1


def test_analysers_and_people_off_the_register_are_accepted_and_marked(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["analyser"], each["person"] = "the old one in the van", str(uuid.uuid4())
    codes = set(store(body, technician).questions.values_list("code", flat=True))
    assert {"analyser_unknown", "person_unknown"} <= codes
