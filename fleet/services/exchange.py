"""Sheets and limit sets that come as files from another installation: made once, whoever sends the file again."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic

from fleet.coded import coded
from fleet.errors import Conflict
from fleet.models import LimitSet, ModelSheet, User
from fleet.models.drafts import id_of_file
from fleet.queries.sheets import Entry, Standing, standing_limit_set, standing_sheet
from fleet.services.appliances import make_sheet
from fleet.services.limit_sets import make_limit_set
from fleet.services.records import found_or_made

SHEET_FILE, LIMIT_SET_FILE = "fleet-sheet/1", "fleet-limit-set/1"


@dataclass(frozen=True)
class Imported(Generic[Entry]):
    """The entry and the number of the version that says what the file says; whether it was made now."""

    entry: Entry
    number: int
    made: bool


def import_sheet(*, file: dict[str, Any], actor: User, now: datetime) -> Imported[ModelSheet]:
    """Make the sheet of a checked file; the same file again makes nothing.

    Raises Conflict `content_differs` where a sheet of its name or reference says something else: whether that becomes
    its next version is for a person to decide, who has seen what would change.
    """
    values = {"id": id_of_file(file), "name": file["name"], "external_reference": file.get("external_reference")}
    return _once(
        lambda: standing_sheet(actor, file),
        lambda: make_sheet(values=values, content=file["content"], actor=actor, now=now),
    )


def import_limit_set(*, file: dict[str, Any], actor: User, now: datetime) -> Imported[LimitSet]:
    """Make the set of a checked file, unreviewed; the same file again makes nothing. Raises as `import_sheet`."""
    values = {"key": file["key"], "name": file["name"], "external_reference": file.get("external_reference")}
    return _once(
        lambda: standing_limit_set(actor, file),
        lambda: make_limit_set(values=values, content=file["content"], actor=actor, now=now),
    )


def _once(look: Any, make: Any) -> Imported[Any]:
    return found_or_made(look=lambda: _known(look()), create=lambda: Imported(make(), 1, True))[0]


def _known(standing: Standing[Any]) -> Imported[Any] | None:
    if standing.number is not None and standing.entry is not None:
        return Imported(standing.entry, standing.number, False)
    if standing.entry is not None:
        raise Conflict(
            "content_differs",
            "It stands here already and says something else. Look at what would change, then record it as its next "
            "version; or give the file another name.",
            errors={"content": coded("differs_from_versions", name=str(standing.entry))},
            entry=str(standing.entry.id),
        )
    return None
