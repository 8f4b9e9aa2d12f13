"""Records are appended and never changed; rows can be made from them again."""

import uuid
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.db.models import F

from fleet import append_only
from fleet.assess.projections import PROJECTED, ROWS, check
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, Attendance, Defect, Person, Reading, Record, User, Visit
from fleet.models.records import content_of, part_id
from fleet.models.register import new_id
from fleet.services.gas_conversions import convert_appliance
from fleet.services.out_of_use import begin_out_of_use
from fleet.services.projections import rebuild
from fleet.services.visits import amend_visit
from tests.cast import NOON, make_appliance, store, visit_body


def test_the_hash_is_of_the_stored_bytes(body: dict[str, Any], technician: User) -> None:
    record = store(body, technician).record
    assert sha256_hex(bytes(record.content)) == record.sha256


@pytest.mark.parametrize("sql", ["UPDATE fleet_record SET kind = 'x'", "DELETE FROM fleet_record"])
def test_the_database_itself_refuses_to_change_a_record(body: dict[str, Any], technician: User, sql: str) -> None:
    store(body, technician)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def test_the_orm_can_neither_change_nor_delete_nor_replace_one(body: dict[str, Any], technician: User) -> None:
    record = store(body, technician).record
    for attempt in (
        lambda: Record.objects.update(sha256=F("submitted_sha256")),
        lambda: Record.objects.filter(id=record.id)._raw_delete("default"),
        lambda: Record.objects.bulk_create(
            [Record(**{each.attname: getattr(record, each.attname) for each in Record._meta.fields})],
            update_conflicts=True, unique_fields=["id"], update_fields=["kind"],
        ),
    ):  # fmt: skip
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            attempt()


def test_sqlite_insert_or_replace_is_refused_too(body: dict[str, Any], technician: User) -> None:
    record = store(body, technician).record
    if connection.vendor != "sqlite":
        pytest.skip("INSERT OR REPLACE is SQLite's own")
    columns = ", ".join(each.column for each in Record._meta.fields)
    copy = f"INSERT OR REPLACE INTO fleet_record ({columns}) SELECT {columns} FROM fleet_record WHERE id = %s"
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(copy, [record.id.hex])


def test_missing_triggers_are_noticed(installation: User) -> None:
    assert append_only.missing(connection) == []
    assert append_only.check_triggers(databases=["default"]) == []
    name = "fleet_record_no_update"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}" + ("" if connection.vendor == "sqlite" else " ON fleet_record"))
    assert append_only.missing(connection) == [name]
    assert append_only.check_triggers(databases=["default"])[0].id == "fleet.E001"


