"""Sheets and limit sets that come as files from another installation: made once, whoever sends the file again."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from django.db import IntegrityError, transaction

from fleet.errors import Conflict, FleetError
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import LimitSet, ModelSheet, User
from fleet.services.appliances import make_sheet
from fleet.services.limits import make_limit_set

SHEET_FILE, LIMIT_SET_FILE = "fleet-sheet/1", "fleet-limit-set/1"
_FILES = uuid.UUID("0d0c7f6e-7d5e-5b3a-9f0e-3c1c7f3d1a52")  # so that the same file gives the same id (UUIDv5)

Entry = TypeVar("Entry", ModelSheet, LimitSet)


@dataclass(frozen=True)
class Standing(Generic[Entry]):
    """What stands here of a file: the entry that it names, and which of its versions says the same, if any does."""

    entry: Entry | None
    number: int | None

    @property
    def is_known(self) -> bool:
        return self.number is not None


@dataclass(frozen=True)
class Imported(Generic[Entry]):
    """The entry and the number of the version that says what the file says; whether it was made now."""

    entry: Entry
    number: int
    made: bool


def standing_sheet(file: dict[str, Any]) -> Standing[ModelSheet]:
    """By its external reference, else by what was made of the same file, else by its name."""
    reference = file.get("external_reference")
    known = list(ModelSheet.objects.filter(external_reference=reference)) if reference else []
    known = known or list(ModelSheet.objects.filter(id=_id_of(file)))
    return _standing(known or list(ModelSheet.objects.filter(name=file["name"]).order_by("id")), file)


def standing_limit_set(file: dict[str, Any]) -> Standing[LimitSet]:
    """By its key, which stays."""
    return _standing(list(LimitSet.objects.filter(key=file["key"])), file)


def _standing(known: list[Entry], file: dict[str, Any]) -> Standing[Entry]:
    for entry in known:
        for version in entry.versions.order_by("-number"):
            if version.content == file["content"]:
                return Standing(entry, version.number)
    return Standing(next(iter(known), None), None)


def import_sheet(*, file: dict[str, Any], actor: User, now: datetime) -> Imported[ModelSheet]:
    """Make the sheet of a checked file; the same file again makes nothing.

    Raises Conflict `content_differs` where a sheet of its name or reference says something else: whether that becomes
    its next version is for a person to decide, who has seen what would change.
    """
    values = {"id": _id_of(file), "name": file["name"], "external_reference": file.get("external_reference")}
    return _once(
        lambda: standing_sheet(file), lambda: make_sheet(values=values, content=file["content"], actor=actor, now=now)
    )


def import_limit_set(*, file: dict[str, Any], actor: User, now: datetime) -> Imported[LimitSet]:
    """Make the set of a checked file, unreviewed; the same file again makes nothing. Raises as `import_sheet`."""
    values = {"key": file["key"], "name": file["name"], "external_reference": file.get("external_reference")}
    return _once(
        lambda: standing_limit_set(file),
        lambda: make_limit_set(values=values, content=file["content"], actor=actor, now=now),
    )


def _once(look: Any, make: Any) -> Imported[Any]:
    if found := _known(look()):
        return found
    try:
        with transaction.atomic():
            return Imported(make(), 1, True)
    except (IntegrityError, FleetError):
        # Somebody else may have sent the same file while we looked: then we came second.
        if found := _known(look()):
            return found
        raise


def _known(standing: Standing[Any]) -> Imported[Any] | None:
    if standing.number is not None and standing.entry is not None:
        return Imported(standing.entry, standing.number, False)
    if standing.entry is not None:
        raise Conflict(
            "content_differs",
            "It stands here already and says something else. Look at what would change, then record it as its next "
            "version; or give the file another name.",
            errors={"content": f"differs from every version of {standing.entry}"},
            entry=str(standing.entry.id),
        )
    return None


def _id_of(file: dict[str, Any]) -> uuid.UUID:
    said = {name: file.get(name) for name in ("name", "external_reference", "content")}
    return uuid.uuid5(_FILES, sha256_hex(canonical_bytes(said)))
