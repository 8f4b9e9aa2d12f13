"""What runs out and who goes, on the start page's lists."""

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import (
    Analyser,
    Appliance,
    Calibration,
    Defect,
    Flag,
    Job,
    Person,
    Qualification,
    Revisit,
    UnreadableRecord,
    User,
)
from fleet.models.register import new_id
from fleet.presentation.revisits import who_words
from fleet.queries.attention import Attention, Row, attention_for
from fleet.services.register import add_calibration
from tests.cast import NOON, make_appliance, make_building
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import World

pytestmark = pytest.mark.django_db


def test_an_analyser_that_failed_has_run_out_on_that_day(analyser: Analyser, manager: User) -> None:
    today = NOON.date()
    assert attention_for(manager, today).expiring == ()
    content = {"done_on": "2026-02-10", "valid_to": "2027-02-10", "certificate": "C-2", "by": "a laboratory"}
    add_calibration(analyser=analyser, content=content | {"passed": False}, actor=manager, now=NOON, id=new_id())
    (ended,) = attention_for(manager, today).expiring
    assert (ended.subject, ended.until) == (analyser, date(2026, 2, 10))


def test_who_goes_is_asked_for_all_days_at_once(
    boiler: Appliance, person: Person, manager: User, django_assert_max_num_queries: Any
) -> None:
    def asked() -> list[str]:
        facts = attention_for(manager, NOON.date())
        return [who_words(each.revisit) for each in facts.due if each.revisit]

    day = NOON.date() + timedelta(days=7)
    for number in range(2):
        place = make_building(boiler.building.client, f"House {number}")
        window = {
            "earliest": day,
            "latest": day,
            "date_set_by": "required_check",
            "why": ["flag", {"sentence": "Yearly.", "figures": {}}],
            "made_at": NOON,
        }
        Revisit.objects.create(
            appliance=make_appliance(place, None), state="booked", day=day, technician=person, **window
        )
    with CaptureQueriesContext(connection) as few:
        assert asked() == ["Ada Test goes."] * 2
    for number in range(2, 6):
        place = make_building(boiler.building.client, f"House {number}")
        Revisit.objects.create(
            appliance=make_appliance(place, None), state="booked", day=day, technician=person, **window
        )
    with django_assert_max_num_queries(len(few)):
        assert asked() == ["Ada Test goes."] * 6


# ---- what is listed where, how far, and how many of it ----


@pytest.fixture
def today_at(world: World) -> Callable[..., Attention]:
    def ask(sees: str = "ours", role: str = "dispatcher", **asked: Any) -> Attention:
        return attention_for(world.who(role, sees), DAY, **asked)

    return ask


def changed(row: Any, **values: Any) -> None:
    type(row).objects.filter(pk=row.pk).update(**values)


def more_places(world: World, count: int) -> list[Appliance]:
    return [made(Appliance, building=world.ours.building, name=f"further {number:02d}") for number in range(count)]


def due_on(appliance: Appliance, days: int, **values: Any) -> Revisit:
    day = DAY + timedelta(days=days)
    return made(Revisit, appliance=appliance, earliest=day - timedelta(days=40), latest=day, **values)


def names(rows: Iterable[Row]) -> list[str]:
    return [(row.flag or row.revisit).appliance.name for row in rows]  # type: ignore[union-attr]  # one of both


def test_each_sees_what_needs_attention_of_their_own_clients(world: World, today_at: Callable[..., Attention]) -> None:
    for each in world.places:
        changed(each.flag, kind="unsafe")
    assert [flag.appliance for flag in today_at().unsafe] == [world.ours.appliance]
    assert {flag.appliance for flag in today_at("all").unsafe} == {each.appliance for each in world.places}
    assert today_at("none").is_quiet
    assert (len(today_at("all").late_defects), len(today_at("all").late_deliveries)) == (3, 3)
    assert (len(today_at().late_defects), len(today_at().late_deliveries), len(today_at().questions)) == (1, 1, 1)


def test_one_client_s_choice_narrows_the_lists_and_never_what_is_at_stop_level(
    world: World, today_at: Callable[..., Attention]
) -> None:
    for each in world.places:
        made(Flag, appliance=each.appliance, kind="stop_level", key="co")
    chosen = today_at("all", client_id=world.theirs.client.id)
    assert len(chosen.unsafe) == 3
    assert names(chosen.outside) == ["Alder boiler"]
    assert [each.appliance for each in chosen.unnamed] == [world.theirs.appliance]
    assert chosen.unnamed_count == 1
    assert len(today_at("all").outside) == 3


def test_the_soonest_last_day_comes_first_and_of_one_day_the_most_urgent(
    world: World, today_at: Callable[..., Attention]
) -> None:
    changed(world.ours.flag, closed_at=MOMENT)
    rows = zip(more_places(world, 4), ((3, 0.1), (1, 0.2), (3, 5.4), (None, 0.0)), strict=True)
    for appliance, (days, urgency) in rows:
        made(Flag, appliance=appliance, kind="outside_a_limit", key="x")
        if days is not None:
            due_on(appliance, days, urgency=urgency)
    # Without any day it comes last.
    assert names(today_at().outside) == ["further 01", "further 02", "further 00", "further 03"]


@pytest.mark.parametrize(("days", "listed"), [(-400, True), (0, True), (21, True), (22, False)])
def test_what_falls_due_within_three_weeks_is_listed(
    world: World, today_at: Callable[..., Attention], days: int, listed: bool
) -> None:
    (appliance,) = more_places(world, 1)
    due_on(appliance, days)
    assert ("further 00" in names(today_at().due)) is listed
    assert "further 00" in names(today_at(due_within=timedelta(days=30)).due)


