"""Whose clients and tokens somebody sees, which calendars they may have made, and who goes to a building."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from fleet import clock
from fleet.models import (
    ApiToken,
    Client,
    LogIn,
    NoAccess,
    OccupierNotice,
    Person,
    Qualification,
    RequiredCheck,
    Revisit,
    Role,
    User,
)
from fleet.models.calendars import hash_of
from fleet.queries.access import log_ins_of, tokens_of, visible_clients, visible_tokens
from fleet.queries.calendars import address_for, events_for, may_have_calendar
from fleet.queries.revisits import named_in_doubt, revisits_of_building, technicians
from fleet.services.access import create_token
from tests.cast import make_user
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import YESTERDAY, World

pytestmark = pytest.mark.django_db


def test_a_client_given_twice_over_is_seen_once(world: World) -> None:
    viewer = world.who("auditor")
    viewer.clients.add(world.theirs.client)
    assert sorted(each.name for each in visible_clients(viewer)) == ["Alder", "Weir"]
    viewer.sees_all_clients = True
    assert visible_clients(viewer).count() == Client.objects.count() == 3


def test_one_s_own_tokens_are_listed_oldest_first_and_nobody_else_s(world: World) -> None:
    viewer, other = world.who("technician"), world.who("manager", "all")
    for owner, name in ((viewer, "first"), (other, "another's"), (viewer, "second")):
        create_token(user=owner, actor=owner, now=clock.now(), name=name, scope="read", days=1)
    assert [each.name for each in tokens_of(viewer)] == ["first", "second"]
    assert ApiToken.objects.count() == 3
    assert [each.name for each in visible_tokens(other)] == ["first", "another's", "second"]
    assert list(visible_tokens(world.who("manager"))) == []


def test_a_viewer_by_a_limited_token_sees_what_both_see(world: World) -> None:
    everywhere, named = (User.objects.get(id=world.who(*who).id) for who in (("manager", "all"), ("auditor",)))
    token, _secret = create_token(
        user=everywhere, actor=everywhere, now=clock.now(), name="x", scope="read", days=1, clients=[world.ours.client]
    )
    everywhere.limit_to(token)
    assert [each.name for each in visible_clients(everywhere)] == ["Weir"]
    token.owner_sees_all = False
    named.limit_to(token)
    assert [each.name for each in visible_clients(named)] == ["Weir"]
    named.clients.clear()
    assert list(visible_clients(named)) == []


def test_where_one_is_logged_in_is_listed_and_nobody_else_is(world: World) -> None:
    viewer, other = world.who("technician"), world.who("dispatcher")
    later = clock.now() + timedelta(hours=1)
    rows = [made(LogIn, user=viewer, expires_at=later, seen_at=MOMENT + timedelta(minutes=n)) for n in range(2)]
    made(LogIn, user=viewer, expires_at=MOMENT)
    made(LogIn, user=other, expires_at=later)
    assert list(log_ins_of(viewer)) == rows[::-1]


# ---- calendars ----


def test_the_office_makes_calendars_for_technicians_of_no_client_but_its_own(world: World) -> None:
    both = make_user("both", Role.TECHNICIAN, sees_all_clients=False)
    both.clients.add(world.ours.client, world.theirs.client)
    make_user("everywhere", Role.TECHNICIAN, sees_all_clients=True)
    limited = world.who("dispatcher")
    assert {each.username for each in may_have_calendar(limited)} == {
        "Weir_technician", "technician_ours", "dispatcher_ours",
    }  # fmt: skip
    whole = {each.username for each in may_have_calendar(world.who("manager", "all"))}
    assert {"both", "everywhere", "Alder_technician", "manager_all"} <= whole
    assert not {"dispatcher_all", "auditor_all", "technician_gone"} & whole


def test_a_technician_has_their_own_and_an_auditor_none(world: World) -> None:
    technician = world.who("technician")
    assert list(may_have_calendar(technician)) == [technician]
    assert not may_have_calendar(world.who("auditor", "all")).exists()


def test_a_secret_opens_its_calendar_until_it_is_revoked_or_its_person_leaves(world: World) -> None:
    of_person, of_client = world.ours.calendar_of_technician, world.ours.calendar_of_client
    for link, secret in ((of_person, "one"), (of_client, "two")):
        type(link).objects.filter(id=link.id).update(secret_sha256=hash_of(secret))
    assert (address_for(hash_of("one")), address_for(hash_of("two"))) == (of_person, of_client)
    assert address_for(hash_of("three")) is None
    type(world.ours.technician).objects.filter(id=world.ours.technician.id).update(is_active=False)
    type(of_client).objects.filter(id=of_client.id).update(revoked_at=MOMENT)
    assert (address_for(hash_of("one")), address_for(hash_of("two"))) == (None, None)


@pytest.mark.parametrize(
    ("changes", "is_shown"),
    [({}, True), ({"due": None}, False), ({"cannot_tell": [["no_start", {}]]}, False), ({"until": YESTERDAY}, False)],
)
def test_a_client_s_calendar_has_required_checks_with_a_certain_date(
    world: World, changes: dict[str, Any], is_shown: bool
) -> None:
    RequiredCheck.objects.filter(id=world.ours.required_check.id).update(**changes)
    events = events_for(world.ours.calendar_of_client, DAY)
    assert [each.uid.partition("-")[0] for each in events] == [*["required_check"] * is_shown, "revisit"]
    assert [each.first for each in events] == sorted(each.first for each in events)


def test_an_appliance_that_has_left_puts_no_check_into_the_calendar(world: World) -> None:
    appliance = world.ours.appliance
    type(appliance).objects.filter(id=appliance.id).update(in_service_from=YESTERDAY, in_service_to=YESTERDAY)
    assert {each.uid.partition("-")[0] for each in events_for(world.ours.calendar_of_client, DAY)} == {"revisit"}
    assert len(events_for(world.ours.calendar_of_client, YESTERDAY)) == 2


# ---- visits of one building ----


def test_a_building_s_visits_are_told_on_its_own_day_with_attempts_and_notices_of_days_to_come(world: World) -> None:
    building, viewer = world.ours.building, world.who("dispatcher")
    type(building).objects.filter(id=building.id).update(time_zone="Pacific/Auckland")
    late = datetime(2026, 3, 1, 23, 0, tzinfo=UTC)
    notices = [made(OccupierNotice, appliance=world.ours.appliance, day=DAY + timedelta(days=days)) for days in (-1, 0)]
    made(OccupierNotice, appliance=world.theirs.appliance, day=DAY)
    facts = revisits_of_building(viewer, building.id, late)
    assert facts.today == date(2026, 3, 2)
    assert list(facts.notices) == notices[1:]
    assert list(facts.attempts) == [world.ours.no_access]
    assert [each.revisits for each in facts.groups] == [(world.ours.revisit,)]


def test_fifty_attempts_are_listed_the_newest_first(world: World) -> None:
    for number in range(52):
        made(NoAccess, appliance=world.ours.appliance, at=MOMENT + timedelta(minutes=number + 1))
    attempts = revisits_of_building(world.who("dispatcher"), world.ours.building.id, MOMENT).attempts
    assert len(attempts) == 50
    assert [each.at for each in attempts] == sorted((each.at for each in attempts), reverse=True)
    assert attempts[0].at == MOMENT + timedelta(minutes=52)


def test_who_is_named_and_may_not_go_is_told_for_the_days_that_were_asked_about(world: World) -> None:
    fit, unfit = made(Person, name="Ada Test"), made(Person, name="Bo Test")
    made(Qualification, person=fit, fuel_kinds=["gas"], valid_from=DAY, valid_to=date(2030, 1, 1))
    days = {}
    for place, person in ((world.ours, unfit), (world.theirs, unfit), (world.others, fit)):
        Revisit.objects.filter(id=place.revisit.id).update(technician=person)
        days[place.revisit.day] = place
    (day,) = days
    whole, limited = world.who("dispatcher", "all"), world.who("dispatcher")
    assert {each.appliance.name for each in named_in_doubt(whole, DAY, day)} == {"Weir boiler", "Alder boiler"}
    assert [each.appliance.name for each in named_in_doubt(limited, day, day)] == ["Weir boiler"]
    for begins, ends in ((DAY, day - timedelta(days=1)), (day + timedelta(days=1), date.max)):
        assert list(named_in_doubt(whole, begins, ends)) == []


def test_only_technicians_are_offered_to_go_by_name(world: World) -> None:
    for name, role in (("Cy", "technician"), ("Ada", "technician"), ("Bo", "dispatcher")):
        made(Person, name=f"{name} Test", role=role)
    offered = [each.name for each in technicians(world.who("dispatcher")) if each.name.endswith("Test")]
    assert offered == ["Ada Test", "Cy Test"]
