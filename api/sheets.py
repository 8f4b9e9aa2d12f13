"""Settings sheets: one a model of appliance, its figures in versions; what a new version would change, beforehand."""

import uuid
from datetime import date
from typing import Annotated, Any

from django.db.models import Q
from rest_framework import serializers

from api.consequences import CompareDoor, PreviewOut, VersionsDoor
from api.doors import ActDoor, EntryDoor, EntryListDoor, MakeDoor
from api.exchange import ExportDoor, SheetFileOut
from api.filters import EXTERNAL_REFERENCE, yes_no
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, DayOf, Id, Shape, Text, without_decimals
from fleet.intake.sheets import SheetIn
from fleet.models import ModelSheet, SheetVersion
from fleet.presentation.contents import sheet_differences
from fleet.queries.consequences import Preview, preview_sheet
from fleet.queries.register import all_sheets
from fleet.services.appliances import add_sheet_version, change_sheet, copy_sheet
from fleet.services.exchange import SHEET_FILE


class NamedSheetIn(EntryIn):
    name: Annotated[str, Text(200)]


class SheetChange(NamedSheetIn):
    retired_on: Annotated[
        date | None, DayOf(null=True, help="From then on no further appliance gets it; null takes it back.")
    ] = LEFT_OUT


class SheetOut(EntryOut):
    row, columns = ModelSheet, "name retired_on"
    current_number = serializers.IntegerField(
        source="current.number", default=None, allow_null=True, help_text="None while it has no version."
    )


class NewSheetVersion(Shape):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT
    content: SheetIn


class SheetVersionOut(RowOut):
    row, columns = SheetVersion, "id sheet number record"
    content = serializers.DictField()


class Sheets(EntryListDoor):
    """All sheets."""

    subject, query, shape_in, shape_out = "sheets", all_sheets, NamedSheetIn, SheetOut
    filters = (EXTERNAL_REFERENCE, yes_no("retired", Q(retired_on__isnull=False), "Those that no appliance gets."))


class OneSheet(EntryDoor):
    """One sheet. Retired, no further appliance gets it; those that have it keep it."""

    subject, query, shape_in, shape_out = "sheets", all_sheets, SheetChange, SheetOut

    def change(self, entry: ModelSheet, version: int, changes: dict[str, Any]) -> ModelSheet:
        return change_sheet(sheet=entry, version=version, changes=changes, now=clock.now())


class CopySheet(MakeDoor):
    """A new sheet with what this one says today; its source says where it was copied from.

    Make the copy: 201; the same id again 200; with another name 409.
    """

    subject, query, shape_in, shape_out = "sheets", all_sheets, NamedSheetIn, SheetOut

    def create(self, values: dict[str, Any]) -> ModelSheet:
        return copy_sheet(sheet=self.whole, values=values, actor=self.viewer, now=clock.now())


class ExportSheet(ExportDoor):
    """What the sheet says today, as a file that another installation takes."""

    subject, query, shape_out, file, word = "sheets", all_sheets, SheetFileOut, SHEET_FILE, "sheet"


class SheetVersions(VersionsDoor):
    """A sheet's versions; the newest counts today. Recorded, never edited."""

    subject, query, shape_in, shape_out = "sheets", all_sheets, NewSheetVersion, SheetVersionOut
    kind, of = "sheet_version", "sheet"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> SheetVersion:
        return add_sheet_version(
            sheet=self.whole,
            content=content["content"],
            actor=self.viewer,
            now=clock.now(),
            id=id,
            based_on=self.based_on,
        )


class PreviewSheet(ActDoor):
    """What would change if this content became the sheet's next version. Nothing is written.

    Judge the newest visit of every appliance that has the sheet again, as if it had been read today.
    """

    subject, query, shape_in, shape_out = "sheets", all_sheets, SheetIn, PreviewOut

    def act(self, thing: ModelSheet, version: int, said: dict[str, Any]) -> Preview:
        return preview_sheet(sheet=thing, content=without_decimals(said), viewer=self.viewer, day=clock.today())


class CompareSheet(CompareDoor):
    """What two versions of a sheet say differently, in words."""

    query, differences, word = all_sheets, sheet_differences, "sheet"