def test_what_has_a_flag_is_listed_by_it_and_not_again_as_due(world: World, today_at: Callable[..., Attention]) -> None:
    assert names(today_at().outside) == ["Weir boiler"]
    assert names(today_at().due) == []
    changed(world.ours.flag, closed_at=MOMENT)
    assert names(today_at().due) == ["Weir boiler"]


def test_a_drift_row_carries_the_forecast_that_it_is_about(world: World, today_at: Callable[..., Attention]) -> None:
    changed(world.ours.flag, kind="may_be_outside", key="high co2")
    (row,) = today_at().drifting
    assert row.forecast == world.ours.forecast
    changed(world.ours.flag, key="low co2")
    assert [each.forecast for each in today_at().drifting] == [None]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"latest": DAY + timedelta(days=6)}, {"needed_earlier"}),
        ({"day": DAY - timedelta(days=1), "latest": DAY, "earliest": DAY}, {"passed"}),
        ({"no_access": 2}, set()),
        ({"no_access": 3}, {"no_access"}),
        ({"extra": "beyond"}, {"beyond"}),
        ({"extra": "within", "extra_week": DAY - timedelta(days=DAY.weekday())}, {"extra_this_week"}),
        ({"extra": "within", "extra_week": DAY + timedelta(days=7 - DAY.weekday())}, set()),
    ],
)
def test_what_is_odd_about_a_visit_that_is_booked(
    world: World, today_at: Callable[..., Attention], values: dict[str, Any], told: set[str]
) -> None:
    """3 attempts without access are evidence of reasonable steps (common practice, no source)."""
    changed(world.ours.revisit, **values)
    facts, told_of = today_at(), ("needed_earlier", "passed", "no_access", "beyond", "extra_this_week")
    assert {each for each in told_of if getattr(facts, each)} == told


def test_a_long_list_is_cut_and_its_whole_length_is_told(world: World, today_at: Callable[..., Attention]) -> None:
    for number, appliance in enumerate(more_places(world, 24)):
        due_on(appliance, 40, state="booked", day=DAY + timedelta(days=number % 7))
        made(Defect, appliance=appliance, visit=world.ours.visit, due=DAY - timedelta(days=number + 2))
    facts = today_at()
    assert (len(facts.unnamed), facts.unnamed_count) == (20, 25)
    assert [each.day for each in facts.unnamed] == sorted(each.day for each in facts.unnamed if each.day)
    assert len(facts.late_defects) == 20
    assert facts.late_defects[0].due == DAY - timedelta(days=25)


@pytest.mark.parametrize(("days", "listed"), [(-1, True), (0, True), (42, True), (43, False)])
def test_papers_that_end_within_six_weeks_are_told(
    world: World, today_at: Callable[..., Attention], days: int, listed: bool
) -> None:
    analyser, person = made(Analyser), made(Person, role="technician")
    until = DAY + timedelta(days=days)
    made(Calibration, analyser=analyser, done_on=DAY - timedelta(days=300), valid_to=until, passed=True)
    made(Qualification, person=person, valid_from=date(2020, 1, 1), valid_to=until)
    told = {each.subject: each.until for each in today_at().expiring}
    assert (told.get(analyser), told.get(person)) == ((until, until) if listed else (None, None))


def test_who_never_had_a_paper_stands_before_whose_ends_and_an_office_person_needs_none(
    world: World, today_at: Callable[..., Attention]
) -> None:
    never, ended = made(Analyser), made(Person, role="technician")
    made(Qualification, person=ended, valid_from=date(2020, 1, 1), valid_to=date(2021, 1, 1))
    at_a_desk = made(Person, role="dispatcher")
    subjects = [each.subject for each in today_at().expiring]
    assert subjects.index(never) < subjects.index(ended)
    assert at_a_desk not in subjects


def test_only_what_stands_for_the_whole_house_is_counted_for_whom_it_concerns(
    world: World, today_at: Callable[..., Attention]
) -> None:
    made(UnreadableRecord)
    made(Job, state="failed")
    counted = {
        (role, sees): (today_at(sees, role).unreadable_records, today_at(sees, role).failed_work)
        for role in ("dispatcher", "manager")
        for sees in ("all", "ours")
    }
    assert counted == {
        ("dispatcher", "all"): (1, 0), ("dispatcher", "ours"): (0, 0), ("manager", "all"): (1, 1),
        ("manager", "ours"): (0, 0),
    }  # fmt: skip
    assert today_at().from_assumptions == 1
    assert today_at("all").from_assumptions == 3


def test_more_rows_take_no_more_statements(world: World, today_at: Callable[..., Attention]) -> None:
    for appliance in more_places(world, 2):
        made(Flag, appliance=appliance, kind="unsafe", key="x")
        due_on(appliance, 3, state="booked", day=DAY)
    with CaptureQueriesContext(connection) as few:
        today_at()
    for appliance in [made(Appliance, building=world.ours.building) for _ in range(5)]:
        made(Flag, appliance=appliance, kind="unsafe", key="x")
        due_on(appliance, 3, state="booked", day=DAY)
        made(Defect, appliance=appliance, visit=world.ours.visit, due=DAY - timedelta(days=1))
    with CaptureQueriesContext(connection) as many:
        today_at()
    assert len(many) == len(few)
