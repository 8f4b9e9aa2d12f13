"""Rows are what the records say: each way in which they can part is found, named, and nothing is changed by looking."""

import hashlib
from typing import Any

import pytest
from django.db import connection

from fleet.assess.entries import ENTRIES
from fleet.assess.projections import PROJECTED, ROWS, Difference, check, in_force
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Calibration, Defect, Reading, Record, StopLevels, User, Visit, WorkItem
from fleet.models.records import SCHEMAS
from fleet.models.register import new_id
from fleet.services.visits import amend_visit
from tests.cast import NOON, store


def found() -> list[tuple[str, str]]:
    return [(each.table, each.what) for each in check()]


@pytest.fixture
def visit(body: dict[str, Any], technician: User) -> Visit:
    return store(body | {"defects": [{"what": "loose label", "severity": "repair"}]}, technician)


def test_every_kind_of_record_has_its_rows_and_every_table_its_kind() -> None:
    assert set(ROWS) == set(SCHEMAS)
    assert len(set(PROJECTED)) == len(PROJECTED) > len(ROWS) - len(ENTRIES)


def test_what_was_just_stored_agrees(visit: Visit) -> None:
    assert found() == []


def test_a_row_that_is_gone_is_missing(visit: Visit) -> None:
    reading = visit.readings.get(number=3)
    Reading.objects.filter(id=reading.id).delete()
    assert list(check()) == [Difference(visit.record_id, "Reading", reading.id, "missing")]


def test_each_changed_column_is_told_with_both_values(visit: Visit) -> None:
    WorkItem.objects.update(adjuster="another screw", rate="low")
    assert sorted(found()) == [
        ("WorkItem", "adjuster is 'another screw', recorded 'ratio screw'"),
        ("WorkItem", "rate is 'low', recorded 'high'"),
    ]


def test_a_row_that_no_record_says_is_a_stranger(visit: Visit, analyser: Any) -> None:
    standing = Calibration.objects.get()
    standing.pk = new_id()
    standing.save(force_insert=True)
    assert [(each.table, each.row_id, each.what) for each in check()] == [
        ("Calibration", standing.pk, "no record says so")
    ]


def test_a_record_whose_bytes_were_changed_does_not_match_its_hash(visit: Visit, technician: User) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("takes SQLite's trigger away")
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER fleet_record_no_update")
    stops = Record.objects.filter(kind="stop_levels").latest("id")
    Record.objects.filter(id=stops.id).update(content=bytes(stops.content).replace(b'"400"', b'"900"'))
    told = [(each.record_id, each.table, each.what.split(",")[0]) for each in check()]
    assert told == [
        (stops.id, "record", "the content does not match its hash"),
        (stops.id, "StopLevels", "co_ppm_air_free is 400.0"),
    ]
    assert StopLevels.objects.latest("number").co_ppm_air_free == 400.0


def test_a_defect_that_stands_otherwise_than_the_visits_say_is_told(
    visit: Visit, body: dict[str, Any], technician: User
) -> None:
    Defect.objects.update(closed_by=visit)
    assert found() == [("Defect", "is closed by a visit that does not say so")]
    Defect.objects.update(closed_by=None)
    closing = body | {"id": str(new_id()), "closes_defects": [str(Defect.objects.get().id)]}
    store(closing, technician)
    assert found() == []
    Defect.objects.update(closed_by=None)
    assert found() == [("Defect", "is not closed by the visit that closed it")]


def test_rows_are_made_of_the_records_that_no_later_one_amends(
    visit: Visit, body: dict[str, Any], technician: User
) -> None:
    before = [each.id for each in in_force()]
    assert before == sorted(before) and visit.record_id in before
    right = body | {"note": "typed anew"}
    amend_visit(draft=read_visit(right), reason="typo", version=1, actor=technician, now=NOON)
    after = [each.id for each in in_force()]
    assert visit.record_id not in after and len(after) == len(before)
    assert found() == []


def test_a_kind_that_is_not_ours_any_more_projects_to_nothing(boiler: Appliance, manager: User) -> None:
    content = canonical_bytes({"schema": "gone/1", "appliance": str(boiler.id)})
    Record.objects.create(
        kind="gone", subject=new_id(), content=content, sha256=sha256_hex(content), submitted_sha256="0" * 64,
        actor=manager, received_at=NOON,
    )  # fmt: skip
    assert sha256_hex(content) == hashlib.sha256(content).hexdigest()
    assert "gone" not in {each.kind for each in in_force()}
    assert found() == []
