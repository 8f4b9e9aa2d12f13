"""Qualifications: recorded, never edited."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.assess.record_rows import qualification_rows
from fleet.errors import FleetError
from fleet.models import Person, Qualification, User
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
