"""What each kind of record projects to, and whether the rows are still what the records say."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Model

from fleet.assess.entries import ENTRIES, FOLLOWING, entry_content
from fleet.assess.judging.visit_rows import visit_rows
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


def _rows(
    table: type[Model],
    content: dict[str, Any],
    record_id: UUID,
    *plain: str,
    ids: Iterable[str] = (),
    days: Iterable[str] = (),
    **others: Any,
) -> list[Row]:
    """One row: what stands in the content as it is, ids of other rows, days, and columns that are told otherwise."""
    values = {name: content[name] for name in plain}
    values |= {f"{name}_id": UUID(content[name]) for name in ids}
    values |= {name: date.fromisoformat(content[name]) for name in days}
    return [Row(table, UUID(content["id"]), values | others | {"record_id": record_id})]


def calibration_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    plain, days = ("certificate", "by", "passed"), ("done_on", "valid_to")
    uncertainty = content.get("uncertainty", {})
    return _rows(Calibration, content, record_id, *plain, ids=["analyser"], days=days, uncertainty=uncertainty)


def sheet_version_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    return _rows(SheetVersion, content, record_id, "number", "content", ids=["sheet"])


def gas_conversion_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    plain = ("from_fuel", "to_fuel", "kit", "label", "analyser_fuel", "done_by", "test_within_days")
    sheet_id = UUID(content["sheet"]) if content["sheet"] else None
    days = ["converted_on"]
    return _rows(GasConversion, content, record_id, *plain, ids=["appliance"], days=days, sheet_id=sheet_id)


def limit_set_version_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    review = content["review"]
    said = {
        "evidence": content["content"]["evidence"],
        "reviewed_by": review.get("by", ""),
        "reviewed_on": date.fromisoformat(review["on"]) if review else None,
        "review_source": review.get("source", ""),
    }
    return _rows(LimitSetVersion, content, record_id, "number", "content", ids=["limit_set"], **said)


def stop_levels_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    figures = ("co_ppm_air_free", "ambient_co_ppm", "ambient_co_rise_ppm", "co_rising_above_ppm", "spillage_min")
    read: dict[str, Any] = {name: float(content[name]) for name in figures}
    return _rows(StopLevels, content, record_id, "number", "evidence", **read)


def out_of_use_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    told = {name: content.get(name, "") for name in ("proof", "restart_said_by", "restart_proof")}
    told |= {"ends": date.fromisoformat(content["ends"]) if content.get("ends") else None}
    return _rows(OutOfUse, content, record_id, "why", "said_by", ids=["appliance"], days=["begins"], **told)


def qualification_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    plain, days = ("scheme", "number", "fuel_kinds"), ("valid_from", "valid_to")
    return _rows(Qualification, content, record_id, *plain, ids=["person"], days=days)


def no_rows(content: dict[str, Any], record_id: UUID) -> list[Row]:
    """An entry of the register stands in its own table, which the record is held against."""
    return []


ROWS: dict[str, Callable[[dict[str, Any], UUID], list[Row]]] = {
    "visit": visit_rows,
    "calibration": calibration_rows,
    "qualification": qualification_rows,
    "sheet_version": sheet_version_rows,
    "limit_set_version": limit_set_version_rows,
    "stop_levels": stop_levels_rows,
    "out_of_use": out_of_use_rows,
    "gas_conversion": gas_conversion_rows,
    **dict.fromkeys(ENTRIES, no_rows),
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
    yield from _entries()
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


def _entries() -> Iterator[Difference]:
    """Entries of the register that are other than somebody was last recorded to have made them."""
    for record in Record.objects.filter(amended_by__isnull=True, kind__in=ENTRIES).order_by("id"):
        table = ENTRIES[record.kind][0]
        entry = table._default_manager.filter(pk=record.subject).first()
        if entry is None:
            yield Difference(record.id, table.__name__, record.subject, "missing")
            continue
        stands = entry_content(entry)
        for name, value in content_of(record)["is"].items():
            if stands[name] != value and (record.kind, name) not in FOLLOWING:
                what = f"{name} is {stands[name]!r}, recorded {value!r}"
                yield Difference(record.id, table.__name__, record.subject, what)


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


def closings_said(appliances: Iterable[UUID]) -> dict[tuple[UUID, UUID], list[UUID]]:
    """By appliance and defect the visits whose records in force say that they closed it, in the records' order."""
    said: dict[tuple[UUID, UUID], list[UUID]] = defaultdict(list)
    for record in Record.objects.filter(visit__appliance__in=appliances).order_by("id"):
        content = content_of(record)
        for defect in content.get("closes_defects", []):
            said[UUID(content["appliance"]), UUID(defect)].append(record.subject)
    return said
