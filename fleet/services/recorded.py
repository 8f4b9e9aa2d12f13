"""A retry of something recorded: the same again is found, something else under its id is refused."""

import uuid
from typing import Any

from fleet.errors import Conflict
from fleet.models import Record
from fleet.services.records import content_of


def recorded_already(*, kind: str, id: uuid.UUID, says: dict[str, Any]) -> bool:
    """Whether a first record of this kind and id says all of `says`. Raises Conflict where it says otherwise."""
    record = Record.objects.filter(kind=kind, subject=id, amends__isnull=True).first()
    if record is None:
        return False
    stored = content_of(record)
    differing = [name for name, value in says.items() if stored.get(name) != value]
    if differing:
        errors = {name: "differs from what is recorded under this id" for name in differing}
        raise Conflict("id_taken", "This id stands for something else; nothing was changed.", errors=errors)
    return True
