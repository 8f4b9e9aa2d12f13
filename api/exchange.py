"""Files that carry a sheet or a limit set from one installation to another, and the schemas that say what they hold."""

import uuid
from typing import Any, ClassVar

from django.utils.text import slugify
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door
from fleet import clock
from fleet.errors import NotFound
from fleet.intake.fields import file_schema
from fleet.intake.limit_sets import LimitSetFileIn, read_limit_set_file
from fleet.intake.sheets import SheetFileIn, read_sheet_file
from fleet.services.exchange import Imported, import_limit_set, import_sheet


class SheetFileOut(serializers.Serializer[Any]):
    schema = serializers.CharField(help_text="fleet-sheet/1")
    name = serializers.CharField()
    external_reference = serializers.CharField(allow_null=True)
    version = serializers.IntegerField()
    content = serializers.DictField()


class LimitSetFileOut(SheetFileOut):
    schema = serializers.CharField(help_text="fleet-limit-set/1")
    key = serializers.CharField()
    review = serializers.DictField(allow_null=True, help_text="Who reviewed it there, on which day, by which source.")


class ImportedOut(serializers.Serializer[Any]):
    id = serializers.UUIDField(source="entry.id")
    name = serializers.CharField(source="entry.name")
    number = serializers.IntegerField(help_text="The version that says what the file says.")
    made = serializers.BooleanField(help_text="False where it stood here already.")
    words = serializers.SerializerMethodField()

    def get_words(self, imported: Imported[Any]) -> str:
        named = f"{imported.entry.name} v{imported.number}"
        return f"Made {named}." if imported.made else f"{named} says the same already; nothing was made."


class ExportDoor(Door):
    """What an entry says today, as a file of the schema `file`, to be kept under a name that says what it holds."""

    file: ClassVar[str]
    word: ClassVar[str]

    def get(self, request: Request, id: uuid.UUID) -> Response:
        entry = self.one()
        if (current := entry.current) is None:
            raise NotFound("not_found", "The %(what)s has no version yet.", figures={"what": self.word})
        data = {"schema": self.file, "name": entry.name, "external_reference": entry.external_reference}
        data |= {"version": current.number, "content": current.content} | self.besides(entry, current)
        name = f"{slugify(entry.name) or 'sheet'}-v{current.number}.json"
        return self.shown(data, **{"Content-Disposition": f'attachment; filename="{name}"'})

    def besides(self, entry: Any, current: Any) -> dict[str, Any]:
        """What a file of this kind holds besides."""
        return {}


class ImportSheet(Door):
    """A sheet from another installation's file. The same file again makes no second; a changed one is refused."""

    subject, shape_in, shape_out, makes = "sheets", SheetFileIn, ImportedOut, True

    def post(self, request: Request) -> Response:
        """Make it: 201; where a version says the same already 200; 409 where its name or reference stands for other
        content, which is recorded as a next version by a person who has seen what would change."""
        imported = import_sheet(file=read_sheet_file(self.body()), actor=self.viewer, now=clock.now())
        return self.shown(imported, 201 if imported.made else 200)


class ImportLimitSet(Door):
    """A limit set from another installation's file. It is unreviewed here, whatever review the file names."""

    subject, shape_in, shape_out, makes = "limit_sets", LimitSetFileIn, ImportedOut, True

    def post(self, request: Request) -> Response:
        """Make it: 201; where a version says the same already 200; 409 where its key stands for other content, which
        is recorded as a next version by a person who has seen what would change."""
        imported = import_limit_set(file=read_limit_set_file(self.body()), actor=self.viewer, now=clock.now())
        return self.shown(imported, 201 if imported.made else 200)


class SheetSchema(Door):
    """What a sheet's file may hold, as JSON Schema (2020-12); the content is what a version's body has."""

    subject = "documentation"

    def get(self, request: Request) -> Response:
        return Response(file_schema(SheetFileIn))


class LimitSetSchema(Door):
    """What a limit set's file may hold, as JSON Schema (2020-12); the content is what a version's body has."""

    subject = "documentation"

    def get(self, request: Request) -> Response:
        return Response(file_schema(LimitSetFileIn))
