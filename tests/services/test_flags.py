"""Flags: opened with a reason, never two for one reason, closed by what puts them right."""

from datetime import timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError, Forbidden
from fleet.models import Analyser, Appliance, Flag, FlueGroup, Person, User
from fleet.services.flags import acknowledge_flag, close_flag
from tests.cast import NOON, make_appliance, measured, store, visit_body


def test_left_outside_its_band_opens_one_flag_with_its_figure(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day in ("2026-03-02", "2026-03-03"):
        store(visit_body(boiler, person, analyser, day=day, left=("10.30", "9.10")), technician)
    flag = Flag.objects.get(kind="outside a limit")
    assert "10.3 %" in flag.sentence
    assert flag.figures["value"] == 10.3


def test_the_next_visit_within_closes_it(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, left=("10.30", "9.10")), technician)
    store(visit_body(boiler, person, analyser, day="2026-03-09"), technician, NOON + timedelta(days=7))
    flag = Flag.objects.get(kind="outside a limit")
    assert flag.closed_at
    assert "2026-03-09" in flag.closed_why


def test_an_older_visit_that_arrives_late_opens_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2026-03-09"), technician)
    store(visit_body(boiler, person, analyser, day="2025-03-09", left=("10.30", "9.10")), technician)
    assert not Flag.objects.filter(closed_at__isnull=True).exists()


def test_stop_level_found_and_put_right_stays_listed(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"][:2]:
        each["values"]["co"] = measured("900", "ppm")
    store(body, technician)
    flag = Flag.objects.get(kind="stop level")
    assert flag.figures["put_right"]
    assert "Put right at the same visit." in flag.sentence


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
        close_flag(flag=unsafe, version=unsafe.version, why="mended", actor=technician, now=NOON)
    assert refused.value.code == "no_test_since"


def test_unsafe_closes_after_a_later_test_as_left(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    later = NOON + timedelta(days=2)
    store(visit_body(boiler, person, analyser, day="2026-03-04"), technician, later)
    flag = close_flag(flag=unsafe, version=unsafe.version, why="mended, tested", actor=technician, now=later)
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
        each["sampling_point"] = "common flue"
    body["disposition"] = {"state": "isolated", "unsafe": True}
    store(body, technician)
    assert set(Flag.objects.filter(kind="unsafe").values_list("appliance", flat=True)) == {boiler.id, second.id}
