"""Settings sheets: one a model of appliance, its figures in versions; what a new version would change, beforehand."""

import uuid
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.consequences import COMPARED, DifferencesOut, PreviewOut, numbers_compared
from api.doors import Door, EntryDoor, EntryListDoor, ListDoor, found, named_once
from api.exchange import SheetFileOut, as_file
from api.fields import DayOf, Id
from api.filters import EXTERNAL_REFERENCE, yes_no
from api.recorded import post_recorded
from api.shapes import EntryIn, EntryOut, RowOut
from api.versions import version_named
from fleet import clock
from fleet.errors import NotFound
from fleet.intake.errors import without_decimals
from fleet.intake.fields import StrictSerializer, Text
from fleet.intake.sheets import SheetIn
from fleet.models import ModelSheet, SheetVersion
from fleet.presentation.contents import sheet_differences
from fleet.queries.consequences import preview_sheet
from fleet.queries.register import all_sheets
from fleet.services.appliances import add_sheet_version, change_sheet, copy_sheet
from fleet.services.exchange import SHEET_FILE
from fleet.services.register import create_once


class NamedSheetIn(EntryIn):
    name = Text(200)


class SheetChange(NamedSheetIn):
    retired_on = DayOf(
        required=False, allow_null=True, help_text="From then on no further appliance gets it; null takes it back."
    )


class SheetOut(EntryOut):
    row, columns = ModelSheet, "name retired_on"
    current_number = serializers.IntegerField(
        source="current.number", default=None, allow_null=True, help_text="None while it has no version."
    )


class NewSheetVersion(StrictSerializer):
    id = Id(required=False)
    content = SheetIn()


class SheetVersionOut(RowOut):
    row, columns = SheetVersion, "id sheet number record"
    content = serializers.DictField()


class Sheets(EntryListDoor):
    """All sheets."""

    subject, model, shape_in, shape_out = "sheets", ModelSheet, NamedSheetIn, SheetOut
    filters = (EXTERNAL_REFERENCE, yes_no("retired", Q(retired_on__isnull=False), "Those that no appliance gets."))

    def rows(self) -> QuerySet[ModelSheet]:
        return all_sheets(self.viewer)


class OneSheet(EntryDoor):
    """One sheet. Retired, no further appliance gets it; those that have it keep it."""

    subject, shape_in, shape_out = "sheets", SheetChange, SheetOut

    def rows(self) -> QuerySet[ModelSheet]:
        return all_sheets(self.viewer)

    def change(self, entry: ModelSheet, version: int, changes: dict[str, Any]) -> ModelSheet:
        return change_sheet(sheet=entry, version=version, changes=changes, now=clock.now())


class CopySheet(Door):
    """A new sheet with what this one says today; its source says where it was copied from."""

    subject, shape_in, shape_out, makes = "sheets", NamedSheetIn, SheetOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Make the copy: 201; the same id again 200; with another name 409."""
        sheet = found(all_sheets(self.viewer), id)
        entry, made = create_once(
            known=all_sheets(self.viewer),
            model=ModelSheet,
            values=named_once(request, self.taken()),
            create=lambda values: copy_sheet(sheet=sheet, values=values, actor=self.viewer, now=clock.now()),
        )
        return self.shown(found(all_sheets(self.viewer), entry.pk), 201 if made else 200)


class ExportSheet(Door):
    """What the sheet says today, as a file that another installation takes."""

    subject, shape_out = "sheets", SheetFileOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        sheet = found(all_sheets(self.viewer), id)
        if sheet.current is None:
            raise NotFound("not_found", "The sheet has no version yet.")
        return as_file(
            {
                "schema": SHEET_FILE,
                "name": sheet.name,
                "external_reference": sheet.external_reference,
                "version": sheet.current.number,
                "content": sheet.current.content,
            },
            SheetFileOut,
        )


class SheetVersions(ListDoor):
    """A sheet's versions; the newest counts today. Recorded, never edited."""

    subject, shape_in, shape_out, makes = "sheets", NewSheetVersion, SheetVersionOut, True

    def rows(self) -> QuerySet[SheetVersion]:
        return self.sheet().versions.all()

    def sheet(self) -> ModelSheet:
        sheet: ModelSheet = found(all_sheets(self.viewer), self.kwargs["id"])
        return sheet

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409. With If-Match only on
        top of the version of that number (412 where another came meanwhile)."""
        sheet = self.sheet()
        based_on = version_named(request) if "If-Match" in request.headers else None
        return post_recorded(
            self,
            kind="sheet_version",
            model=SheetVersion,
            belongs={"sheet": str(sheet.id)},
            add=lambda new_id, values: add_sheet_version(
                sheet=sheet, content=values["content"], actor=self.viewer, now=clock.now(), id=new_id, based_on=based_on
            ),
        )


class PreviewSheet(Door):
    """What would change if this content became the sheet's next version. Nothing is written."""

    subject, shape_in, shape_out = "sheets", SheetIn, PreviewOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Judge the newest visit of every appliance that has the sheet again, as if it had been read today."""
        sheet = found(all_sheets(self.viewer), id)
        content = without_decimals(self.taken())
        return self.shown(preview_sheet(sheet=sheet, content=content, viewer=self.viewer, day=clock.today()))


class CompareSheet(Door):
    """What two versions of a sheet say differently, in words."""

    subject, shape_out, filters = "comparisons", DifferencesOut, COMPARED

    def get(self, request: Request, id: uuid.UUID) -> Response:
        before, after = numbers_compared(request)
        versions = {each.number: each.content for each in found(all_sheets(self.viewer), id).versions.all()}
        if missing := [number for number in (before, after) if number not in versions]:
            raise NotFound("not_found", f"The sheet has no version {missing[0]}.")
        differences = sheet_differences(versions[before], versions[after])
        return self.shown({"before": before, "after": after, "differences": differences})
