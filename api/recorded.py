"""POST of something that is recorded, never edited: once per id, whoever retries."""

import uuid
from collections.abc import Callable
from typing import Any

from django.db import models
from rest_framework.response import Response

from api.doors import Door, named_once
from fleet.intake.errors import without_decimals
from fleet.models.register import new_id
from fleet.services.records import record_once


def post_recorded(
    door: Door,
    *,
    kind: str,
    model: type[models.Model],
    belongs: dict[str, str],
    add: Callable[[uuid.UUID, dict[str, Any]], models.Model],
) -> Response:
    """201 with what was recorded, 200 with what the same id recorded before. Raises Conflict for other content.

    belongs: which parent the record names; add: records content under an id.
    """
    values = named_once(door.request, door.taken())
    id = values.pop("id", None) or new_id()
    content: dict[str, Any] = without_decimals(values)
    row, made = record_once(kind=kind, id=id, model=model, says=belongs | content, add=lambda: add(id, content))
    return door.shown(row, 201 if made else 200)
