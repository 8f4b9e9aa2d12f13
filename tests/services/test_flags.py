"""Flags: opened with a reason, never two for one reason, closed by what puts them right."""

import copy
from datetime import date, timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError, Forbidden
from fleet.intake.sheets import read_sheet
from fleet.models import Analyser, Appliance, Flag, FlueGroup, Job, Person, User, Visit
from fleet.models.register import new_id
from fleet.presentation.follow_ups import closed_words, flag_words
from fleet.services.appliances import add_sheet_version
from fleet.services.flags import acknowledge_flag, close_flag
from fleet.services.register import add_calibration, add_qualification
from fleet.services.revisits import refresh_appliance
from tests import cast
from tests.cast import NOON, SHEET, make_appliance, measured, store, visit_body


def test_left_outside_its_band_opens_one_flag_with_its_figure(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day in ("2026-03-02", "2026-03-03"):
        store(visit_body(boiler, person, analyser, day=day, left=("10.30", "9.10")), technician)
    flag = Flag.objects.get(kind="outside_a_limit")
    assert "10.30 %" in flag_words(flag)
    assert flag.figures["value"] == 10.3


def test_the_next_visit_within_closes_it(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, left=("10.30", "9.10")), technician)
    store(visit_body(boiler, person, analyser, day="2026-03-09"), technician, NOON + timedelta(days=7))
    flag = Flag.objects.get(kind="outside_a_limit")
    assert flag.closed_at
    assert "9 March 2026" in closed_words(flag)


def test_an_older_visit_that_arrives_late_opens_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    later = NOON + timedelta(days=8)
    store(visit_body(boiler, person, analyser, day="2026-03-09"), technician, later)
    store(visit_body(boiler, person, analyser, day="2025-03-09", left=("10.30", "9.10")), technician, later)
    assert not Flag.objects.filter(closed_at__isnull=True).exists()


