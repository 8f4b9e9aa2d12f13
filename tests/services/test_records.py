"""Records are appended and never changed; rows can be made from them again."""

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.db.models import F

from fleet import append_only
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import Analyser, Appliance, Person, Reading, Record, User
from fleet.services import projections
from tests.cast import store, visit_body


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
    assert list(projections.check()) == []


def test_a_changed_row_is_found_and_rebuilt(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    Reading.objects.filter(number=1).update(co_ppm=1)
    found = list(projections.check())
    assert [(each.table, each.what.split()[0]) for each in found] == [("Reading", "co_ppm")]
    projections.rebuild()
    assert list(projections.check()) == []


def test_a_row_that_no_record_says_is_found(
    body: dict[str, Any], boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = store(body, technician)
    Reading.objects.filter(number=1).update(id=visit.id)
    assert {each.what for each in projections.check()} == {"missing", "no record says so"}


def test_a_defect_is_closed_by_a_later_visit_and_stays_closed_when_rebuilt(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    first = visit_body(boiler, person, analyser)
    first["defects"] = [{"what": "gasket worn", "severity": "mend", "mend_by": "2026-04-01"}]
    defect = store(first, technician).defects.get()
    assert defect.is_open
    later = visit_body(boiler, person, analyser, day="2026-03-20")
    later["closes_defects"] = [str(defect.id)]
    store(later, technician)
    projections.rebuild()
    defect.refresh_from_db()
    assert not defect.is_open
    assert list(projections.check()) == []


def test_canonical_bytes_are_those_of_the_standard(body: dict[str, Any]) -> None:
    """RFC 8785, by the library rfc8785 0.1.4."""
    rfc8785 = pytest.importorskip("rfc8785")
    body["note"] = 'ångström · 试验 · \U0001f525 \\ " \n'
    assert canonical_bytes(body) == rfc8785.dumps(body)
