"""Qualifications: recorded, never edited."""

import uuid
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.errors import FleetError
from fleet.models import Person, Qualification, User
from fleet.models.records import Row
from fleet.services.records import append_record, put_rows


@transaction.atomic
def add_qualification(
    *, person: Person, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> Qualification:
    """Record that `person` is qualified; `content` has scheme, number, fuel_kinds, valid_from, valid_to."""
    if content["valid_to"] < content["valid_from"]:
        errors = {"valid_to": f"is {content['valid_to']}; it must not be before valid_from, {content['valid_from']}"}
        raise FleetError("invalid", "The qualification ends before it begins.", errors=errors)
    full = {"schema": "qualification/1", "id": str(id), "person": str(person.id), **content}
    record = append_record(kind="qualification", subject=id, content=full, actor=actor, now=now)
    put_rows(qualification_rows(full, record.id))
    return Qualification.objects.get(id=id)


def qualification_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    values = {
        "person_id": uuid.UUID(content["person"]),
        "scheme": content["scheme"],
        "number": content["number"],
        "fuel_kinds": content["fuel_kinds"],
        "valid_from": date.fromisoformat(content["valid_from"]),
        "valid_to": date.fromisoformat(content["valid_to"]),
        "record_id": record_id,
    }
    return [Row(Qualification, uuid.UUID(content["id"]), values)]
