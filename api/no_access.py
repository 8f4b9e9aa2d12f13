"""Attempts without access: when, of which kind, by whom, with the letter or photo that proves it."""

import uuid
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.fields import MomentOf, Reference
from api.files import BareBytesParser, FileOut, FileSchema
from api.filters import by_word, of_appliance
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text, Word
from fleet.models import NoAccess, StoredFile
from fleet.queries.follow_ups import visible_no_access
from fleet.queries.records import visible_files
from fleet.queries.register import visible_appliances
from fleet.services.files import store_file
from fleet.services.no_access import record_no_access


class NoAccessIn(StrictSerializer):
    appliances = serializers.ListField(child=Reference(visible_appliances), min_length=1, max_length=50)
    at = MomentOf()
    kind = Word(choices=NoAccess.Kind.values)
    note = Text(500, required=False)
    letter = Text(200, required=False, help_text="What was left or sent. A photo of it is attached as a file.")


class AttemptFileOut(FileOut):
    """A file of an attempt; in lists a page of its own."""


class AttemptOut(RowOut):
    """Somebody came and did not get to the appliance; `/no-access` has it with its files."""

    row, columns = NoAccess, "id at local_date kind note letter by"


class NoAccessOut(AttemptOut):
    """One attempt, whole."""

    row, columns = NoAccess, "appliance recorded_at"

    files = AttemptFileOut(source="files.all", many=True)


class MadeOut(serializers.Serializer[Any]):
    results = NoAccessOut(many=True)


class NoAccesses(ListDoor):
    """Attempts at the appliances that you may see. Never changed."""

    subject, shape_in, shape_out, shape_made, makes = "no_access", NoAccessIn, NoAccessOut, MadeOut, True
    filters = (*of_appliance(), by_word("kind", "kind", NoAccess.Kind.values))

    def rows(self) -> QuerySet[NoAccess]:
        return visible_no_access(self.viewer)

    def post(self, request: Request, **_path: Any) -> Response:
        """Record one attempt at several appliances of a building: 201. The same attempt again makes no second."""
        taken = self.taken()
        made = record_no_access(
            appliances=taken["appliances"],
            at=taken["at"],
            kind=taken["kind"],
            note=taken.get("note", ""),
            letter=taken.get("letter", ""),
            actor=self.viewer,
            now=clock.now(),
        )
        stored = visible_no_access(self.viewer).filter(id__in=[each.id for each in made])
        return Response({"results": NoAccessOut(stored, many=True).data}, status=201)


class OneNoAccess(Door):
    """One attempt."""

    subject, shape_out = "no_access", NoAccessOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(visible_no_access(self.viewer), id))


class NoAccessFiles(ListDoor):
    """Photos and letters of one attempt."""

    parser_classes = (BareBytesParser,)
    schema = FileSchema()
    subject, makes, shape_out = "files", True, AttemptFileOut
    filters = (by_word("what", "what", StoredFile.What.values),)

    def rows(self) -> QuerySet[StoredFile]:
        return visible_files(self.viewer).filter(no_access=self.attempt())

    def attempt(self) -> NoAccess:
        attempt: NoAccess = found(visible_no_access(self.viewer), self.kwargs["id"])
        return attempt

    def known_parameters(self) -> tuple[str, ...]:
        return ("what", "name") if self.request.method == "POST" else super().known_parameters()

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Attach the body, of the media type in Content-Type: 201; the same content and `what` again 200."""
        attempt = self.attempt()
        sent: Any = request.data
        file, made = store_file(
            no_access=attempt,
            name=request.query_params.get("name", ""),
            media_type=(request.content_type or "").split(";")[0].strip().lower(),
            data=sent if isinstance(sent, bytes) else b"",
            what=request.query_params.get("what", ""),
            actor=self.viewer,
            now=clock.now(),
        )
        return self.shown(file, 201 if made else 200, Location=reverse("api-file", args=[file.id]))
