"""Calendar links: shown once, hashed, revocable; and an event's life under one UID."""

import re
from datetime import date, timedelta

import pytest

from fleet.errors import Conflict, FleetError, NotFound
from fleet.models import Appliance, CalendarEntry, CalendarLink, Client, Person, RequiredCheck, Revisit, Role, User
from fleet.presentation.revisits import reason_words
from fleet.queries.calendars import ShownEvent, address_for, events_for, visible_addresses
from fleet.services import calendars
from tests import cast
from tests.cast import NOON, make_appliance, make_building, make_person
from tests.web.world import add_yearly_required_check

DAY = timedelta(days=1)
TODAY = NOON.date()


@pytest.fixture
def revisit(boiler: Appliance) -> Revisit:
    return make_revisit(boiler)


def make_revisit(appliance: Appliance) -> Revisit:
    return Revisit.objects.create(
        appliance=appliance, earliest=date(2026, 6, 1), latest=date(2026, 7, 15), date_set_by="required_check",
        why=["flag", {"sentence": "Yearly check: twelve months after 2025-07-15.", "figures": {}}], made_at=NOON,
    )  # fmt: skip


def set_for(revisit: Revisit, state: str, day: date, actor: User) -> None:
    Revisit.objects.filter(id=revisit.id).update(state=state, day=day, set_by=actor, set_at=NOON)


def go(revisit: Revisit, person: Person) -> None:
    Revisit.objects.filter(id=revisit.id).update(technician=person)


def of_client(client: Client, actor: User) -> tuple[CalendarLink, str]:
    return calendars.make_address(user=None, client=client, actor=actor, now=NOON)


def shown(address: CalendarLink, days: int = 0) -> list[ShownEvent]:
    now = NOON + days * DAY
    return calendars.keep_shown(address=address, events=events_for(address, now.date()), now=now)


# ---- addresses ----


def test_the_secret_has_256_bits_and_stands_nowhere(client_of_ours: Client, dispatcher: User) -> None:
    address, secret = of_client(client_of_ours, dispatcher)
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", secret)
    assert secret not in str(CalendarLink.objects.values().get())
    assert address_for(calendars.hash_of(secret)) == address


def test_renewing_closes_the_address_before(client_of_ours: Client, dispatcher: User) -> None:
    address, before = of_client(client_of_ours, dispatcher)
    renewed, after = calendars.renew_address(address=address, version=1, actor=dispatcher, now=NOON)
    assert address_for(calendars.hash_of(before)) is None
    assert address_for(calendars.hash_of(after)) == renewed


def test_revoking_closes_it_for_good(client_of_ours: Client, dispatcher: User, revisit: Revisit) -> None:
    address, secret = of_client(client_of_ours, dispatcher)
    shown(address)
    revoked = calendars.revoke_address(address=address, version=1, actor=dispatcher, now=NOON)
    assert address_for(calendars.hash_of(secret)) is None
    assert not CalendarEntry.objects.exists()
    for act in (
        lambda: calendars.renew_address(address=revoked, version=2, actor=dispatcher, now=NOON),
        lambda: calendars.revoke_address(address=revoked, version=2, actor=dispatcher, now=NOON),
    ):
        with pytest.raises(Conflict):
            act()


def test_who_has_left_reads_nothing(technician: User) -> None:
    _address, secret = calendars.make_address(user=technician, client=None, actor=technician, now=NOON)
    User.objects.filter(id=technician.id).update(is_active=False)
    assert address_for(calendars.hash_of(secret)) is None


def test_a_calendar_is_of_a_person_or_of_a_client(client_of_ours: Client, manager: User, technician: User) -> None:
    for user, client in ((None, None), (technician, client_of_ours)):
        with pytest.raises(FleetError) as refused:
            calendars.make_address(user=user, client=client, actor=manager, now=NOON)
        assert refused.value.code == "invalid"


def test_for_whom_somebody_may_make_one(client_of_ours: Client, technician: User, dispatcher: User) -> None:
    other = Client.objects.create(name="Mill Trust")
    theirs = cast.make_user("their dispatcher", Role.DISPATCHER, sees_all_clients=False)
    theirs.clients.add(other)
    for actor, user, client in (
        (technician, dispatcher, None),
        (technician, None, client_of_ours),
        (theirs, None, client_of_ours),
        (theirs, technician, None),
    ):
        with pytest.raises(NotFound):
            calendars.make_address(user=user, client=client, actor=actor, now=NOON)
    calendars.make_address(user=technician, client=None, actor=dispatcher, now=NOON)
    of_client(other, theirs)
    assert visible_addresses(technician).count() == 1
    assert visible_addresses(theirs).count() == 1
    assert visible_addresses(dispatcher).count() == 2


