"""An appliance replaced: the old one leaves with its required checks, the new one begins with clocks of its own."""

from datetime import date
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError
from fleet.models import Analyser, Appliance, Forecast, LimitSet, LimitSetAssignment, Person, RequiredCheck, User
from fleet.models.register import new_id
from fleet.services.appliances import change_appliance
from fleet.services.limit_sets import assign_limit_set
from fleet.services.replacements import replace_appliance
from fleet.services.required_checks import add_required_check, change_required_check
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, store, visit_body
from tests.intake.refused import said_of

DAY = date(2026, 2, 20)


def attach(key: str, actor: User, **place: Any) -> LimitSetAssignment:
    values = {"limit_set": LimitSet.objects.get(key=key), "since": date(2025, 1, 1), "why": "the lease says so"} | place
    return assign_limit_set(values=values, actor=actor, now=NOON)


def replace(old: Appliance, actor: User, **changes: Any) -> Appliance:
    old.refresh_from_db()
    asked = {"version": old.version, "day": DAY, "assignments": [], "kept_required_checks": []} | changes
    values = asked.pop("values", {"name": "Boiler 1", "serial": "N-7", "sheet": old.sheet})
    return replace_appliance(old=old, values=values, actor=actor, now=NOON, **asked)


def contract(boiler: Appliance, actor: User) -> RequiredCheck:
    values = {"appliance": boiler, "name": "Yearly", "source": "contract", "since": date(2025, 1, 1), "why": "clause 4"}
    return add_required_check(values=values | {"rule": {"type": "max_months", "months": 12}}, actor=actor, now=NOON)


@pytest.mark.parametrize("day", [DAY, NOON.date()])
def test_the_old_one_leaves_and_its_required_checks_end_with_that_reason(
    boiler: Appliance, manager: User, day: date
) -> None:
    attach("demo-neutral", manager, building=boiler.building)
    new = replace(boiler, manager, day=day)
    boiler.refresh_from_db()
    assert (boiler.in_service_to, new.in_service_from, new.replaces) == (day, day, boiler)
    assert (new.building, new.kind, new.room) == (boiler.building, boiler.kind, boiler.room)
    ended = RequiredCheck.objects.get(appliance=boiler)
    assert (ended.until, ended.ended_why) == (day, "replaced")


def test_sets_of_the_building_reach_the_new_one_with_a_clock_of_its_own(boiler: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, building=boiler.building)
    new = replace(boiler, manager)
    assert RequiredCheck.objects.get(appliance=new, until__isnull=True).due == date(2027, 2, 20)


def test_only_what_is_named_is_taken_over(boiler: Appliance, manager: User) -> None:
    mine, other = attach("demo-neutral", manager, appliance=boiler), attach("uk-gsiur-36", manager, appliance=boiler)
    kept = contract(boiler, manager)
    new = replace(boiler, manager, assignments=[mine.id], kept_required_checks=[kept.id])
    taken = LimitSetAssignment.objects.get(appliance=new)
    assert (taken.limit_set, taken.since) == (mine.limit_set, DAY)
    assert taken.why == "Taken over from Boiler 1, S-100. the lease says so"
    assert taken.limit_set != other.limit_set
    assert {each.name for each in RequiredCheck.objects.filter(appliance=new)} == {mine.limit_set.name, "Yearly"}
    assert RequiredCheck.objects.get(appliance=new, source="contract").due == date(2027, 2, 20)


