"""What each kind of record projects to, and whether the rows are still what the records say."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Model

from fleet.assess.judging.visit_rows import visit_rows
from fleet.assess.record_rows import (
    calibration_rows,
    closings_said,
    gas_conversion_rows,
    limit_set_version_rows,
    out_of_use_rows,
    qualification_rows,
    sheet_version_rows,
    stop_levels_rows,
)
from fleet.evidence import sha256_hex
from fleet.models import (
    Appliance,
    Attendance,
    Calibration,
    Defect,
    GasConversion,
    LimitSetVersion,
    OutOfUse,
    Qualification,
    Reading,
    Record,
    SheetVersion,
    StopLevels,
    Visit,
    WorkItem,
)
from fleet.models.records import Row, content_of

ROWS: dict[str, Callable[[dict[str, Any], UUID], list[Row]]] = {
    "visit": visit_rows,
    "calibration": calibration_rows,
    "qualification": qualification_rows,
    "sheet_version": sheet_version_rows,
    "limit_set_version": limit_set_version_rows,
    "stop_levels": stop_levels_rows,
    "out_of_use": out_of_use_rows,
    "gas_conversion": gas_conversion_rows,
}

# Every table whose rows are made from records and from nothing else.
PROJECTED: tuple[type[Model], ...] = (
    Attendance,
    Calibration,
    Defect,
    GasConversion,
    LimitSetVersion,
    OutOfUse,
    Qualification,
    Reading,
    SheetVersion,
    StopLevels,
    Visit,
    WorkItem,
)


@dataclass(frozen=True)
class Difference:
    record_id: UUID
    table: str
    row_id: UUID
    what: str


def check() -> Iterator[Difference]:
    """Where a record's bytes don't match their hash, or the rows aren't what the records say; nothing is changed."""
    expected: dict[type[Model], set[UUID]] = {model: set() for model in PROJECTED}
    for record in Record.objects.order_by("id").iterator():
        if sha256_hex(bytes(record.content)) != record.sha256:
            yield Difference(record.id, "record", record.id, "the content does not match its hash")
    for record in in_force():
        for row in ROWS[record.kind](content_of(record), record.id):
            expected[row.model].add(row.id)
            yield from _compare(record, row)
    yield from _closings()
    yield from _strangers(expected)


def in_force() -> Iterator[Record]:
    """The records that rows are made of, oldest first: those that no later one amends."""
    yield from Record.objects.filter(amended_by__isnull=True, kind__in=ROWS).order_by("id").iterator()


def _compare(record: Record, row: Row) -> Iterator[Difference]:
    stored = row.model._default_manager.filter(id=row.id).values(*row.values).first()
    if stored is None:
        yield Difference(record.id, row.model.__name__, row.id, "missing")
        return
    for name, value in row.values.items():
        if stored[name] != value:
            yield Difference(record.id, row.model.__name__, row.id, f"{name} is {stored[name]!r}, recorded {value!r}")


def _closings() -> Iterator[Difference]:
    """Defects that a visit closed and that stand open, and those closed by a visit that doesn't say so."""
    said = closings_said(Appliance.objects.values_list("id", flat=True))
    for defect in Defect.objects.select_related("visit"):
        closing = said.get((defect.appliance_id, defect.id), [])
        if closing and defect.closed_by_id not in closing:
            yield Difference(defect.visit.record_id, "Defect", defect.id, "is not closed by the visit that closed it")
        elif not closing and defect.closed_by_id:
            yield Difference(defect.visit.record_id, "Defect", defect.id, "is closed by a visit that does not say so")


def _strangers(expected: dict[type[Model], set[UUID]]) -> Iterator[Difference]:
    """Rows that no record in force projects to."""
    for model, ids in expected.items():
        for row_id in set(model._default_manager.values_list("id", flat=True)) - ids:
            yield Difference(row_id, model.__name__, row_id, "no record says so")
