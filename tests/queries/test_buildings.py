"""Buildings at a glance and whole, an appliance's history, visits in a list."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import (
    Appliance,
    Building,
    Defect,
    Flag,
    Judgement,
    NoAccess,
    Reading,
    Record,
    RequiredCheck,
    Revisit,
    Visit,
)
from fleet.queries.buildings import building_for, buildings_at_a_glance
from fleet.queries.histories import history_for
from fleet.queries.visits import visit_for, visits_at_a_glance
from tests.cast import store
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import YESTERDAY, World

pytestmark = pytest.mark.django_db
JUDGED: dict[str, Any] = {"card": {}, "derived": [], "verdicts": {"verdicts": []}}


def visited(appliance: Appliance, day: date, **values: Any) -> Visit:
    record = made(Record, kind="visit")
    visit = made(Visit, appliance=appliance, id=record.subject, record=record, local_date=day, **values)
    made(Judgement, visit=visit, **JUDGED)
    return visit


# ---- at a glance ----


def test_appliances_flags_and_revisits_are_counted_without_multiplying_each_other(world: World) -> None:
    building = world.ours.building
    second = made(Appliance, building=building)
    for key in ("a", "b", "c"):
        made(Flag, appliance=second, key=key)
    made(Flag, appliance=second, key="d", closed_at=MOMENT)
    made(Revisit, appliance=second, earliest=YESTERDAY, latest=DAY)
    (row,) = buildings_at_a_glance(world.who("auditor"), DAY)
    # Two appliances; three open flags of the second and the one of the first.
    assert (row.appliance_count, row.flag_count, row.next_revisit) == (2, 4, DAY)


def test_a_bare_building_has_no_count_and_no_day(world: World) -> None:
    bare = made(Building, client=world.ours.client)
    row = buildings_at_a_glance(world.who("auditor"), DAY).get(id=bare.id)
    assert (row.appliance_count, row.flag_count, row.next_revisit) == (None, None, None)


@pytest.mark.parametrize(("date_set_by", "is_late"), [("required_check", True), ("defect", True), ("drift", False)])
def test_nobody_is_late_by_a_forecast(world: World, date_set_by: str, is_late: bool) -> None:
    second, days = made(Appliance, building=world.ours.building), {"earliest": YESTERDAY, "latest": YESTERDAY}
    revisit = made(Revisit, appliance=second, date_set_by=date_set_by, **days)
    Revisit.objects.exclude(id=revisit.id).delete()
    (row,) = buildings_at_a_glance(world.who("auditor"), DAY)
    assert (row.is_late, revisit.is_late(DAY)) == (is_late, is_late)


def test_what_has_left_is_not_counted_from_the_day_after(world: World) -> None:
    Appliance.objects.filter(id=world.ours.appliance.id).update(in_service_to=DAY)
    counts = [buildings_at_a_glance(world.who("auditor"), day).get().appliance_count for day in (DAY, date.max)]
    assert counts == [1, None]


# ---- one building ----


def test_each_appliance_stands_with_its_newest_visit_its_gravest_flag_first_and_its_revisit(world: World) -> None:
    appliance = world.ours.appliance
    older, newer = visited(appliance, DAY - timedelta(days=9)), visited(appliance, DAY)
    for kind in ("may_be_outside", "stop_level", "unsafe"):
        made(Flag, appliance=appliance, kind=kind)
    made(Flag, appliance=appliance, kind="unsafe", key="closed", closed_at=MOMENT)
    bare = made(Appliance, building=world.ours.building, name="Another boiler")
    facts = building_for(world.who("technician"), world.ours.building.id)
    assert [each.appliance for each in facts.appliances] == [bare, appliance]
    untouched, state = facts.appliances
    assert (untouched.last, untouched.flags, untouched.revisit) == (None, (), None)
    assert state.last == newer != older
    assert [each.kind for each in state.flags] == ["unsafe", "stop_level", "outside_a_limit", "may_be_outside"]
    assert state.revisit == world.ours.revisit
    assert facts.flue_groups == (world.ours.flue_group,)


def test_of_two_visits_on_one_day_the_later_one_is_the_newest(world: World) -> None:
    first, second = visited(world.ours.appliance, DAY), visited(world.ours.appliance, DAY)
    (state,) = building_for(world.who("technician"), world.ours.building.id).appliances
    assert state.last == max(first, second, key=lambda each: each.id)


def test_a_building_takes_as_many_statements_for_many_appliances_as_for_few(world: World) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as made_of:
            for each in building_for(world.who("technician"), world.ours.building.id).appliances:
                assert (each.last and each.last.judgement.outcome, each.appliance.sheet) != ()
        return len(made_of)

    few = statements()
    for _number in range(4):
        more = made(Appliance, building=world.ours.building, sheet=world.ours.appliance.sheet)
        visited(more, DAY)
        made(Flag, appliance=more)
        made(Revisit, appliance=more)
    assert statements() == few


# ---- one appliance's history ----


def test_a_history_has_all_that_stands_of_the_appliance_and_nothing_of_its_neighbour(world: World) -> None:
    appliance, viewer = world.ours.appliance, world.who("auditor")
    older = visited(appliance, DAY - timedelta(days=400))
    neighbour = made(Appliance, building=world.ours.building)
    for other in (appliance, neighbour):
        made(Flag, appliance=other, key="closed", closed_at=MOMENT)
        made(Defect, appliance=other, visit=world.ours.visit, done=True)
        made(RequiredCheck, appliance=other, until=YESTERDAY)
    visited(neighbour, DAY)
    made(NoAccess, appliance=neighbour)
    correction = made(Record, kind="visit", subject=world.ours.visit.id, amends=world.ours.record)
    history = history_for(viewer, appliance.id)
    assert history.visits == (world.ours.visit, older)
    assert history.flags == (world.ours.flag,)
    assert history.defects == (world.ours.defect,)
    assert history.required_checks == (world.ours.required_check,)
    assert history.attempts == (world.ours.no_access,)
    assert [each for each, _words in history.tried] == [world.ours.no_access]
    assert history.revisit == world.ours.revisit
    assert history.forecasts == history.gases == (world.ours.forecast,)
    assert history.records == (correction, older.record, world.ours.record)
    # No visit of it has a reading.
    assert history.last is None


def test_a_forecast_towards_a_ceiling_alone_is_no_gas(world: World) -> None:
    type(world.ours.forecast).objects.filter(id=world.ours.forecast.id).update(lower=None)
    history = history_for(world.who("auditor"), world.ours.appliance.id)
    assert (history.forecasts, history.gases) == ((world.ours.forecast,), ())


def test_the_last_visit_is_the_newest_with_readings(body: dict[str, Any], technician: Any, boiler: Appliance) -> None:
    read = store(body, technician)
    visited(boiler, read.local_date + timedelta(days=9), outcome="not_tested")
    history = history_for(technician, boiler.id)
    assert len(history.visits) == 2
    assert history.last is not None
    assert history.last.visit == read
    assert history.sheet == boiler.sheet.current  # type: ignore[union-attr]  # the cast's has one


def test_an_appliance_that_nothing_happened_to_has_an_empty_history(world: World) -> None:
    history = history_for(world.who("auditor"), made(Appliance, building=world.ours.building).id)
    assert (history.sheet, history.last, history.revisit) == (None, None, None)
    empty = (history.visits, history.flags, history.required_checks, history.defects, history.attempts)
    assert {*empty, history.records, history.forecasts} == {()}


# ---- visits ----


def test_visits_for_a_list_are_those_that_one_may_see_without_what_is_long(world: World) -> None:
    ids = [each.visit.id for each in world.places]
    seen = visits_at_a_glance(world.who("technician"), ids)
    assert seen == {world.ours.visit.id: world.ours.visit}
    assert len(visits_at_a_glance(world.who("technician", "all"), ids)) == 3
    assert visits_at_a_glance(world.who("technician", "all"), []) == {}
    with CaptureQueriesContext(connection) as made_of:
        judgement = seen[world.ours.visit.id].judgement
        assert judgement.get_deferred_fields() == {"card", "derived"}
    assert len(made_of) == 0


def test_one_visit_is_read_whole_whatever_it_has_of_readings(
    body: dict[str, Any], technician: Any, auditor: Any, boiler: Appliance
) -> None:
    visit = store(body, technician)
    facts = visit_for(auditor, visit.id)
    assert facts.visit == visit
    assert [each.reading.number for each in facts.readings] == [1, 2, 3, 4]
    with CaptureQueriesContext(connection) as whole:
        visit_for(auditor, visit.id)
    Reading.objects.filter(visit=visit, number__gt=1).delete()
    with CaptureQueriesContext(connection) as one:
        visit_for(auditor, visit.id)
    assert len(one) == len(whole)
