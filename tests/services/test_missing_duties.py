"""Duties that a set puts on an appliance and that nobody opened: found for all sets at once, opened by night."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet import tasks
from fleet.assess.due.duties import missing_duties
from fleet.models import Appliance, Duty, Job, LimitSet, LimitSetAttachment, User
from fleet.services import jobs
from fleet.services.duties import change_duty, open_missing_duties
from fleet.services.limit_sets import change_attachment
from tests.cast import NOON, make_appliance, make_building
from tests.services.test_set_rules import CONTENT, TODAY, house_set, under, version


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


def of_the_night() -> None:
    """The job, run as a worker runs it."""
    jobs.request_job(kind="open_missing_duties", key="2026-03-02", due_at=NOON)
    assert tasks.run_job(Job.objects.get(kind="open_missing_duties", state=Job.State.WAITING).id)


def standing() -> set[tuple[str, str]]:
    return set(Duty.objects.filter(until__isnull=True).values_list("appliance__name", "part"))


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
    """Neither transaction saw the other: the appliance is reached by the set, and has no duty by it."""
    attachment = under(house, manager, **{place: PLACES[place](boiler)})
    before = {each.part: each.due for each in Duty.objects.all()}
    Duty.objects.all().delete()
    Job.objects.all().delete()
    of_the_night()
    opened = list(Duty.objects.all())
    assert {each.part: each.due for each in opened} == before == {"": date(2026, 1, 1), "tune-up": date(2025, 7, 1)}
    for each in opened:
        assert (each.attachment, each.since, each.decided_by, each.until) == (
            attachment,
            attachment.since,
            manager,
            None,
        )
    assert list(Job.objects.filter(kind="refresh_appliance").values_list("key", flat=True)) == [str(boiler.id)]


def test_a_rule_that_a_set_had_before_it_put_duties_on_appliances_is_opened(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    under(house, manager, appliance=boiler)
    Duty.objects.filter(part="tune-up").delete()
    of_the_night()
    assert standing() == {("Boiler 1", ""), ("Boiler 1", "tune-up")}


def test_only_the_newest_version_of_a_set_counts(boiler: Appliance, house: LimitSet, manager: User) -> None:
    under(house, manager, appliance=boiler)
    version(house, manager, extra_intervals=None)
    Duty.objects.filter(until__isnull=True).delete()
    of_the_night()
    assert standing() == {("Boiler 1", "")}


def test_what_a_person_ended_stays_ended(boiler: Appliance, house: LimitSet, manager: User) -> None:
    under(house, manager, appliance=boiler)
    duty = Duty.objects.get(part="tune-up")
    change_duty(duty=duty, version=duty.version, changes={"until": TODAY}, now=NOON)
    of_the_night()
    assert standing() == {("Boiler 1", "")}


def test_a_set_that_no_longer_applies_and_an_appliance_that_has_left_get_nothing(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    make_appliance(boiler.building, None, "Boiler 2", in_service_to=date(2026, 3, 1))
    make_appliance(boiler.building, None, "Boiler 3", in_service_to=TODAY)
    attachment = under(house, manager, client=boiler.building.client)
    Duty.objects.all().delete()
    of_the_night()
    assert standing() == {(name, part) for name in ("Boiler 1", "Boiler 3") for part in ("", "tune-up")}
    change_attachment(attachment=attachment, version=attachment.version, changes={"until": TODAY}, now=NOON)
    Duty.objects.all().delete()
    assert missing_duties(now=NOON) == []


def test_what_was_settled_between_finding_and_opening_is_left(
    boiler: Appliance, house: LimitSet, manager: User
) -> None:
    attachment = under(house, manager, appliance=boiler)
    Duty.objects.all().delete()
    missing = missing_duties(now=NOON)
    assert len(open_missing_duties(missing=missing, now=NOON)) == 2
    assert open_missing_duties(missing=missing, now=NOON) == []
    change_attachment(attachment=attachment, version=attachment.version, changes={"until": TODAY}, now=NOON)
    Duty.objects.all().delete()
    assert open_missing_duties(missing=missing, now=NOON) == []
    LimitSetAttachment.objects.update(until=None)
    Appliance.objects.update(in_service_to=date(2026, 3, 1))
    assert open_missing_duties(missing=missing, now=NOON) == []


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
            assert missing_duties(now=NOON) == []
        there = Duty.objects.count()
        Duty.objects.all().delete()
        with CaptureQueriesContext(connection) as busy:
            assert len(open_missing_duties(missing=missing_duties(now=NOON), now=NOON)) == there
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
