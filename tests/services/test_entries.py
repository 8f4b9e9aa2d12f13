"""Entries that decide who is tested, by which rules and whose it is: each change of theirs is a record."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.assess.entries import ENTRIES
from fleet.assess.projections import check
from fleet.errors import Conflict, FleetError
from fleet.models import Analyser, Appliance, Person, Record, User
from fleet.models.records import content_of
from fleet.queries.records import entry_changes
from fleet.services.appliances import change_appliance, take_on_appliance
from fleet.services.register import add_kept, change_kept
from fleet.services.replacements import replace_appliance
from tests.cast import NOON, store, visit_body
from tests.intake.refused import said_of
from tests.models.rows import DAY

pytestmark = pytest.mark.django_db


def kept(entry: Any) -> list[dict[str, Any]]:
    return [content_of(each) for each in Record.objects.filter(subject=entry.id, kind__in=ENTRIES)]


def taken_on(boiler: Appliance, manager: User, **more: Any) -> Appliance:
    values = {"building": boiler.building, "name": "Boiler 2", "in_service_from": date(2020, 1, 1)}
    return take_on_appliance(values=values | more, actor=manager, now=NOON)


def test_what_is_taken_on_and_changed_is_a_chain_of_records(boiler: Appliance, manager: User) -> None:
    made = taken_on(boiler, manager)
    gone = change_appliance(appliance=made, version=1, changes={"in_service_to": DAY}, actor=manager, now=NOON)
    change_appliance(appliance=gone, version=2, changes={"facts": {"größe": 1.5}}, actor=manager, now=NOON)
    first, second, third = kept(made)
    assert (first["was"], first["is"]["in_service_from"], first["is"]["in_service_to"]) == ({}, "2020-01-01", None)
    assert (second["was"], second["is"]["in_service_to"]) == (first["is"], DAY.isoformat())
    assert (third["was"], third["is"]["facts"]) == (second["is"], [["größe", "1.5"]])
    amended = Record.objects.filter(subject=made.id).order_by("id").values_list("amends", "actor")
    ids = list(Record.objects.filter(subject=made.id).order_by("id").values_list("id", flat=True))
    assert list(amended) == [(None, manager.id), (ids[0], manager.id), (ids[1], manager.id)]


def test_what_decides_nothing_is_no_record(boiler: Appliance, manager: User) -> None:
    change_appliance(appliance=boiler, version=1, changes={"room": "attic"}, actor=manager, now=NOON)
    assert kept(boiler) == []


def test_an_entry_that_is_older_than_its_records_says_what_it_was(boiler: Appliance, manager: User) -> None:
    change_appliance(appliance=boiler, version=1, changes={"serial": "X-9"}, actor=manager, now=NOON)
    (only,) = kept(boiler)
    assert {name for name in only["is"] if only["is"][name] != only["was"][name]} == {"serial"}


def test_a_change_that_comes_second_leaves_no_record(boiler: Appliance, manager: User) -> None:
    with pytest.raises(Conflict):
        change_appliance(appliance=boiler, version=7, changes={"serial": "X-9"}, actor=manager, now=NOON)
    assert kept(boiler) == []


def test_what_is_changed_behind_the_records_is_noticed(boiler: Appliance, manager: User) -> None:
    made = taken_on(boiler, manager)
    assert list(check()) == []
    Appliance.objects.filter(id=made.id).update(in_service_to=date(2024, 5, 1))
    (found,) = check()
    assert (found.row_id, found.what) == (made.id, "in_service_to is '2024-05-01', recorded None")


def test_accuracy_of_an_analyser_is_kept_as_it_was(manager: User) -> None:
    values = {"name": "A", "measures": ["o2"], "co2": "calculated", "accuracy": {"o2": {"absolute": 0.3}}}
    made = add_kept(model=Analyser, values=values, actor=manager, now=NOON)
    changes = {"accuracy": {"o2": {"absolute": 0.1}}}
    change_kept(entry=made, version=1, changes=changes, actor=manager, now=NOON)
    newest = entry_changes(manager, made)[0]
    assert (newest.was["accuracy"], newest.stands["accuracy"]) == (
        {"o2": {"absolute": "0.3"}},
        {"o2": {"absolute": "0.1"}},
    )


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"in_service_to": DAY - timedelta(days=1)}, "in_service_to"),
        ({"in_service_from": DAY + timedelta(days=1)}, "in_service_from"),
    ],
)
def test_no_day_on_which_it_was_tested_is_taken_out_of_service(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
    manager: User,
    changes: dict[str, Any],
    field: str,
) -> None:
    store(visit_body(boiler, person, analyser), technician)
    with pytest.raises(FleetError) as refused:
        change_appliance(appliance=boiler, version=1, changes=changes, actor=manager, now=NOON)
    assert said_of(refused.value)[field].startswith(f"it was tested on {DAY}")
    assert kept(boiler) == []


def test_the_day_of_the_last_test_itself_may_end_its_service(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(boiler, person, analyser), technician)
    changes = {"in_service_to": DAY}
    assert change_appliance(appliance=boiler, version=1, changes=changes, actor=manager, now=NOON).in_service_to == DAY


def test_nothing_that_was_tested_since_was_replaced_before(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(boiler, person, analyser), technician)
    about = {"old": boiler, "version": 1, "day": DAY - timedelta(days=1), "values": {"name": "New"}}
    with pytest.raises(FleetError) as refused:
        replace_appliance(**about, assignments=[], kept_required_checks=[], actor=manager, now=NOON)
    assert said_of(refused.value)["day"].startswith("it was tested on")
