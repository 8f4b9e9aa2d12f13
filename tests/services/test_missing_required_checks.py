"""Required checks that a set puts on an appliance and that nobody opened: found for all sets at once, opened by
night.
"""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet import tasks
from fleet.assess.due.required_checks import missing_required_checks
from fleet.models import Appliance, Job, LimitSet, LimitSetAssignment, RequiredCheck, User
from fleet.services import jobs
from fleet.services.limit_sets import change_assignment
from fleet.services.required_checks import change_required_check, open_missing_required_checks
from tests.cast import NOON, make_appliance, make_building
from tests.services.test_set_rules import CONTENT, TODAY, house_set, under, version


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


def of_the_night() -> None:
    """The job, run as a worker runs it."""
    jobs.request_job(kind="open_missing_required_checks", key="2026-03-02", due_at=NOON)
    assert tasks.run_job(Job.objects.get(kind="open_missing_required_checks", state=Job.State.WAITING).id)


def standing() -> set[tuple[str, str]]:
    return set(RequiredCheck.objects.filter(until__isnull=True).values_list("appliance__name", "part"))


@pytest.fixture
def house(manager: User) -> LimitSet:
    return house_set(manager)


Places = dict[str, Callable[[Appliance], Any]]
PLACES: Places = {
    "appliance": lambda boiler: boiler,
    "building": lambda boiler: boiler.building,
    "client": lambda boiler: boiler.building.client,
}


@pytest.mark.parametrize("place", PLACES)
def test_what_a_set_and_an_appliance_that_came_at_one_moment_have_missed_is_opened(
    place: str, boiler: Appliance, house: LimitSet, manager: User
) -> None:
    """Neither transaction saw the other: the appliance is reached by the set, and has no required check by it."""
    assignment = under(house, manager, **{place: PLACES[place](boiler)})
    before = {each.part: each.due for each in RequiredCheck.objects.all()}
    RequiredCheck.objects.all().delete()
    Job.objects.all().delete()
    of_the_night()
    opened = list(RequiredCheck.objects.all())
    assert {each.part: each.due for each in opened} == before == {"": date(2026, 1, 1), "tune-up": date(2025, 7, 1)}
    for each in opened:
        assert (each.assignment, each.since, each.decided_by, each.until) == (
            assignment,
            assignment.since,
            manager,
            None,
        )
    assert list(Job.objects.filter(kind="refresh_appliance").values_list("key", flat=True)) == [str(boiler.id)]


def test_a_rule_that_a_set_had_before_it_put_required_checks_on_appliances_is_opened(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    under(house, manager, appliance=boiler)
    RequiredCheck.objects.filter(part="tune-up").delete()
    of_the_night()
    assert standing() == {("Boiler 1", ""), ("Boiler 1", "tune-up")}


def test_only_the_newest_version_of_a_set_counts(boiler: Appliance, house: LimitSet, manager: User) -> None:
    under(house, manager, appliance=boiler)
    version(house, manager, extra_intervals=None)
    RequiredCheck.objects.filter(until__isnull=True).delete()
    of_the_night()
    assert standing() == {("Boiler 1", "")}


def test_what_a_person_ended_stays_ended(boiler: Appliance, house: LimitSet, manager: User) -> None:
    under(house, manager, appliance=boiler)
    required_check = RequiredCheck.objects.get(part="tune-up")
    change_required_check(
        required_check=required_check, version=required_check.version, changes={"until": TODAY}, actor=manager, now=NOON
    )
    of_the_night()
    assert standing() == {("Boiler 1", "")}


def test_a_set_that_no_longer_applies_and_an_appliance_that_has_left_get_nothing(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    make_appliance(boiler.building, None, "Boiler 2", in_service_to=date(2026, 3, 1))
    make_appliance(boiler.building, None, "Boiler 3", in_service_to=TODAY)
    assignment = under(house, manager, client=boiler.building.client)
    RequiredCheck.objects.all().delete()
    of_the_night()
    assert standing() == {(name, part) for name in ("Boiler 1", "Boiler 3") for part in ("", "tune-up")}
    change_assignment(
        assignment=assignment, version=assignment.version, changes={"until": TODAY}, actor=manager, now=NOON
    )
    RequiredCheck.objects.all().delete()
    assert missing_required_checks(now=NOON) == []


def test_what_was_resolved_between_finding_and_opening_is_left(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    assignment = under(house, manager, appliance=boiler)
    RequiredCheck.objects.all().delete()
    missing = missing_required_checks(now=NOON)
    assert len(open_missing_required_checks(missing=missing, now=NOON)) == 2
    assert open_missing_required_checks(missing=missing, now=NOON) == []
    change_assignment(
        assignment=assignment, version=assignment.version, changes={"until": TODAY}, actor=manager, now=NOON
    )
    RequiredCheck.objects.all().delete()
    assert open_missing_required_checks(missing=missing, now=NOON) == []
    LimitSetAssignment.objects.update(until=None)
    Appliance.objects.update(in_service_to=date(2026, 3, 1))
    assert open_missing_required_checks(missing=missing, now=NOON) == []


def test_statements_don_t_grow_with_appliances_and_places_whether_anything_is_missing_or_not(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    client = boiler.building.client

    def grow(number: int) -> None:
        building = make_building(client, f"House {number}")
        under(house, manager, appliance=make_appliance(building, None, f"Boiler {number}"))
        under(house, manager, building=building)

    def statements() -> tuple[int, int]:
        """While nothing is missing, and while all is."""
        with CaptureQueriesContext(connection) as idle:
            assert missing_required_checks(now=NOON) == []
        there = RequiredCheck.objects.count()
        RequiredCheck.objects.all().delete()
        with CaptureQueriesContext(connection) as busy:
            assert len(open_missing_required_checks(missing=missing_required_checks(now=NOON), now=NOON)) == there
        return len(idle), len(busy)

    under(house, manager, client=client)
    grow(2)
    of_the_night()
    few = statements()
    for number in range(3, 5):
        grow(number)
    of_the_night()
    assert statements() == few
    assert few[0] == 1 + 3 * len({"", *(each["name"] for each in CONTENT["extra_intervals"])})
