"""New versions of a maker's sheet: recorded, never edited; appliances on it are looked at again."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.models import ModelSheet, SheetVersion, User
from fleet.services import jobs
from fleet.services.records import Row, append_record, put_rows


@transaction.atomic
def add_sheet_version(
    *, sheet: ModelSheet, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> SheetVersion:
    """The next version of `sheet`; `content` is a checked sheet. Its appliances' forecasts are made anew."""
    newest = sheet.versions.order_by("-number").first()
    number = newest.number + 1 if newest else 1
    full = {"schema": "sheet/1", "id": str(id), "sheet": str(sheet.id), "number": number, "content": content}
    record = append_record(kind="sheet version", subject=id, content=full, actor=actor, now=now)
    put_rows(sheet_version_rows(full, record.id))
    for appliance_id in sheet.appliances.values_list("id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
    return SheetVersion.objects.get(id=id)


def sheet_version_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    values = {
        "sheet_id": uuid.UUID(content["sheet"]),
        "number": content["number"],
        "content": content["content"],
        "record_id": record_id,
    }
    return [Row(SheetVersion, uuid.UUID(content["id"]), values)]