def test_without_naming_anything_nothing_of_its_own_is_taken_over(boiler: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    contract(boiler, manager)
    assert not RequiredCheck.objects.filter(appliance=replace(boiler, manager)).exists()


def test_it_inherits_no_drift(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    for day in ("2025-01-10", "2025-07-10", "2026-01-10"):
        store(visit_body(boiler, person, analyser, day=day), technician)
    refresh_appliance(appliance=boiler, now=NOON)
    assert Forecast.objects.filter(appliance=boiler).exists()
    new = replace(boiler, manager)
    refresh_appliance(appliance=new, now=NOON)
    assert not Forecast.objects.filter(appliance=new).exists()


@pytest.mark.parametrize("day", [date(2014, 1, 1), date(2026, 3, 3)])
def test_a_day_outside_its_service_is_refused_and_nothing_is_half_done(
    boiler: Appliance, manager: User, day: date
) -> None:
    with pytest.raises(FleetError) as refused:
        replace(boiler, manager, day=day)
    assert list(said_of(refused.value)) == ["day"]
    assert Appliance.objects.count() == 1


def test_what_is_not_the_old_ones_cannot_be_taken_over(boiler: Appliance, manager: User) -> None:
    of_the_building = attach("demo-neutral", manager, building=boiler.building)
    for named in ({"assignments": [of_the_building.id]}, {"kept_required_checks": [RequiredCheck.objects.get().id]}):
        with pytest.raises(FleetError):
            replace(boiler, manager, **named)
    with pytest.raises(FleetError):
        replace(boiler, manager, assignments=[new_id()])
    assert Appliance.objects.count() == 1


def test_it_is_replaced_once_and_only_as_it_was_read(boiler: Appliance, manager: User) -> None:
    with pytest.raises(Conflict):
        replace(boiler, manager, version=7)
    assert Appliance.objects.count() == 1
    replace(boiler, manager)
    with pytest.raises(Conflict):
        replace(boiler, manager)


# ---- taken out by mistake ----


def test_an_appliance_that_had_not_left_after_all_is_under_its_required_checks_again(
    boiler: Appliance, manager: User
) -> None:
    attach("demo-neutral", manager, building=boiler.building)
    contract(boiler, manager)
    left = change_appliance(
        appliance=boiler, version=1, changes={"in_service_to": date(2026, 2, 1)}, actor=manager, now=NOON
    )
    refresh_appliance(appliance=left, now=NOON)
    assert not RequiredCheck.objects.filter(until__isnull=True).exists()
    back = change_appliance(
        appliance=left, version=left.version, changes={"in_service_to": None}, actor=manager, now=NOON
    )
    refresh_appliance(appliance=back, now=NOON)
    standing = RequiredCheck.objects.filter(appliance=back, until__isnull=True)
    assert {each.source for each in standing} == {"limit_set", "contract"}
    assert all(each.due for each in standing)


# ---- a replacement undone ----


def back_in_service(old: Appliance, manager: User) -> Appliance:
    old.refresh_from_db()
    back = change_appliance(
        appliance=old, version=old.version, changes={"in_service_to": None}, actor=manager, now=NOON
    )
    refresh_appliance(appliance=back, now=NOON)
    return back


def standing(appliance: Appliance) -> set[tuple[str, bool]]:
    """Source of each required check that stands, and whether it has a date."""
    found = RequiredCheck.objects.filter(appliance=appliance, until__isnull=True)
    return {(each.source, each.due is not None) for each in found}


def test_an_appliance_that_was_not_replaced_after_all_is_under_all_its_required_checks_again(
    boiler: Appliance, manager: User
) -> None:
    attach("demo-neutral", manager, building=boiler.building)
    kept = contract(boiler, manager)
    replace(boiler, manager)
    kept.refresh_from_db()
    assert kept.ended_why == "replaced"
    back = back_in_service(boiler, manager)
    assert standing(back) == {("limit_set", True), ("contract", True)}
    kept.refresh_from_db()
    assert (kept.until, kept.ended_why) == (None, "")


def test_what_the_office_had_ended_before_stays_ended(boiler: Appliance, manager: User) -> None:
    ended = contract(boiler, manager)
    change_required_check(
        required_check=ended, version=ended.version, changes={"until": date(2026, 1, 1)}, actor=manager, now=NOON
    )
    replace(boiler, manager)
    assert standing(back_in_service(boiler, manager)) == set()


def test_the_new_one_keeps_its_required_checks_until_it_leaves_itself(boiler: Appliance, manager: User) -> None:
    """Nobody has said that it left: better two required checks for a while than one that nobody sees."""
    attach("demo-neutral", manager, building=boiler.building)
    kept = contract(boiler, manager)
    new = replace(boiler, manager, kept_required_checks=[kept.id])
    back = back_in_service(boiler, manager)
    new.refresh_from_db()
    assert new.replaces is None
    assert standing(new) == standing(back) == {("limit_set", True), ("contract", True)}
    gone = change_appliance(appliance=new, version=new.version, changes={"in_service_to": DAY}, actor=manager, now=NOON)
    refresh_appliance(appliance=gone, now=NOON)
    assert (standing(gone), standing(back)) == (set(), {("limit_set", True), ("contract", True)})


def test_what_is_back_in_service_can_be_replaced_again(boiler: Appliance, manager: User) -> None:
    replace(boiler, manager)
    back = back_in_service(boiler, manager)
    again = replace(back, manager, values={"name": "Boiler 1", "serial": "N-8", "sheet": back.sheet})
    assert again.replaces == boiler
