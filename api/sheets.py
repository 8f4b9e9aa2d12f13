"""Maker's sheets: one a model of appliance, its figures in versions."""

import uuid
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import EntryDoor, EntryListDoor, ListDoor, found
from api.entries import EntryIn, EntryOut
from api.fields import Id
from api.filters import EXTERNAL_REFERENCE
from api.permissions import MANAGER
from api.recorded import post_recorded
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.intake.sheets import SheetIn
from fleet.models import ModelSheet, SheetVersion
from fleet.queries.appliances import all_sheets
from fleet.services.appliances import add_sheet_version


class NamedSheetIn(EntryIn):
    name = Text(200)


class SheetOut(EntryOut):
    name = serializers.CharField()
    current_number = serializers.IntegerField(
        source="current.number", default=None, allow_null=True, help_text="None while it has no version."
    )


class NewSheetVersion(StrictSerializer):
    id = Id(required=False)
    content = SheetIn()


class SheetVersionOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    sheet = serializers.UUIDField(source="sheet_id")
    number = serializers.IntegerField()
    content = serializers.DictField()
    record = serializers.UUIDField(source="record_id")


class Sheets(EntryListDoor):
    """All sheets."""

    writers, model, shape_in, shape_out = MANAGER, ModelSheet, NamedSheetIn, SheetOut
    filters = (EXTERNAL_REFERENCE,)

    def rows(self) -> QuerySet[ModelSheet]:
        return all_sheets(self.viewer)


class OneSheet(EntryDoor):
    """One sheet."""

    writers, shape_in, shape_out = MANAGER, NamedSheetIn, SheetOut

    def rows(self) -> QuerySet[ModelSheet]:
        return all_sheets(self.viewer)


class SheetVersions(ListDoor):
    """A sheet's versions; the newest counts today. Recorded, never edited."""

    writers, shape_in, shape_out, makes = MANAGER, NewSheetVersion, SheetVersionOut, True

    def rows(self) -> QuerySet[SheetVersion]:
        return self.sheet().versions.all()

    def sheet(self) -> ModelSheet:
        sheet: ModelSheet = found(all_sheets(self.viewer), self.kwargs["id"])
        return sheet

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409."""
        sheet = self.sheet()
        return post_recorded(
            self,
            kind="sheet version",
            model=SheetVersion,
            belongs={"sheet": str(sheet.id)},
            add=lambda new_id, values: add_sheet_version(
                sheet=sheet, content=values["content"], actor=self.viewer, now=clock.now(), id=new_id
            ),
        )
