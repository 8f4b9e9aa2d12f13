"""What a check on some day would do to the required checks of an appliance or a building, by the building's own day."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.errors import FleetError, NotFound
from fleet.models import Analyser, Appliance, Building, Client, Person, RequiredCheck, User
from fleet.models.register import new_id
from fleet.presentation.due_dates import what_if_words
from fleet.queries.required_checks import FURTHEST, what_if_appliance, what_if_building
from fleet.services.out_of_use import begin_out_of_use
from fleet.services.required_checks import add_required_check
from tests import cast
from tests.cast import NOON, calculated
from tests.intake.refused import said_of

KEEP = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
MONTHS = {"type": "max_months", "months": 12}
AddRequiredCheck = Callable[..., RequiredCheck]


@pytest.fixture
def add(manager: User) -> AddRequiredCheck:
    def add_one(appliance: Appliance, name: str, rule: dict[str, Any], since: date = date(2015, 1, 1)) -> RequiredCheck:
        values = {"appliance": appliance, "name": name, "source": "contract", "rule": rule, "why": "c", "since": since}
        return add_required_check(values=values, actor=manager, now=NOON)

    return add_one


@pytest.fixture
def visited(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Appliance:
    cast.store(cast.visit_body(boiler, person, analyser, day="2025-04-10"), technician)
    return boiler


def test_each_standing_required_check_answers_by_its_own_rule_soonest_first(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User
) -> None:
    add(visited, "Plain", MONTHS)
    add(visited, "Kept", KEEP)
    add(visited, "Later", {"type": "calendar_years", "every": 2})
    found = what_if_appliance(dispatcher, visited.id, date(2026, 3, 10), NOON)
    assert [each.required_check.name for each in found.required_checks] == ["Kept", "Plain", "Later"]
    kept, plain, later = (each.answer for each in found.required_checks)
    assert (kept.before.due, kept.after.due, kept.days_lost) == (date(2026, 4, 10), date(2027, 4, 10), 0)
    assert (plain.after.due, plain.days_lost) == (date(2027, 3, 10), 31)
    assert (later.in_time, later.serves) == (True, True)
    assert (found.today, found.day, found.appliance) == (NOON.date(), date(2026, 3, 10), visited)


def test_the_date_that_stands_is_the_one_that_the_required_check_keeps(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User
) -> None:
    required_check = calculated(add(visited, "Kept", KEEP), NOON.date())
    (found,) = what_if_appliance(dispatcher, visited.id, None, NOON).required_checks
    assert found.answer.before.due == required_check.due == date(2026, 4, 10)


def test_a_check_really_made_gives_the_date_that_was_told(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User, technician: User, person: Person, analyser: Analyser
) -> None:
    required_checks = [add(visited, rule["type"], rule) for rule in (KEEP, MONTHS, {"type": "same_quarter_each_year"})]
    day = date(2026, 3, 20)
    told = {
        each.required_check.id: each.answer.after.due
        for each in what_if_appliance(dispatcher, visited.id, day, NOON).required_checks
    }
    later = NOON + timedelta(days=18)
    cast.store(cast.visit_body(visited, person, analyser, day=day.isoformat()), technician, now=later)
    made = {each.id: calculated(RequiredCheck.objects.get(id=each.id), day).due for each in required_checks}
    assert made == told


def test_never_checked_it_is_calculated_from_the_start(
    boiler: Appliance, add: AddRequiredCheck, dispatcher: User
) -> None:
    add(boiler, "Yearly", MONTHS, since=date(2026, 2, 1))
    (found,) = what_if_appliance(dispatcher, boiler.id, date(2026, 12, 1), NOON).required_checks
    assert (found.answer.before.due, found.answer.after.due) == (date(2027, 2, 1), date(2027, 12, 1))


def test_readings_of_the_hour_counter_count(visited: Appliance, add: AddRequiredCheck, dispatcher: User) -> None:
    add(visited, "Hours", {"type": "months_or_hours_first", "months": 12, "hours": 2000})
    (found,) = what_if_appliance(dispatcher, visited.id, date(2026, 3, 10), NOON).required_checks
    assert "no run-hour reading" in what_if_words(found.answer)
    assert found.answer.days_lost is None


def test_a_required_check_that_has_ended_or_begins_later_or_of_another_appliance_is_not_asked(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User
) -> None:
    ended, later = add(visited, "Ended", MONTHS), add(visited, "Later", MONTHS, since=date(2026, 6, 1))
    add(cast.make_appliance(visited.building, None, "Boiler 2"), "Next door", MONTHS)
    RequiredCheck.objects.filter(id=ended.id).update(until=date(2026, 1, 1))
    assert what_if_appliance(dispatcher, visited.id, date(2026, 5, 31), NOON).required_checks == ()
    (found,) = what_if_appliance(dispatcher, visited.id, date(2026, 6, 1), NOON).required_checks
    assert found.required_check == later


def test_out_of_use_it_says_since_when_and_that_nothing_is_due(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User, manager: User
) -> None:
    add(visited, "Plain", MONTHS)
    content = {"begins": "2026-03-01", "why": "summer", "said_by": "owner"}
    begin_out_of_use(appliance=visited, content=content, actor=manager, now=NOON, id=new_id())
    (found,) = what_if_appliance(dispatcher, visited.id, date(2026, 4, 1), NOON).required_checks
    assert (found.answer.before.due, found.answer.in_time) == (None, None)
    assert "Out of use since 1 March 2026: nothing is due until its restart." in what_if_words(found.answer)


def test_a_building_answers_for_all_that_stands_in_it(
    visited: Appliance, add: AddRequiredCheck, dispatcher: User
) -> None:
    other = cast.make_appliance(visited.building, None, "Boiler 2")
    gone = cast.make_appliance(visited.building, None, "Boiler 0", in_service_to=date(2025, 1, 1))
    for each in (visited, other, gone):
        add(each, each.name, MONTHS)
    found = what_if_building(dispatcher, visited.building_id, date(2026, 3, 10), NOON)
    assert [each.required_check.appliance.name for each in found.required_checks] == ["Boiler 2", "Boiler 1"]
    assert found.appliance is None


@pytest.mark.parametrize(
    ("zone", "today"),
    [("Pacific/Kiritimati", date(2026, 3, 3)), ("Pacific/Pago_Pago", date(2026, 3, 1)), ("Europe/Lisbon", NOON.date())],
)
def test_today_is_the_building_s_own(
    building: Building, boiler: Appliance, dispatcher: User, zone: str, today: date
) -> None:
    Building.objects.filter(id=building.id).update(time_zone=zone)
    now = datetime(2026, 3, 2, 10, 30, tzinfo=UTC)
    assert what_if_appliance(dispatcher, boiler.id, None, now).day == today
    for day in (today, today + FURTHEST):
        assert what_if_building(dispatcher, building.id, day, now).day == day
    for day in (today - timedelta(days=1), today + FURTHEST + timedelta(days=1)):
        with pytest.raises(FleetError) as refused:
            what_if_appliance(dispatcher, boiler.id, day, now)
        assert refused.value.code == "invalid"
        assert str(today) in said_of(refused.value)["day"]  # type: ignore[index]


def test_what_another_may_not_see_is_not_found(boiler: Appliance, outsider: User, client_of_ours: Client) -> None:
    with pytest.raises(NotFound):
        what_if_appliance(outsider, boiler.id, None, NOON)
    with pytest.raises(NotFound):
        what_if_building(outsider, boiler.building_id, None, NOON)


def test_more_appliances_ask_no_more_queries(visited: Appliance, add: AddRequiredCheck, dispatcher: User) -> None:
    counts = []
    for number in range(2):
        for each in range(3 * number + 1):
            add(cast.make_appliance(visited.building, visited.sheet, f"More {number}-{each}"), "Plain", MONTHS)
        with CaptureQueriesContext(connection) as asked:
            what_if_building(dispatcher, visited.building_id, date(2026, 3, 10), NOON)
        counts.append(len(asked))
    assert counts[0] == counts[1]