def test_a_technician_who_also_goes_elsewhere_is_not_for_who_may_not_see_that(client_of_ours: Client) -> None:
    """Their days would show where they go for the other client."""
    other = Client.objects.create(name="Mill Trust")
    both, ours = (cast.make_user(f"fitter {n}", Role.TECHNICIAN, sees_all_clients=False) for n in (1, 2))
    both.clients.add(client_of_ours, other)
    ours.clients.add(client_of_ours)
    restricted = cast.make_user("our dispatcher", Role.DISPATCHER, sees_all_clients=False)
    restricted.clients.add(client_of_ours)
    with pytest.raises(NotFound):
        calendars.make_address(user=both, client=None, actor=restricted, now=NOON)
    calendars.make_address(user=ours, client=None, actor=restricted, now=NOON)
    ours.clients.add(other)
    assert not visible_addresses(restricted).exists()


# ---- events ----


def test_a_clients_calendar_holds_its_own_revisits_and_required_checks_alone(
    boiler: Appliance, revisit: Revisit, client_of_ours: Client, manager: User
) -> None:
    add_yearly_required_check(boiler, manager)
    other = Client.objects.create(name="Mill Trust")
    far = make_appliance(make_building(other, "Mill House"), None, "Boiler 9")
    theirs = make_revisit(far)
    add_yearly_required_check(far, manager)
    ours = {f"revisit-{revisit.id}", f"required_check-{RequiredCheck.objects.get(appliance=boiler).id}"}
    assert {each.uid for each in events_for(of_client(client_of_ours, manager)[0], TODAY)} == ours
    assert f"revisit-{theirs.id}" in {each.uid for each in events_for(of_client(other, manager)[0], TODAY)}


def test_proposed_booked_and_confirmed(revisit: Revisit, client_of_ours: Client, manager: User) -> None:
    address, _secret = of_client(client_of_ours, manager)
    told = []
    for state, day in (("proposed", None), ("booked", date(2026, 6, 9)), ("confirmed", date(2026, 6, 9))):
        if day:
            set_for(revisit, state, day, manager)
        (event,) = events_for(address, TODAY)
        told.append((event.status, event.first, event.last))
    assert told == [
        ("TENTATIVE", "2026-06-01", "2026-07-15"),
        ("TENTATIVE", "2026-06-09", "2026-06-09"),
        ("CONFIRMED", "2026-06-09", "2026-06-09"),
    ]


def test_a_technicians_calendar_holds_the_days_that_name_them_of_their_clients(
    revisit: Revisit, person: Person, technician: User, outsider: User, manager: User
) -> None:
    mine, theirs = (
        calendars.make_address(user=each, client=None, actor=each, now=NOON)[0] for each in (technician, outsider)
    )
    assert events_for(mine, TODAY) == []
    make_person("Bo Test", outsider, manager)
    set_for(revisit, "confirmed", date(2026, 6, 9), manager)
    assert events_for(mine, TODAY) == []
    go(revisit, person)
    assert [each.first for each in events_for(mine, TODAY)] == ["2026-06-09"]
    assert events_for(theirs, TODAY) == []
    go(revisit, outsider.person)
    assert events_for(mine, TODAY) == events_for(theirs, TODAY) == []


def test_somebody_in_the_office_has_every_day_that_is_set_and_who_goes(
    revisit: Revisit, person: Person, dispatcher: User, technician: User
) -> None:
    address, _secret = calendars.make_address(user=dispatcher, client=None, actor=dispatcher, now=NOON)
    assert events_for(address, TODAY) == []
    set_for(revisit, "confirmed", date(2026, 6, 9), dispatcher)
    assert "Nobody is named to go." in events_for(address, TODAY)[0].description
    go(revisit, person)
    assert "Ada Test goes." in events_for(address, TODAY)[0].description


def test_a_clients_calendar_says_nothing_of_who_goes(
    revisit: Revisit, person: Person, client_of_ours: Client, manager: User
) -> None:
    address, _secret = of_client(client_of_ours, manager)
    set_for(revisit, "confirmed", date(2026, 6, 9), manager)
    (before,) = shown(address)
    go(revisit, person)
    assert shown(address, days=1) == [before]
    assert "Ada" not in str(before.content)


