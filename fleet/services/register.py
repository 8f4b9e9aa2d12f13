"""Entries of the register: made and changed with every field checked, each change against a version."""

from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F

from fleet.errors import Conflict, FleetError

Entry = TypeVar("Entry", bound=models.Model)


def create_entry(model: type[Entry], values: dict[str, Any]) -> Entry:
    """A new row of `model`. Raises FleetError `invalid` naming each field that can't be accepted."""
    entry = model(**values)
    _check(entry)
    entry.save(force_insert=True)
    return entry


def change_entry(entry: Entry, *, version: int, changes: dict[str, Any]) -> Entry:
    """Change the row if it is still at `version`; its version rises by one. Raises Conflict `changed_meanwhile`."""
    for name, value in changes.items():
        setattr(entry, name, value)
    _check(entry)
    with transaction.atomic():
        same = type(entry)._default_manager.filter(pk=entry.pk, version=version)
        if not same.update(**changes, version=F("version") + 1):
            raise Conflict("changed_meanwhile", f"It is no longer at version {version}; read it again.")
    entry.refresh_from_db()
    return entry


def _check(entry: models.Model) -> None:
    try:
        entry.full_clean(validate_unique=True)
    except ValidationError as bad:
        errors = {name: " ".join(said) for name, said in bad.message_dict.items()}
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors) from bad
