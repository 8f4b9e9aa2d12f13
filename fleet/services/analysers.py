"""Calibrations: recorded, never edited."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.assess.record_rows import calibration_rows
from fleet.errors import FleetError
from fleet.models import Analyser, Calibration, User
from fleet.services.records import append_record, put_rows


@transaction.atomic
def add_calibration(
    *, analyser: Analyser, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID
) -> Calibration:
    """Record a calibration; `content` has done_on, valid_to, certificate, by, passed."""
    if content["valid_to"] < content["done_on"]:
        errors = {"valid_to": f"is {content['valid_to']}; it must not be before done_on, {content['done_on']}"}
        raise FleetError("invalid", "The calibration ends before it was done.", errors=errors)
    full = {"schema": "calibration/1", "id": str(id), "analyser": str(analyser.id), **content}
    record = append_record(kind="calibration", subject=id, content=full, actor=actor, now=now)
    put_rows(calibration_rows(full, record.id))
    return Calibration.objects.get(id=id)
