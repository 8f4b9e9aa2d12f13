"""From records to rows, again: every table that is projected can be rebuilt, or checked against its records."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.evidence import sha256_hex
from fleet.models import Defect, Record
from fleet.services.analysers import calibration_rows
from fleet.services.appliances import sheet_version_rows
from fleet.services.limits import limit_set_version_rows, stop_lines_rows
from fleet.services.people import qualification_rows
from fleet.services.records import Row, content_of, put_rows
from fleet.services.visits import project_visit, visit_rows

ROWS: dict[str, Callable[[dict[str, Any], UUID], list[Row]]] = {
    "visit": visit_rows,
    "calibration": calibration_rows,
    "qualification": qualification_rows,
    "sheet version": sheet_version_rows,
    "limit set version": limit_set_version_rows,
    "stop lines": stop_lines_rows,
}


@dataclass(frozen=True)
class Difference:
    record_id: UUID
    table: str
    row_id: UUID
    what: str


def rebuild() -> int:
    """Project every record in force again, oldest first. Returns how many."""
    count = 0
    with transaction.atomic():
        for record in _in_force():
            if record.kind == "visit":
                project_visit(record)
            else:
                put_rows(ROWS[record.kind](content_of(record), record.id))
            count += 1
    return count


def check() -> Iterator[Difference]:
    """Where a record's bytes don't match their hash, or the rows aren't what the records say; nothing is changed."""
    expected: dict[str, set[UUID]] = {}
    for record in Record.objects.order_by("id").iterator():
        if sha256_hex(bytes(record.content)) != record.sha256:
            yield Difference(record.id, "record", record.id, "the content does not match its hash")
    for record in _in_force():
        for row in ROWS[record.kind](content_of(record), record.id):
            expected.setdefault(row.model._meta.label, set()).add(row.id)
            yield from _compare(record, row)
        yield from _unclosed(record)
    yield from _strangers(expected)


def _in_force() -> Iterator[Record]:
    yield from Record.objects.filter(amended_by__isnull=True, kind__in=ROWS).order_by("id").iterator()


def _compare(record: Record, row: Row) -> Iterator[Difference]:
    stored = row.model._default_manager.filter(id=row.id).values(*row.values).first()
    if stored is None:
        yield Difference(record.id, row.model.__name__, row.id, "missing")
        return
    for name, value in row.values.items():
        if stored[name] != value:
            yield Difference(record.id, row.model.__name__, row.id, f"{name} is {stored[name]!r}, recorded {value!r}")


def _unclosed(record: Record) -> Iterator[Difference]:
    if record.kind != "visit":
        return
    content = content_of(record)
    closes = Defect.objects.filter(id__in=content.get("closes_defects", []), appliance=content["appliance"])
    for defect in closes.exclude(closed_by=content["id"]):
        yield Difference(record.id, "Defect", defect.id, "is not closed by the visit that closed it")


def _strangers(expected: dict[str, set[UUID]]) -> Iterator[Difference]:
    """Rows that no record in force projects to."""
    from django.apps import apps

    for label, ids in expected.items():
        model = apps.get_model(label)
        for row_id in set(model._default_manager.values_list("id", flat=True)) - ids:
            yield Difference(row_id, model.__name__, row_id, "no record says so")
