"""One attendance for several appliances: no fewer would do, nobody is seen too early or late; and who can't go."""

import uuid
from datetime import date, timedelta
from itertools import combinations
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.due.revisits import served_together, standing_notice, technician_doubts
from fleet.models import Appliance, Client, OccupierNotice, Person, Revisit, User
from tests import cast
from tests.cast import NOON

TODAY = date(2026, 3, 2)
DAYS = st.integers(-6, 14).map(lambda n: TODAY + timedelta(days=n))


@st.composite
def proposals(draw: st.DrawFn) -> Revisit:
    earliest, latest = sorted((draw(DAYS), draw(DAYS)))
    day = draw(st.none() | DAYS)
    return Revisit(id=uuid.UUID(int=draw(st.integers(1, 10**6))), earliest=earliest, latest=latest, day=day)


def window(revisit: Revisit) -> tuple[date, date]:
    """As somebody would read it off a calendar: what is over is for today."""
    first, last = (revisit.day, revisit.day) if revisit.day else (revisit.earliest, revisit.latest)
    return max(first, TODAY), max(last, TODAY)


def fewest(revisits: list[Revisit]) -> int:
    """By trying all choices of days."""
    windows = [window(each) for each in revisits]
    days = sorted({end for each in windows for end in each})
    for count in range(len(windows) + 1):
        for chosen in combinations(days, count):
            if all(any(first <= day <= last for day in chosen) for first, last in windows):
                return count
    raise AssertionError("each window holds its own end")


@given(st.lists(proposals(), max_size=5, unique_by=lambda each: each.id))
def test_no_fewer_attendances_would_serve_them_and_each_is_served_once(revisits: list[Revisit]) -> None:
    groups = served_together(revisits, TODAY)
    assert len(groups) == fewest(revisits)
    assert sorted(str(each.id) for group in groups for each in group.revisits) == sorted(
        str(each.id) for each in revisits
    )
    assert [group.ends for group in groups] == sorted(group.ends for group in groups)
    for group in groups:
        assert TODAY <= group.begins <= group.ends
        for each in group.revisits:
            first, last = window(each)
            assert first <= group.begins and group.ends <= last


@given(st.lists(proposals(), max_size=5, unique_by=lambda each: each.id), st.randoms())
def test_the_order_in_which_they_come_changes_nothing(revisits: list[Revisit], chance: object) -> None:
    shuffled = list(revisits)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]  # a Random of hypothesis
    assert served_together(shuffled, TODAY) == served_together(revisits, TODAY)


def named(person: Person, appliance: Appliance, day: date | None = TODAY) -> Revisit:
    return Revisit(appliance=appliance, technician=person, day=day)


def codes(revisit: Revisit) -> list[str]:
    return [code for code, _figures in technician_doubts(revisit)]


def test_a_qualified_technician_who_sees_the_client_is_not_doubted(
    boiler: Appliance, person: Person, technician: User
) -> None:
    assert codes(named(person, boiler)) == []
    assert codes(named(person, boiler, None)) == [] == codes(Revisit(appliance=boiler, day=TODAY))


def test_a_qualification_is_held_against_the_day_and_not_against_today(boiler: Appliance, person: Person) -> None:
    """It runs from 2015 to the end of 2030."""
    for day, doubted in ((date(2030, 12, 31), []), (date(2031, 1, 1), ["not_qualified"])):
        assert codes(named(person, boiler, day)) == doubted


def test_each_doubt_is_said(boiler: Appliance, person: Person, technician: User, client_of_ours: Client) -> None:
    person.role = "dispatcher"
    technician.sees_all_clients = False
    assert codes(named(person, boiler, date(2031, 1, 1))) == ["no_technician", "not_qualified", "not_in_calendar"]
    technician.clients.add(client_of_ours)
    assert codes(named(person, boiler)) == ["no_technician"]
    technician.is_active, person.role = False, "technician"
    assert codes(named(person, boiler)) == ["not_in_calendar"]


def test_somebody_without_a_log_in_has_no_calendar_to_miss_it_in(boiler: Appliance, manager: User) -> None:
    assert codes(named(cast.make_person("Cy Cooper", None, manager), boiler)) == []


@pytest.mark.parametrize(("day", "stands"), [(TODAY, True), (TODAY - timedelta(days=1), False)])
def test_the_newest_notice_stands_until_its_day_is_over(
    boiler: Appliance, manager: User, day: date, stands: bool
) -> None:
    said = {"appliance": boiler, "kind": "told", "given_on": TODAY, "how": "letter", "by": manager, "notice_days": 7}
    for told, minutes in ((TODAY + timedelta(days=20), 0), (day, 1)):
        OccupierNotice.objects.create(day=told, recorded_at=NOON + timedelta(minutes=minutes), **said)
    notice = standing_notice(SimpleNamespace(appliance=boiler, appliance_id=boiler.id), TODAY)  # type: ignore[arg-type]  # its place alone
    assert (notice.day if notice else None) == (day if stands else None)
