"""Sheets and limit sets: who has them, where they apply on a day, and which of them a file names."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.errors import NotFound
from fleet.models import (
    Appliance,
    Building,
    LimitSet,
    LimitSetAssignment,
    LimitSetVersion,
    ModelSheet,
    Record,
    SheetVersion,
)
from fleet.models.drafts import id_of_file
from fleet.models.register import new_id
from fleet.queries.sheets import (
    limit_set_for,
    limit_sets_at_a_glance,
    sheet_for,
    sheets_at_a_glance,
    standing_limit_set,
    standing_sheet,
)
from tests.models.rows import DAY, made
from tests.queries.world import YESTERDAY, World

pytestmark = pytest.mark.django_db
TOMORROW = DAY + timedelta(days=1)


@pytest.fixture
def sheet(world: World) -> ModelSheet:
    assert world.ours.appliance.sheet is not None
    return world.ours.appliance.sheet  # type: ignore[no-any-return]  # of a namespace


@pytest.fixture
def limit_set(world: World) -> LimitSet:
    made_up = made(LimitSet, key="zz-ours")
    made(LimitSetVersion, limit_set=made_up, number=1)
    return made_up


# ---- sheets ----


@pytest.mark.parametrize(("sees", "count"), [("ours", 1), ("all", 3), ("none", None)])
def test_a_sheet_is_read_by_all_and_its_appliances_are_those_that_one_may_see(
    world: World, sheet: ModelSheet, sees: str, count: int | None
) -> None:
    viewer = world.who("technician", sees)
    assert sheets_at_a_glance(viewer, DAY).get(id=sheet.id).appliance_count == count
    facts = sheet_for(viewer, sheet.id, DAY)
    assert len(facts.appliances) == (count or 0)
    assert facts.current == sheet.current


def test_appliances_that_have_left_no_longer_count_and_stand_in_the_order_of_their_places(
    world: World, sheet: ModelSheet
) -> None:
    second = made(Appliance, building=world.ours.building, sheet=sheet, name="A boiler")
    made(Appliance, building=world.ours.building, sheet=sheet, in_service_from=YESTERDAY, in_service_to=YESTERDAY)
    facts = sheet_for(world.who("auditor", "all"), sheet.id, DAY)
    # Alder House, Quarry House, Weir House.
    order = [world.theirs.appliance, world.others.appliance, second, world.ours.appliance]
    assert list(facts.appliances) == order


def test_versions_stand_newest_first_with_who_made_them_and_without_what_the_record_holds(
    world: World, sheet: ModelSheet
) -> None:
    for number in (2, 10):
        made(SheetVersion, sheet=sheet, number=number)
    facts = sheet_for(world.who("auditor"), sheet.id, DAY)
    with CaptureQueriesContext(connection) as asked:
        assert [each.number for each in facts.versions] == [10, 2, 1]
        assert all(each.record.actor.username for each in facts.versions)
        assert all(each.record.get_deferred_fields() == {"content"} for each in facts.versions)
    assert len(asked) == 0
    assert facts.current == facts.versions[0]


def test_a_sheet_or_set_that_is_none_is_not_found(world: World) -> None:
    for ask in (sheet_for, limit_set_for):
        with pytest.raises(NotFound):
            ask(world.who("manager", "all"), new_id(), DAY)


def test_who_has_left_finds_no_sheet_and_no_set(world: World, sheet: ModelSheet, limit_set: LimitSet) -> None:
    gone = world.who("manager", "gone")
    assert not sheets_at_a_glance(gone, DAY).exists()
    assert limit_sets_at_a_glance(gone, DAY) == []
    with pytest.raises(NotFound):
        limit_set_for(gone, limit_set.id, DAY)


# ---- limit sets ----


@pytest.mark.parametrize(("place", "count"), [("client", 3), ("building", 2), ("appliance", 1)])
def test_a_set_counts_each_appliance_under_it_once(world: World, limit_set: LimitSet, place: str, count: int) -> None:
    """Three appliances of the client, two of them in the first building."""
    made(Appliance, building=world.ours.building)
    made(Appliance, building=made(Building, client=world.ours.client))
    made(LimitSetAssignment, limit_set=limit_set, since=YESTERDAY, **{place: getattr(world.ours, place)})
    viewer = world.who("manager")
    assert limit_set_for(viewer, limit_set.id, DAY).appliance_count == count
    # The same appliance, reached a second way.
    made(LimitSetAssignment, limit_set=limit_set, since=YESTERDAY, appliance=world.ours.appliance)
    assert limit_set_for(viewer, limit_set.id, DAY).appliance_count == count
    assert len(limit_set_for(viewer, limit_set.id, DAY).assignments) == 2


@pytest.mark.parametrize(
    ("since", "until", "applies"),
    [(DAY, None, True), (TOMORROW, None, False), (YESTERDAY, DAY, True), (YESTERDAY, YESTERDAY, False)],
)
def test_an_assignment_applies_from_its_first_day_to_its_last(
    world: World, limit_set: LimitSet, since: Any, until: Any, applies: bool
) -> None:
    made(LimitSetAssignment, limit_set=limit_set, client=world.ours.client, since=since, until=until)
    facts = limit_set_for(world.who("manager"), limit_set.id, DAY)
    assert (len(facts.assignments), facts.appliance_count) == ((1, 1) if applies else (0, 0))


def test_where_a_set_applies_elsewhere_is_not_told(world: World, limit_set: LimitSet) -> None:
    made(LimitSetAssignment, limit_set=limit_set, client=world.theirs.client, since=YESTERDAY)
    facts = limit_set_for(world.who("manager"), limit_set.id, DAY)
    assert (facts.assignments, facts.appliance_count) == ((), 0)
    assert limit_set_for(world.who("manager", "all"), limit_set.id, DAY).appliance_count == 1


def test_what_applies_somewhere_stands_first_each_by_its_key(world: World, limit_set: LimitSet) -> None:
    made(LimitSetAssignment, limit_set=limit_set, client=world.ours.client, since=YESTERDAY)
    keys = [each.limit_set.key for each in limit_sets_at_a_glance(world.who("auditor"), DAY)]
    applying = [each.limit_set.key for each in limit_sets_at_a_glance(world.who("auditor"), DAY) if each.assignments]
    assert keys[: len(applying)] == applying == sorted(applying)
    assert "zz-ours" in applying
    assert keys[len(applying) :] == sorted(keys[len(applying) :])


def test_more_sets_and_places_take_no_more_statements(world: World, limit_set: LimitSet) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as asked:
            for each in limit_sets_at_a_glance(world.who("auditor"), DAY):
                assert all(one.decided_by.username for one in each.assignments)
                assert all(one.record.actor.username for one in each.versions)
        return len(asked)

    few = statements()
    for number in range(4):
        further = made(LimitSet, key=f"further-{number}")
        made(LimitSetVersion, limit_set=further)
        made(LimitSetAssignment, limit_set=further, client=world.ours.client, since=YESTERDAY)
    assert statements() == few


# ---- what stands here of a file ----

CONTENT = {"fuel": "natural_gas", "rates": ["high"]}


def named(name: str, content: Any = CONTENT, **values: Any) -> ModelSheet:
    sheet = made(ModelSheet, name=name, **values)
    made(SheetVersion, sheet=sheet, number=1, content=content)
    return sheet


def test_a_file_is_known_by_its_reference_before_its_name(world: World) -> None:
    viewer = world.who("manager")
    by_reference, by_name = named("Renamed", external_reference="R-1"), named("Burner A")
    found = standing_sheet(viewer, {"name": "Burner A", "external_reference": "R-1", "content": CONTENT})
    assert (found.entry, found.number, found.is_known) == (by_reference, 1, True)
    found = standing_sheet(viewer, {"name": "Burner A", "content": CONTENT})
    assert found.entry == by_name


def test_what_was_made_of_a_file_is_found_again_whatever_it_is_called_by_now(world: World) -> None:
    file = {"name": "Burner A", "content": CONTENT}
    before = named("Burner A")
    imported = named("Burner A, ours", id=id_of_file(file))
    assert standing_sheet(world.who("manager"), file).entry == imported != before


def test_the_newest_version_that_says_the_same_is_named_and_another_content_is_new(world: World) -> None:
    sheet = named("Burner A")
    for number, rates in ((2, ["high", "low"]), (3, ["high"])):
        made(SheetVersion, sheet=sheet, number=number, content=CONTENT | {"rates": rates})

    def standing(**content: Any) -> tuple[Any, Any, bool]:
        found = standing_sheet(world.who("manager"), {"name": "Burner A", "content": CONTENT | content})
        return found.entry, found.number, found.is_known

    assert standing() == (sheet, 3, True)
    assert standing(rates=["high", "low"]) == (sheet, 2, True)
    assert standing(rates=["low"]) == (sheet, None, False)


def test_of_two_of_one_name_the_one_that_says_the_same_is_meant(world: World) -> None:
    named("Burner A", content={"fuel": "propane"})
    second = named("Burner A")
    assert standing_sheet(world.who("manager"), {"name": "Burner A", "content": CONTENT}).entry == second


def test_a_file_of_something_unheard_of_names_nothing(world: World) -> None:
    found = standing_sheet(world.who("manager"), {"name": "Unheard of", "content": CONTENT})
    assert (found.entry, found.number, found.is_known) == (None, None, False)
    assert standing_limit_set(world.who("manager"), {"key": "none-such", "content": {}}).entry is None


def test_a_set_is_known_by_its_key_alone(world: World, limit_set: LimitSet) -> None:
    made(LimitSetVersion, limit_set=limit_set, number=2, content={"name": "A"}, record=made(Record))
    found = standing_limit_set(world.who("manager"), {"key": "zz-ours", "content": {"name": "A"}})
    assert (found.entry, found.number) == (limit_set, 2)
    found = standing_limit_set(world.who("manager"), {"key": "zz-ours", "content": {"name": "B"}})
    assert (found.entry, found.number) == (limit_set, None)
