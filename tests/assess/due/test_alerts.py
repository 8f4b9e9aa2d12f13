"""Who is told of an unsafe appliance, in which order, how often again, and who was told."""

from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.due.alerts import (
    AGAIN_AFTER,
    LONGEST_GAP,
    Step,
    alert_settings_of,
    alerted_about,
    is_answered,
    ladder_of,
    may_be_alerted,
    present_round,
    round_begins,
    summary_readers,
    unalerted_flags,
)
from fleet.models import Alert, AlertSettings, Appliance, Client, Flag, OnCall, Role, User
from tests import cast
from tests.cast import NOON

MINUTE = timedelta(minutes=1)


def reached(name: str, role: str, *clients: Client, email: str | None = None, active: bool = True) -> User:
    user = cast.make_user(name, role, sees_all_clients=not clients)
    user.email, user.is_active = f"{name}@heating.example" if email is None else email, active
    user.save()
    user.clients.set(clients)
    return user


@pytest.fixture
def flag(boiler: Appliance) -> Flag:
    return Flag.objects.create(appliance=boiler, kind=Flag.Kind.UNSAFE, key="unsafe", opened_at=NOON, updated_at=NOON)


def told(steps: list[Step]) -> list[tuple[str, int]]:
    return [(each.user.username, each.after // MINUTE) for each in steps]


# ---- who, in which order ----


def test_without_a_list_the_office_is_told_at_once_and_nobody_else(flag: Flag) -> None:
    for name, role in (("boss", Role.MANAGER), ("desk", Role.DISPATCHER), ("hand", Role.TECHNICIAN)):
        reached(name, role)
    reached("looks", Role.AUDITOR)
    assert told(ladder_of(flag)) == [("boss", 0), ("desk", 0)]


def test_the_list_goes_by_its_minutes_the_soonest_at_once_and_then_the_managers_beside_it(flag: Flag) -> None:
    first, second = reached("first", Role.TECHNICIAN), reached("second", Role.DISPATCHER)
    reached("boss", Role.MANAGER)
    on_it = reached("other boss", Role.MANAGER)
    for user, minutes in ((second, 30), (first, 10), (on_it, 45)):
        OnCall.objects.create(user=user, after_minutes=minutes)
    # From the soonest's ten minutes on; a quarter of an hour after the last the manager who is not on the list.
    assert told(ladder_of(flag)) == [("first", 0), ("second", 20), ("other boss", 35), ("boss", 50)]


def test_who_has_no_address_is_gone_or_may_not_see_the_client_is_left_out(flag: Flag, client_of_ours: Client) -> None:
    other = Client.objects.create(name="Mill Trust")
    ours = reached("ours", Role.DISPATCHER, client_of_ours)
    for each in (
        reached("silent", Role.MANAGER, email=""),
        reached("gone", Role.MANAGER, active=False),
        reached("theirs", Role.MANAGER, other),
    ):
        assert not may_be_alerted(each, flag)
        OnCall.objects.create(user=each, after_minutes=0)
    assert told(ladder_of(flag)) == [("ours", 0)]
    assert may_be_alerted(ours, flag)
    # Two clients of which one is this one: told once.
    ours.clients.add(other)
    assert told(ladder_of(flag)) == [("ours", 0)]


# ---- when again ----


STEPS = st.lists(st.integers(0, 240), max_size=4).map(
    lambda minutes: [Step(User(), timedelta(minutes=each)) for each in sorted(minutes)]
)


@given(STEPS)
def test_rounds_follow_after_growing_gaps_of_four_hours_at_most(steps: list[Step]) -> None:
    begun = [round_begins(steps, NOON, number) for number in range(40)]
    gaps = [later - earlier for earlier, later in pairwise(begun)]
    runs = max((each.after for each in steps), default=timedelta())
    assert (begun[0], gaps[0]) == (NOON, runs + AGAIN_AFTER)
    assert gaps[1:6] == [timedelta(minutes=each) for each in (30, 60, 120, 240, 240)]
    assert set(gaps[5:]) == {LONGEST_GAP}


def test_a_flag_that_nobody_answers_for_years_is_still_told(flag: Flag) -> None:
    """A power of the number of rounds would have left the calendar."""
    assert round_begins([], NOON, 6_000) - NOON > timedelta(days=900)


@pytest.mark.parametrize(("minutes", "number"), [(0, 0), (14, 0), (15, 1), (44, 1), (45, 2), (104, 2), (105, 3)])
def test_the_present_round_is_the_last_that_has_begun(flag: Flag, minutes: int, number: int) -> None:
    """15, then 30, then 60 minutes after one another, with nobody but one to tell."""
    reached("boss", Role.MANAGER)
    assert present_round(flag, NOON + minutes * MINUTE) == number


# ---- who answers, who was told ----


@pytest.mark.parametrize(
    ("changes", "answered"),
    [
        ({}, False),
        ({"acknowledged_at": NOON}, True),
        ({"acknowledged_at": NOON - MINUTE}, False),
        ({"acknowledged_at": NOON + MINUTE}, True),
        ({"closed_at": NOON}, True),
        ({"closed_at": NOON, "acknowledged_at": NOON - MINUTE}, True),
    ],
)
def test_an_answer_holds_until_the_finding_changes(changes: dict[str, datetime], answered: bool) -> None:
    assert is_answered(Flag(opened_at=NOON, updated_at=NOON, **changes)) is answered


def alert(flag: Flag, user: User, **values: Any) -> Alert:
    row = {"alerted_from": NOON, "round": Alert.objects.count(), "due_at": NOON} | values
    return Alert.objects.create(flag=flag, user=user, **row)


def test_flags_that_nobody_was_told_of_are_those_without_a_planned_alert(flag: Flag, boiler: Appliance) -> None:
    boss = reached("boss", Role.MANAGER)
    Flag.objects.create(appliance=boiler, kind=Flag.Kind.OUTSIDE, key="o2", opened_at=NOON, updated_at=NOON)
    stop = Flag.objects.create(appliance=boiler, kind=Flag.Kind.STOP, key="co", opened_at=NOON, updated_at=NOON)
    assert set(unalerted_flags()) == {flag, stop}
    alert(flag, boss, not_needed="somebody answers for it")
    alert(stop, boss, sent_at=NOON)
    assert set(unalerted_flags()) == {flag, stop}
    alert(flag, boss)
    assert set(unalerted_flags()) == {stop}
    Flag.objects.filter(id=stop.id).update(acknowledged_at=NOON)
    assert set(unalerted_flags()) == set()


def test_who_was_told_who_is_next_and_who_could_not_be_reached(flag: Flag) -> None:
    boss, desk = reached("boss", Role.MANAGER), reached("desk", Role.DISPATCHER)
    late = alert(flag, boss, sent_at=NOON + 2 * MINUTE)
    soon = alert(flag, desk, sent_at=NOON + MINUTE, tries=2)
    failing = alert(flag, boss, tries=3)
    following = alert(flag, desk, due_at=NOON + 30 * MINUTE)
    alert(flag, desk, not_needed="the flag was closed")
    about = alerted_about([flag])[flag.id]
    assert (about.told, about.failing, about.following, about.nobody) == ((soon, late), (failing,), (following,), False)
    flag.acknowledged_at = NOON
    about = alerted_about([flag])[flag.id]
    assert (about.told, about.failing, about.following) == ((soon, late), (), ())


def test_that_there_is_nobody_to_tell_is_said_while_it_is_so(flag: Flag, client_of_ours: Client) -> None:
    other = Client.objects.create(name="Mill Trust")
    assert alerted_about([flag])[flag.id].nobody
    reached("theirs", Role.MANAGER, other)
    reached("silent", Role.MANAGER, email="")
    reached("hand", Role.TECHNICIAN, client_of_ours)
    assert alerted_about([flag])[flag.id].nobody
    OnCall.objects.create(user=User.objects.get(username="hand"), after_minutes=0)
    assert not alerted_about([flag])[flag.id].nobody
    assert alerted_about([]) == {}


def test_a_finding_that_is_not_told_one_by_one_has_no_telling(flag: Flag) -> None:
    flag.kind = Flag.Kind.OUTSIDE
    assert alerted_about([flag]) == {}


def test_the_daily_summary_goes_to_the_office_unless_somebody_wants_none(installation: User) -> None:
    boss, desk, none = (
        reached(name, role) for name, role in (("boss", "manager"), ("desk", "dispatcher"), ("no", "manager"))
    )
    reached("hand", Role.TECHNICIAN)
    reached("silent", Role.MANAGER, email="")
    reached("gone", Role.DISPATCHER, active=False)
    AlertSettings.objects.create(user=none, daily_summary=False)
    AlertSettings.objects.create(user=desk, hour=9)
    assert list(summary_readers()) == [boss, desk]
    assert (alert_settings_of(desk).hour, alert_settings_of(boss)._state.adding) == (9, True)