def test_another_technician_has_the_day_called_off_in_one_calendar_and_put_into_the_other(
    revisit: Revisit, person: Person, technician: User, manager: User
) -> None:
    second = cast.make_user("second technician", Role.TECHNICIAN)
    other = make_person("Bo Test", second, manager)
    first, then = (
        calendars.make_address(user=each, client=None, actor=each, now=NOON)[0] for each in (technician, second)
    )
    set_for(revisit, "confirmed", date(2026, 6, 9), manager)
    go(revisit, person)
    (told,) = shown(first)
    assert shown(then) == []
    go(revisit, other)
    (gone,), (new,) = shown(first, days=1), shown(then, days=1)
    assert gone.uid == told.uid == new.uid == f"revisit-{revisit.id}"
    assert [(each.sequence, each.is_cancelled) for each in (told, gone, new)] == [(0, False), (1, True), (0, False)]
    go(revisit, person)
    (back,), (off,) = shown(first, days=2), shown(then, days=2)
    assert [(each.sequence, each.is_cancelled) for each in (back, off)] == [(2, False), (1, True)]


def test_a_technicians_calendar_shows_no_more_than_its_manufacturer_may_see(
    revisit: Revisit, person: Person, technician: User, client_of_ours: Client
) -> None:
    User.objects.filter(id=technician.id).update(sees_all_clients=False)
    technician.clients.add(client_of_ours)
    restricted = cast.make_user("our dispatcher", Role.DISPATCHER, sees_all_clients=False)
    restricted.clients.add(client_of_ours)
    address, _secret = calendars.make_address(user=technician, client=None, actor=restricted, now=NOON)
    set_for(revisit, "confirmed", date(2026, 6, 9), restricted)
    go(revisit, person)
    assert len(events_for(CalendarLink.objects.get(id=address.id), TODAY)) == 1
    restricted.clients.clear()
    assert events_for(CalendarLink.objects.get(id=address.id), TODAY) == []


def test_the_words_hold_the_reason_the_zone_and_the_cautions(
    revisit: Revisit, client_of_ours: Client, manager: User
) -> None:
    (event,) = events_for(of_client(client_of_ours, manager)[0], TODAY)
    assert event.summary == "To be seen: Boiler 1, Weir House"
    for words in (reason_words(revisit.why), "Europe/Lisbon", "declares no appliance safe", "On a gas smell"):
        assert words in event.description


# ---- what an address has shown ----


def test_asked_again_nothing_changes_and_nothing_is_written(
    revisit: Revisit, client_of_ours: Client, manager: User, django_assert_num_queries: object
) -> None:
    address, _secret = of_client(client_of_ours, manager)
    first = shown(address)
    with django_assert_num_queries(3):  # type: ignore[operator]  # revisits, required checks, and what was shown
        assert shown(address, days=1) == first
    assert [each.sequence for each in first] == [0]


def test_a_change_raises_the_sequence_under_the_same_uid(
    revisit: Revisit, client_of_ours: Client, manager: User
) -> None:
    address, _secret = of_client(client_of_ours, manager)
    (first,) = shown(address)
    set_for(revisit, "confirmed", date(2026, 6, 9), manager)
    (second,) = shown(address, days=1)
    assert (second.uid, second.sequence, second.changed_at) == (first.uid, 1, NOON + DAY)


def test_what_is_gone_is_called_off_for_a_month_and_can_come_back(
    boiler: Appliance, revisit: Revisit, client_of_ours: Client, manager: User
) -> None:
    address, _secret = of_client(client_of_ours, manager)
    shown(address)
    kept = {"id": revisit.id}
    revisit.delete()
    (gone,) = shown(address, days=1)
    assert (gone.is_cancelled, gone.sequence) == (True, 1)
    assert shown(address, days=2) == [gone]
    back = make_revisit(boiler)
    Revisit.objects.filter(id=back.id).update(**kept)
    (again,) = shown(address, days=3)
    assert (again.is_cancelled, again.sequence) == (False, 2)
    Revisit.objects.all().delete()
    assert [each.sequence for each in shown(address, days=4)] == [3]
    assert shown(address, days=35) == []
    assert not CalendarEntry.objects.exists()


def test_each_address_remembers_for_itself(revisit: Revisit, client_of_ours: Client, manager: User) -> None:
    first, _one = of_client(client_of_ours, manager)
    shown(first)
    revisit.delete()
    second, _other = of_client(client_of_ours, manager)
    assert shown(second, days=1) == []
    assert [each.is_cancelled for each in shown(first, days=1)] == [True]
