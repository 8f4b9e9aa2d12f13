"""Append a record: the only way anything becomes true. Put its projected rows in place; record once."""

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction

from fleet.coded import coded
from fleet.errors import Conflict, FleetError
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.failpoints import failpoint
from fleet.models import Record, User
from fleet.models.records import SCHEMAS, Row, content_of

Projected = TypeVar("Projected", bound=models.Model)
Found = TypeVar("Found")


def append_record(
    *,
    kind: str,
    subject: uuid.UUID,
    content: dict[str, Any],
    actor: User,
    now: datetime,
    submitted_sha256: str = "",
    amends: Record | None = None,
) -> Record:
    """Store `content` as canonical bytes with their hash, under the schema of its kind or the one it names itself.

    Inside the caller's transaction.
    """
    data = canonical_bytes({"schema": SCHEMAS[kind]} | content)
    digest = sha256_hex(data)
    failpoint("records.append")
    return Record.objects.create(
        kind=kind,
        subject=subject,
        content=data,
        sha256=digest,
        submitted_sha256=submitted_sha256 or digest,
        amends=amends,
        actor=actor,
        received_at=now,
    )


def put_rows(*, rows: Iterable[Row]) -> None:
    """Insert the rows, or bring them to what the record says; one statement a model, in the caller's transaction."""
    by_model: dict[type[models.Model], list[Row]] = defaultdict(list)
    for row in rows:
        by_model[row.model].append(row)
    for model, each in by_model.items():
        model._default_manager.bulk_create(
            [model(id=row.id, **row.values) for row in each],
            update_conflicts=True,
            unique_fields=["id"],
            update_fields=list(each[0].values),
        )


def found_or_made(*, look: Callable[[], Found | None], create: Callable[[], Found]) -> tuple[Found, bool]:
    """What `look` finds, else what `create` makes in a transaction, and whether it was made now."""
    if known := look():
        return known, False
    try:
        with transaction.atomic():
            return create(), True
    except (IntegrityError, FleetError):
        # Somebody else may have stored the same while we looked: then we came second.
        if known := look():
            return known, False
        raise


def record_once(
    *, kind: str, id: uuid.UUID, model: type[Projected], says: dict[str, Any], add: Callable[[], Projected]
) -> tuple[Projected, bool]:
    """The row recorded under `id` and whether it was made now; `add` records it. Raises Conflict `id_taken`."""
    stored = model._default_manager
    return found_or_made(look=lambda: stored.get(pk=id) if _says_already(kind, id, says) else None, create=add)


def _says_already(kind: str, id: uuid.UUID, says: dict[str, Any]) -> bool:
    """Whether a first record of this kind and id says all of `says`. Raises Conflict where it says otherwise."""
    record = Record.objects.filter(kind=kind, subject=id, amends__isnull=True).first()
    if record is None:
        return False
    stored = content_of(record)
    differing = [name for name, value in says.items() if stored.get(name) != value]
    if differing:
        errors = dict.fromkeys(differing, coded("differs_from_stored"))
        raise Conflict("id_taken", "This id stands for something else; nothing was changed.", errors=errors)
    return True
