"""Tables as files for a spreadsheet (RFC 4180), and the register as one."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from io import StringIO
from typing import Any

from django.utils.translation import gettext as _

from fleet.intake.fields import Kind, columns_of
from fleet.intake.register import PlaceIn, PlateIn
from fleet.models import Appliance
from reports.text import clean

# A cell that begins with one of these is run as a formula by a spreadsheet; wide forms count as well.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def csv_bytes(heads: Sequence[str], rows: Iterable[Iterable[object]]) -> bytes:
    """In UTF-8, a header line first. Text that a spreadsheet would run as a formula gets an apostrophe in front;
    figures stay figures."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(map(_cell, row) for row in rows)
    return out.getvalue().encode()


def _cell(value: object) -> object:
    """Numbers and days as they are; text cleaned, and guarded where a spreadsheet would run it."""
    if value is None or isinstance(value, int | float | date):
        return value
    # The start is judged as it came: cleaning takes away a tab that hides a formula.
    text = clean(value)
    return f"'{text}" if str(value).startswith(FORMULA_STARTS) or text.startswith(FORMULA_STARTS) else text


def register_csv(appliances: Iterable[Appliance]) -> bytes:
    """A row for each appliance: its client, its building, and itself as the register has it."""
    # How to get in is for whoever goes there: it leaves the house in no file.
    place, plate = columns_of(PlaceIn, "access_notes"), columns_of(PlateIn)
    heads = [_("Client"), *(_("Building: %s") % each for each in place), *plate, _("In service from"), _("to")]
    return csv_bytes(
        heads,
        (
            [
                each.building.client.name,
                *_written(each.building, place.values()),
                *_written(each, plate.values()),
                each.in_service_from,
                each.in_service_to,
            ]
            for each in appliances
        ),
    )


def _written(row: Any, columns: Iterable[tuple[str, Kind]]) -> Iterator[object]:
    for name, kind in columns:
        value = getattr(row, name)
        yield value if isinstance(value, float) else kind.written(value)
