"""Appliances taken on and changed; new versions of a maker's sheet, after which its appliances are looked at again."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.models import Appliance, ModelSheet, SheetVersion, User
from fleet.queries.limits import attachments_of
from fleet.services import duties, jobs
from fleet.services.records import Row, append_record, put_rows
from fleet.services.register import change_entry, create_entry


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


@transaction.atomic
def take_on_appliance(*, values: dict[str, Any], actor: User, now: datetime) -> Appliance:
    """A new appliance; the limit sets attached to its building or client put their duties on it at once."""
    appliance = create_entry(Appliance, values)
    for attachment in attachments_of(appliance).filter(until__isnull=True):
        duties.open_duties(attachment=attachment, actor=actor, now=now)
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    return appliance


@transaction.atomic
def change_appliance(*, appliance: Appliance, version: int, changes: dict[str, Any], now: datetime) -> Appliance:
    """Change its entry and reckon anew what follows from it. Raises Conflict when it changed meanwhile."""
    changed = change_entry(appliance, version=version, changes=changes)
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    return changed
