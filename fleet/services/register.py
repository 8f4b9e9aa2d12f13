"""Entries of the register: made and changed with every field checked, each change against a version."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import F

from fleet.errors import Conflict, FleetError, NotFound

Entry = TypeVar("Entry", bound=models.Model)


def create_entry(model: type[Entry], values: dict[str, Any]) -> Entry:
    """A new row of `model`.

    Raises FleetError `invalid` naming each field that can't be accepted, Conflict `reference_taken`.
    """
    entry = model(**values)
    check_entry(entry)
    entry.save(force_insert=True)
    return entry


def change_entry(entry: Entry, *, version: int, changes: dict[str, Any]) -> Entry:
    """Change the row if it is still at `version`; its version rises by one.

    Raises Conflict `changed_meanwhile` or `reference_taken`, FleetError `invalid`.
    """
    for name, value in changes.items():
        setattr(entry, name, value)
    check_entry(entry)
    with transaction.atomic():
        same = type(entry)._default_manager.filter(pk=entry.pk, version=version)
        if not same.update(**changes, version=F("version") + 1):
            raise Conflict("changed_meanwhile", f"It is no longer at version {version}; read it again.")
    entry.refresh_from_db()
    return entry


def check_entry(entry: models.Model) -> None:
    """Every field of an unsaved row. Raises FleetError `invalid` naming each that can't be accepted."""
    try:
        entry.full_clean(validate_unique=True)
    except ValidationError as bad:
        _refuse_taken(bad)
        errors = {name: " ".join(said) for name, said in bad.message_dict.items()}
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors) from bad


def _refuse_taken(bad: ValidationError) -> None:
    """In words that say nothing of the entry which has the reference: it may be another client's."""
    if any(each.code == "unique" for each in bad.error_dict.get("external_reference", ())):
        said = "This reference can't be used."
        raise Conflict("reference_taken", said, errors={"external_reference": said}) from bad


def create_once(
    known: models.QuerySet[Any],
    model: type[models.Model],
    values: dict[str, Any],
    create: Callable[[dict[str, Any]], models.Model],
) -> tuple[models.Model, bool]:
    """The entry with the id in `values` and whether it was made now: a retry finds it and makes no second.

    known: what the actor may see; create: makes the entry from values. Raises Conflict where the id says something
    else already, NotFound where it belongs to what the actor may not see.
    """
    if stored := _stored_already(known, model, values):
        return stored, False
    try:
        with transaction.atomic():
            return create(values), True
    except (IntegrityError, FleetError):
        # Somebody else may have stored the same while we looked: then we came second.
        if stored := _stored_already(known, model, values):
            return stored, False
        raise


def _stored_already(
    known: models.QuerySet[Any], model: type[models.Model], values: dict[str, Any]
) -> models.Model | None:
    stored = model._default_manager.filter(pk=values.get("id")).first()
    if stored is None:
        return None
    if not known.filter(pk=stored.pk).exists():
        raise NotFound("not_found", "There is nothing with this id that you may see.")
    differing = [name for name, value in values.items() if not _says(stored, name, value)]
    if differing:
        errors = dict.fromkeys(differing, "differs from what is stored under this id")
        raise Conflict("id_taken", "This id stands for something else; nothing was changed.", errors=errors)
    return stored


def _says(entry: models.Model, name: str, value: Any) -> bool:
    field: Any = entry._meta.get_field(name)
    if field.is_relation:
        return bool(getattr(entry, field.attname) == (value and value.pk))
    return bool(getattr(entry, name) == field.to_python(value))
