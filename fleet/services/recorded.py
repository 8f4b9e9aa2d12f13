"""Record something once: the same again is found, something else under its id is refused."""

import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from django.db import IntegrityError, models, transaction

from fleet.errors import Conflict
from fleet.models import Record
from fleet.models.records import content_of

Projected = TypeVar("Projected", bound=models.Model)


def record_once(
    *,
    kind: str,
    id: uuid.UUID,
    model: type[Projected],
    says: dict[str, Any],
    add: Callable[[], Projected],
) -> tuple[Projected, bool]:
    """The row recorded under `id` and whether it was made now; `add` records it. Raises Conflict `id_taken`."""
    if _says_already(kind, id, says):
        return model._default_manager.get(pk=id), False
    try:
        with transaction.atomic():
            return add(), True
    except IntegrityError:
        # Somebody else recorded the same id while we looked: then we came second.
        if _says_already(kind, id, says):
            return model._default_manager.get(pk=id), False
        raise


def _says_already(kind: str, id: uuid.UUID, says: dict[str, Any]) -> bool:
    """Whether a first record of this kind and id says all of `says`. Raises Conflict where it says otherwise."""
    record = Record.objects.filter(kind=kind, subject=id, amends__isnull=True).first()
    if record is None:
        return False
    stored = content_of(record)
    differing = [name for name, value in says.items() if stored.get(name) != value]
    if differing:
        errors = dict.fromkeys(differing, "differs from what is recorded under this id")
        raise Conflict("id_taken", "This id stands for something else; nothing was changed.", errors=errors)
    return True
