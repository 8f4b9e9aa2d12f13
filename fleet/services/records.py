"""Append a record: the only way anything becomes true. And put its projected rows in place."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import models

from fleet.evidence import canonical_bytes, sha256_hex
from fleet.failpoints import failpoint
from fleet.models import Record, User
from fleet.models.records import Row


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
    """Store `content` as canonical bytes with their hash. Inside the caller's transaction."""
    data = canonical_bytes(content)
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


def put_rows(rows: Iterable[Row]) -> None:
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