def test_rows_equal_their_records(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    assert list(check()) == []


def test_a_changed_row_is_found_and_rebuilt(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    Reading.objects.filter(number=1).update(co_ppm=1)
    found = list(check())
    assert [(each.table, each.what.split()[0]) for each in found] == [("Reading", "co_ppm")]
    rebuild()
    assert list(check()) == []


def test_a_row_that_no_record_says_is_found(
    body: dict[str, Any], boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = store(body, technician)
    Reading.objects.filter(number=1).update(id=visit.id)
    assert {each.what for each in check()} == {"missing", "no record says so"}


def test_a_defect_is_closed_by_a_later_visit_and_stays_closed_when_rebuilt(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    first = visit_body(boiler, person, analyser)
    first["defects"] = [{"what": "gasket worn", "severity": "repair", "repair_by": "2026-04-01"}]
    defect = store(first, technician).defects.get()
    assert defect.is_open
    later = visit_body(boiler, person, analyser, day="2026-03-20")
    later["closes_defects"] = [str(defect.id)]
    store(later, technician)
    rebuild()
    defect.refresh_from_db()
    assert not defect.is_open
    assert list(check()) == []


def amended(body: dict[str, Any], actor: User) -> Visit:
    version = Record.objects.filter(subject=body["id"]).count()
    return amend_visit(draft=read_visit(body), reason="mistyped", version=version, actor=actor, now=NOON)


@pytest.fixture
def worn(boiler: Appliance, person: Person, analyser: Analyser) -> dict[str, Any]:
    """A visit that finds a defect."""
    return visit_body(boiler, person, analyser) | {"defects": [{"what": "gasket worn", "severity": "repair"}]}


@pytest.fixture
def repaired(boiler: Appliance, person: Person, analyser: Analyser, worn: dict[str, Any]) -> dict[str, Any]:
    """A later visit that closes it."""
    later = visit_body(boiler, person, analyser, day="2026-03-20")
    return later | {"closes_defects": [str(part_id(uuid.UUID(worn["id"]), "defect", 1))]}


def test_a_correction_that_withdraws_a_closing_opens_the_defect_again(
    worn: dict[str, Any], repaired: dict[str, Any], technician: User
) -> None:
    store(worn, technician)
    store(repaired, technician)
    amended(repaired | {"closes_defects": []}, technician)
    assert Defect.objects.get().is_open
    assert list(check()) == []


def test_a_closing_withdrawn_by_one_visit_stands_where_another_says_so_too(
    worn: dict[str, Any], repaired: dict[str, Any], technician: User
) -> None:
    store(worn, technician)
    first = store(repaired | {"id": str(new_id())}, technician)
    store(repaired, technician)
    assert list(check()) == []
    amended(repaired | {"closes_defects": []}, technician)
    assert Defect.objects.get().closed_by == first
    assert list(check()) == []


def test_moving_the_closing_visit_to_another_appliance_opens_the_defect_again(
    worn: dict[str, Any], repaired: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    store(worn, technician)
    store(repaired, technician)
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    amended(repaired | {"appliance": str(other.id)}, technician)
    assert Defect.objects.get().is_open
    assert list(check()) == []


def test_a_defect_withdrawn_by_a_correction_is_gone_even_when_another_visit_closed_it(
    worn: dict[str, Any], repaired: dict[str, Any], technician: User
) -> None:
    store(worn, technician)
    store(repaired, technician)
    amended(worn | {"defects": []}, technician)
    assert not Defect.objects.exists()
    assert list(check()) == []


def test_a_defect_recorded_again_is_closed_by_the_visit_that_said_so(
    worn: dict[str, Any], repaired: dict[str, Any], technician: User
) -> None:
    store(worn, technician)
    visit = store(repaired, technician)
    amended(worn | {"defects": []}, technician)
    amended(worn, technician)
    assert Defect.objects.get().closed_by == visit
    assert list(check()) == []


def test_a_closing_that_arrives_before_its_defect_closes_it(
    worn: dict[str, Any], repaired: dict[str, Any], technician: User
) -> None:
    store(repaired, technician)
    assert not store(worn, technician).defects.get().is_open


def test_a_correction_to_another_attendance_leaves_none_that_nobody_made(
    body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    amended(body | {"attendance": body["attendance"] | {"id": str(uuid.uuid4())}}, technician)
    assert Attendance.objects.count() == 1
    assert list(check()) == []


def test_a_stray_row_is_found_though_no_record_makes_such_rows(
    body: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    visit = store(body, technician)
    stray = Defect.objects.create(id=uuid.uuid4(), visit=visit, appliance=boiler, what="x", severity="note")
    assert [(each.row_id, each.what) for each in check()] == [(stray.id, "no record says so")]


def test_a_defect_closed_by_a_visit_that_does_not_say_so_is_found_and_rebuilt(
    worn: dict[str, Any], technician: User
) -> None:
    visit = store(worn, technician)
    Defect.objects.update(closed_by=visit)
    assert [each.what for each in check()] == ["is closed by a visit that does not say so"]
    rebuild()
    assert list(check()) == []


def test_every_projected_table_is_looked_over(
    worn: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(worn, technician)
    by = {"actor": manager, "now": NOON}
    stood = {"begins": "2026-02-01", "why": "empty", "said_by": "the caretaker"}
    begin_out_of_use(appliance=boiler, content=stood, id=new_id(), **by)
    gas = {"converted_on": "2026-02-20", "to_fuel": "propane", "analyser_fuel": "propane"}
    gas |= {"kit": "K-31", "label": "inside the door", "done_by": "Ada Test", "test_within_days": 14}
    boiler.refresh_from_db()
    convert_appliance(appliance=boiler, version=boiler.version, content=gas, sheet=None, id=new_id(), **by)
    in_force = Record.objects.filter(amended_by__isnull=True)
    made = {row.model for each in in_force for row in ROWS[each.kind](content_of(each), each.id)}
    assert made == set(PROJECTED)


def test_canonical_bytes_are_those_of_the_standard(body: dict[str, Any]) -> None:
    """RFC 8785, by the library rfc8785 0.1.4."""
    rfc8785 = pytest.importorskip("rfc8785")
    body["note"] = 'ångström · 试验 · \U0001f525 \\ " \n'
    assert canonical_bytes(body) == rfc8785.dumps(body)