def test_stop_level_found_and_put_right_stays_listed(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"][:2]:
        each["values"]["co"] = measured("900", "ppm")
    store(body, technician)
    flag = Flag.objects.get(kind="stop_level")
    assert flag.figures["put_right"]
    assert "Put right at the same visit." in flag_words(flag)


@pytest.fixture
def unsafe(body: dict[str, Any], technician: User) -> Flag:
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spilling"}}
    store(body, technician)
    return Flag.objects.get(kind="unsafe")


def test_unsafe_is_acknowledged_by_a_named_person_and_stays_open(unsafe: Flag, dispatcher: User) -> None:
    flag = acknowledge_flag(flag=unsafe, version=unsafe.version, note="on it", actor=dispatcher, now=NOON)
    assert (flag.acknowledged_by, flag.closed_at) == (dispatcher, None)


def test_nobody_unqualified_closes_unsafe(unsafe: Flag, dispatcher: User) -> None:
    with pytest.raises(Forbidden) as refused:
        close_flag(flag=unsafe, version=unsafe.version, why="looks fine", actor=dispatcher, now=NOON)
    assert refused.value.code == "not_qualified"


def test_unsafe_needs_a_test_as_left_after_it(unsafe: Flag, technician: User) -> None:
    with pytest.raises(FleetError) as refused:
        close_flag(flag=unsafe, version=unsafe.version, why="repaired", actor=technician, now=NOON)
    assert refused.value.code == "no_test_since"


def test_unsafe_closes_after_a_later_test_as_left(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    later = NOON + timedelta(days=2)
    store(visit_body(boiler, person, analyser, day="2026-03-04"), technician, later)
    flag = close_flag(flag=unsafe, version=unsafe.version, why="repaired, tested", actor=technician, now=later)
    assert flag.closed_by == technician


def test_no_rule_closes_unsafe(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2026-03-04"), technician, NOON + timedelta(days=2))
    unsafe.refresh_from_db()
    assert unsafe.closed_at is None


def test_a_flag_that_changed_meanwhile_is_a_conflict(unsafe: Flag, dispatcher: User) -> None:
    with pytest.raises(Conflict):
        acknowledge_flag(flag=unsafe, version=unsafe.version + 1, note="", actor=dispatcher, now=NOON)


def test_a_common_flue_found_unsafe_flags_every_appliance_on_it(
    body: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    group = FlueGroup.objects.create(building=boiler.building, name="east")
    Appliance.objects.filter(id=boiler.id).update(flue_group=group)
    second = make_appliance(boiler.building, boiler.sheet, "Boiler 2", flue_group=group)
    for each in body["readings"]:
        each["sampling_point"] = "common_flue"
    body["disposition"] = {"state": "isolated", "unsafe": True}
    store(body, technician)
    assert set(Flag.objects.filter(kind="unsafe").values_list("appliance", flat=True)) == {boiler.id, second.id}


def test_stop_level_at_one_rate_is_not_put_right_by_a_reading_at_another(
    body: dict[str, Any], technician: User
) -> None:
    """Low fire found at 900 ppm, only high fire read as left: as found stands."""
    body["readings"][1]["values"]["co"] = measured("900", "ppm")
    del body["readings"][3]
    visit = store(body, technician)
    flag = Flag.objects.get(kind="stop_level")
    assert not flag.figures["put_right"]
    assert visit.judgement.outcome == "outside"
    assert visit.judgement.verdicts["stop_as_left"]
    with pytest.raises(FleetError) as refused:
        close_flag(flag=flag, version=flag.version, why="fine", actor=technician, now=NOON)
    assert refused.value.code == "no_test_since"


@pytest.mark.parametrize("left", [{"o2": measured("18.5", "%")}, {}], ids=["mostly air", "no CO read"])
def test_stop_level_is_not_put_right_by_a_reading_that_cannot_be_judged(
    body: dict[str, Any], technician: User, left: dict[str, Any]
) -> None:
    for each in body["readings"][:2]:
        each["values"]["co"] = measured("900", "ppm")
    for each in body["readings"][2:]:
        each["values"] = left | {"flue_temp": measured("58", "degC")}
    store(body, technician)
    assert not Flag.objects.get(kind="stop_level").figures["put_right"]


def test_stop_level_is_told_whatever_came_later(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    nobody_in = visit_body(boiler, person, analyser, day="2026-03-03")
    nobody_in |= {"outcome": "not_tested", "outcome_reason": "nobody in", "readings": [], "work": []}
    store(nobody_in, technician)
    store(visit_body(boiler, person, analyser, day="2027-03-02"), technician)
    store(visit_body(boiler, person, analyser, co="900"), technician)
    assert Flag.objects.filter(kind="stop_level", closed_at__isnull=True).count() == 1


def test_old_paper_that_arrives_late_does_not_close_unsafe(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2026-02-10"), technician, NOON + timedelta(days=1))
    with pytest.raises(FleetError):
        close_flag(flag=unsafe, version=unsafe.version, why="tested", actor=technician, now=NOON + timedelta(days=1))


def test_a_second_call_of_unsafe_is_told_anew(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    acknowledge_flag(flag=unsafe, version=unsafe.version, note="seen", actor=dispatcher, now=NOON)
    again = visit_body(boiler, person, analyser, day="2026-03-09")
    again["disposition"] = {"state": "left_off", "unsafe": True, "details": {"reason": "CO in the bedroom above"}}
    store(again, technician, NOON + timedelta(days=7))
    waiting = Flag.objects.get(kind="unsafe", acknowledged_at__isnull=True)
    assert "bedroom" in flag_words(waiting)


def test_a_defect_called_unsafe_flags_the_appliance(body: dict[str, Any], technician: User) -> None:
    body["defects"] = [{"what": "products into the room", "severity": "unsafe"}]
    store(body, technician)
    assert flag_words(Flag.objects.get(kind="unsafe")) == "products into the room"


def test_isolated_without_a_word_of_unsafe_is_for_the_office(body: dict[str, Any], technician: User) -> None:
    body["disposition"] = {"state": "isolated"}
    assert store(body, technician).questions.filter(code="left_off").exists()


def test_unsafe_concerns_all_on_the_flue_even_one_whose_removal_is_planned(
    body: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    group = FlueGroup.objects.create(building=boiler.building, name="east")
    Appliance.objects.filter(id=boiler.id).update(flue_group=group)
    planned = make_appliance(
        boiler.building, boiler.sheet, "Boiler 2", flue_group=group, in_service_to=date(2027, 1, 1)
    )
    make_appliance(boiler.building, boiler.sheet, "Boiler 3", flue_group=group, in_service_to=date(2025, 1, 1))
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "chimney blocked"}}
    store(body, technician)
    assert set(Flag.objects.values_list("appliance", flat=True)) == {boiler.id, planned.id}
    assert "Shares its flue with Boiler 1" in flag_words(Flag.objects.get(appliance=planned))


def test_stop_level_in_a_common_flue_flags_every_appliance_on_it(
    body: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    group = FlueGroup.objects.create(building=boiler.building, name="east")
    Appliance.objects.filter(id=boiler.id).update(flue_group=group)
    second = make_appliance(boiler.building, boiler.sheet, "Boiler 2", flue_group=group)
    for each in body["readings"]:
        each |= {"sampling_point": "common_flue"}
        each["values"]["co"] = measured("900", "ppm")
    store(body, technician)
    assert set(Flag.objects.filter(kind="stop_level").values_list("appliance", flat=True)) == {boiler.id, second.id}


def left_outside(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Flag:
    store(visit_body(boiler, person, analyser, left=("10.30", "9.10")), technician)
    return Flag.objects.get(kind="outside_a_limit")


@pytest.mark.parametrize(
    "change",
    [
        {"values": {"o2": measured("18.5", "%"), "co": measured("4", "ppm")}},
        {"sampling_point": "common_flue"},
        {"rate_proven_by": "not_proven"},
    ],
    ids=["invalid", "common_flue", "unproven rate"],
)
def test_readings_that_prove_nothing_close_no_flag(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, change: dict[str, Any]
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    later = visit_body(boiler, person, analyser, day="2026-03-09")
    later["readings"] = [each | change for each in later["readings"]]
    store(later, technician, NOON + timedelta(days=7))
    flag.refresh_from_db()
    assert flag.closed_at is None


def within_by(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, of_reading: dict[str, str]
) -> Visit:
    """A later visit that reads everything within, with somebody else or another analyser."""
    later = visit_body(boiler, person, analyser, day="2026-03-09")
    later["readings"] = [each | of_reading for each in later["readings"]]
    return store(later, technician, NOON + timedelta(days=7))


@pytest.mark.parametrize("of_reading", [{"analyser": "borrowed"}, {"person": "Nobody"}], ids=["analyser", "person"])
def test_what_nobody_on_the_register_read_closes_no_flag(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, of_reading: dict[str, str]
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    within_by(boiler, person, analyser, technician, of_reading)
    flag.refresh_from_db()
    assert flag.closed_at is None


def test_a_date_ahead_of_today_condemns_and_clears_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, unsafe: Flag
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    ahead = visit_body(boiler, person, analyser, day="2126-03-09")
    store(ahead, technician, NOON + timedelta(days=7))
    flag.refresh_from_db()
    assert flag.closed_at is None
    with pytest.raises(FleetError, match="as left"):
        close_flag(flag=unsafe, version=unsafe.version, why="read", actor=technician, now=NOON + timedelta(days=9))


@pytest.mark.parametrize("lacks", ["calibration", "qualification"])
def test_what_was_read_closes_it_once_the_register_says_that_it_is_evidence(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, lacks: str
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    lapsed = cast.make_analyser(manager, valid_to="2026-03-05")
    learner = cast.make_person("Bo Test", None, manager, valid_to="2026-03-05")
    given = {"analyser": str(lapsed.id)} if lacks == "calibration" else {"person": str(learner.id)}
    within_by(boiler, person, analyser, technician, given)
    later = NOON + timedelta(days=9)
    refresh_appliance(appliance=boiler, now=later)
    flag.refresh_from_db()
    assert flag.closed_at is None

    Job.objects.all().delete()
    said: dict[str, Any] = {"by": "laboratory", "certificate": "c2", "passed": True, "done_on": "2026-03-06"}
    if lacks == "calibration":
        add_calibration(
            analyser=lapsed, content=said | {"valid_to": "2027-03-06"}, actor=manager, now=later, id=new_id()
        )
    else:
        proof = {"scheme": "gas", "number": "2", "fuel_kinds": ["gas"], "valid_from": "2026-03-06"}
        add_qualification(
            person=learner, content=proof | {"valid_to": "2027-03-06"}, actor=manager, now=later, id=new_id()
        )
    assert Job.objects.filter(kind="refresh_appliance", key=str(boiler.id)).exists()
    refresh_appliance(appliance=boiler, now=later)
    flag.refresh_from_db()
    assert flag.closed_at


def test_a_flag_closed_by_hand_is_not_opened_again_by_looking_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    close_flag(flag=flag, version=flag.version, why="seen by the maker", actor=technician, now=NOON)
    refresh_appliance(appliance=boiler, now=NOON)
    assert not Flag.objects.filter(kind="outside_a_limit", closed_at__isnull=True).exists()


def test_unsafe_is_not_closed_by_a_test_that_is_no_evidence(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, unsafe: Flag
) -> None:
    within_by(boiler, person, analyser, technician, {"analyser": "borrowed"})
    with pytest.raises(FleetError, match="as left"):
        close_flag(flag=unsafe, version=unsafe.version, why="read", actor=technician, now=NOON + timedelta(days=9))


def test_the_mornings_visit_arriving_late_does_not_close_the_afternoons_flag(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    afternoon = visit_body(boiler, person, analyser, left=("10.30", "9.10"))
    for each in afternoon["readings"]:
        each["taken_at"] = each["taken_at"].replace("T10:", "T15:")
    store(afternoon, technician)
    store(visit_body(boiler, person, analyser), technician)
    assert Flag.objects.get(kind="outside_a_limit").closed_at is None


def test_a_flag_outlives_a_new_version_of_its_sheet(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, dispatcher: User
) -> None:
    flag = left_outside(boiler, person, analyser, technician)
    acknowledge_flag(flag=flag, version=flag.version, note="ordered", actor=dispatcher, now=NOON)
    content = read_sheet(copy.deepcopy(SHEET) | {"source": "second printing"})
    add_sheet_version(sheet=boiler.sheet, content=content, actor=manager, now=NOON, id=new_id())
    later = visit_body(boiler, person, analyser, day="2026-03-09", left=("10.40", "9.10"))
    store(later, technician, NOON + timedelta(days=7))
    again = Flag.objects.get(kind="outside_a_limit")
    assert again.id == flag.id
    assert again.acknowledged_by == dispatcher
    assert "10.40 %" in flag_words(again)


def test_a_reading_between_adjustments_opens_nothing(body: dict[str, Any], technician: User) -> None:
    between = copy.deepcopy(body["readings"][2])
    between["values"]["co2"] = measured("10.90", "%")
    body["readings"].insert(2, between | {"phase": "between"})
    body["work"] = [body["work"][0], body["work"][0] | {"after_reading": 3}]
    store(body, technician)
    assert not Flag.objects.exists()
