"""A day is the building's: around midnight UTC it is another one in Auckland (UTC+13) and in Honolulu (UTC-10)."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from fleet.assess.refusals import refuse_retiring_ahead
from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, Client, LimitSet, LimitSetAssignment, Person, RequiredCheck, User
from fleet.models.register import new_id
from fleet.queries.revisits import revisits_of_building
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set, change_assignment
from fleet.services.required_checks import add_required_check, change_required_check
from tests.cast import make_appliance, make_building, store, visit_body
from tests.intake.refused import said_of

AUCKLAND, HONOLULU = "Pacific/Auckland", "Pacific/Honolulu"
BEFORE, AFTER = datetime(2026, 3, 2, 23, 30, tzinfo=UTC), datetime(2026, 3, 3, 0, 30, tzinfo=UTC)
SECOND, THIRD, FOURTH = date(2026, 3, 2), date(2026, 3, 3), date(2026, 3, 4)
# At these moments UTC has another day than the place.
ELSEWHERE = pytest.mark.parametrize(
    ("zone", "now", "there"), [(AUCKLAND, BEFORE, THIRD), (HONOLULU, AFTER, SECOND)], ids=["Auckland", "Honolulu"]
)
YEARLY = {"type": "max_months", "months": 12}


def boiler_in(zone: str, client: Client, **values: Any) -> Appliance:
    building = make_building(client, name=zone)
    building.time_zone = zone
    building.save()
    return make_appliance(building, None, **values)


def attach(key: str, actor: User, now: datetime, **place: Any) -> LimitSetAssignment:
    values = {"limit_set": LimitSet.objects.get(key=key), "since": date(2025, 1, 1), "why": "decided for a test"}
    return assign_limit_set(values=values | place, actor=actor, now=now)


def contract(boiler: Appliance, actor: User, now: datetime) -> RequiredCheck:
    values = {"appliance": boiler, "name": "Yearly", "source": "contract", "since": date(2025, 1, 1), "why": "clause 4"}
    return add_required_check(values=values | {"rule": YEARLY}, actor=actor, now=now)


@ELSEWHERE
def test_a_required_check_ends_on_the_day_that_it_is_there_and_on_none_ahead(
    client_of_ours: Client, manager: User, zone: str, now: datetime, there: date
) -> None:
    required_check = contract(boiler_in(zone, client_of_ours), manager, now)
    with pytest.raises(FleetError) as ahead:
        change_required_check(
            required_check=required_check,
            version=required_check.version,
            changes={"until": there + timedelta(days=1)},
            actor=manager,
            now=now,
        )
    assert f"it must not be after today, {there}" in said_of(ahead.value)["until"]  # type: ignore[index]  # a mapping
    assert (
        change_required_check(
            required_check=required_check,
            version=required_check.version,
            changes={"until": there},
            actor=manager,
            now=now,
        ).until
        == there
    )


@ELSEWHERE
@pytest.mark.parametrize("place", ["appliance", "building", "client"])
def test_a_set_ends_on_the_day_that_it_is_there_and_on_none_ahead(
    client_of_ours: Client, manager: User, zone: str, now: datetime, there: date, place: str
) -> None:
    boiler = boiler_in(zone, client_of_ours)
    places = {"appliance": boiler, "building": boiler.building, "client": client_of_ours}
    made = attach("demo-neutral", manager, now, **{place: places[place]})
    with pytest.raises(FleetError):
        change_assignment(
            assignment=made, version=1, changes={"until": there + timedelta(days=1)}, actor=manager, now=now
        )
    change_assignment(assignment=made, version=1, changes={"until": there}, actor=manager, now=now)
    assert RequiredCheck.objects.get().until == there


def test_of_a_client_in_both_places_the_day_must_have_come_everywhere(client_of_ours: Client, manager: User) -> None:
    for zone in (AUCKLAND, HONOLULU):
        boiler_in(zone, client_of_ours)
    made = attach("demo-neutral", manager, AFTER, client=client_of_ours)
    with pytest.raises(FleetError):
        change_assignment(assignment=made, version=1, changes={"until": THIRD}, actor=manager, now=AFTER)
    change_assignment(assignment=made, version=1, changes={"until": SECOND}, actor=manager, now=AFTER)
    assert set(RequiredCheck.objects.values_list("until", flat=True)) == {SECOND}


@pytest.mark.parametrize(("zone", "now", "stands"), [(AUCKLAND, BEFORE, False), (HONOLULU, AFTER, True)])
def test_a_set_reaches_what_has_not_left_by_the_day_that_it_is_there(
    client_of_ours: Client, manager: User, zone: str, now: datetime, stands: bool
) -> None:
    """Both leave on 2 March: in Auckland that is over, in Honolulu it is today."""
    boiler_in(zone, client_of_ours, in_service_to=SECOND)
    attach("demo-neutral", manager, now, client=client_of_ours)
    assert RequiredCheck.objects.exists() == stands


@pytest.fixture
def tested_this_morning(client_of_ours: Client, person: Person, analyser: Analyser, technician: User) -> Appliance:
    """In Auckland, at 10 on 3 March, which is 21:00 UTC the day before."""
    boiler = boiler_in(AUCKLAND, client_of_ours)
    said = json.dumps(visit_body(boiler, person, analyser))
    for hour, moved in (("T09:", "T20:"), ("T10:", "T21:"), ("T11:", "T22:")):
        said = said.replace(hour, moved)
    assert store(json.loads(said), technician, BEFORE).local_date == THIRD
    return boiler


def test_a_required_check_of_the_contract_counts_what_was_done_today_there(
    tested_this_morning: Appliance, manager: User
) -> None:
    assert contract(tested_this_morning, manager, BEFORE).last_done == THIRD


def test_a_set_that_is_attached_counts_what_was_done_today_there(tested_this_morning: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, BEFORE, appliance=tested_this_morning)
    required_check = RequiredCheck.objects.get()
    assert THIRD in (required_check.visited_on, required_check.last_done)


def test_a_new_version_counts_from_the_day_that_it_is_at_each_building(client_of_ours: Client, manager: User) -> None:
    boilers = {zone: boiler_in(zone, client_of_ours) for zone in (AUCKLAND, HONOLULU)}
    attach("demo-neutral", manager, AFTER, client=client_of_ours)
    limit_set = LimitSet.objects.get(key="demo-neutral")
    content = limit_set.current.content

    def recorded(interval: dict[str, Any]) -> None:
        said = content | {"interval": interval}
        add_limit_set_version(limit_set=limit_set, content=said, actor=manager, now=AFTER, id=new_id())

    recorded({"type": "max_months", "months": 7})
    began = {zone: RequiredCheck.objects.get(appliance=each).rule_since for zone, each in boilers.items()}
    assert began == {AUCKLAND: THIRD, HONOLULU: SECOND}
    recorded({"type": "none"})
    ended = {zone: RequiredCheck.objects.get(appliance=each).until for zone, each in boilers.items()}
    assert ended == {AUCKLAND: THIRD, HONOLULU: SECOND}


@ELSEWHERE
def test_the_revisits_of_a_building_are_told_as_of_the_day_that_it_is_there(
    client_of_ours: Client, manager: User, zone: str, now: datetime, there: date
) -> None:
    boiler = boiler_in(zone, client_of_ours)
    assert revisits_of_building(manager, boiler.building_id, now).today == there


@pytest.mark.parametrize(("zone", "now", "today"), [(AUCKLAND, BEFORE, THIRD), (HONOLULU, AFTER, SECOND)])
def test_what_has_no_building_goes_by_the_day_of_the_office(zone: str, now: datetime, today: date) -> None:
    with timezone.override(zone):
        refuse_retiring_ahead(today, now)
        with pytest.raises(FleetError):
            refuse_retiring_ahead(today + timedelta(days=1), now)
