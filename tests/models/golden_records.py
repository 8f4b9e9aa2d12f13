"""A frozen record of each schema ever written, and the rows that it must project to for ever.

    python manage.py shell -c "from tests.models.golden_records import freeze; freeze()"

freezes one of every schema that has none yet, from the database that is set up; it never changes one that is frozen.
"""

import json
from datetime import date, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from fleet.assess.projections import ROWS
from fleet.models import Record
from fleet.models.records import SCHEMAS, content_of

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "golden" / "records"


def rows_of(record: Record) -> list[dict[str, Any]]:
    """Its rows as plain data."""
    made = ROWS[record.kind](content_of(record), record.id)
    return [
        {"table": row.model.__name__, "id": str(row.id), "values": json.loads(json.dumps(row.values, default=_plain))}
        for row in made
    ]


def _plain(value: Any) -> str:
    if isinstance(value, UUID | date | datetime):
        return str(value)
    raise TypeError(type(value))


def frozen(path: Path) -> tuple[Record, list[dict[str, Any]]]:
    """The record of a file, not stored, and the rows that it projected to when it was frozen."""
    kept = json.loads(path.read_text())
    content = kept["content"].encode()
    return Record(id=UUID(kept["id"]), kind=kept["kind"], content=content, sha256=kept["sha256"]), kept["rows"]


def freeze() -> None:
    for kind, schema in SCHEMAS.items():
        path = FOLDER / f"{schema.replace('/', '-')}.json"
        # The longest says the most.
        candidates = sorted(Record.objects.filter(kind=kind), key=lambda each: -len(bytes(each.content)))
        if path.exists() or not candidates:
            continue
        record = candidates[0]
        kept = {"id": str(record.id), "kind": kind, "sha256": record.sha256, "content": bytes(record.content).decode()}
        path.write_text(json.dumps(kept | {"rows": rows_of(record)}, indent=1, ensure_ascii=False) + "\n")
