"""Attempts without access: when, of which kind, by whom, with the letter or photo that proves it."""

from datetime import datetime
from typing import Annotated, Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import ListDoor, OneDoor
from api.fields import Reference
from api.files import FileOut, FilesDoor
from api.filters import by_word, of_appliance
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, Many, MomentOf, Shape, Text, Word
from fleet.models import NoAccess
from fleet.queries.follow_ups import visible_no_access
from fleet.queries.register import visible_appliances
from fleet.services.no_access import record_no_access


class NoAccessIn(Shape):
    appliances: Annotated[list[Annotated[Any, Reference(visible_appliances)]], Many(1, 50)]
    at: Annotated[datetime, MomentOf()]
    kind: Annotated[str, Word(NoAccess.Kind.values)]
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    letter: Annotated[
        str, Text(200, blank=True, help="What was left or sent. A photo of it is attached as a file.")
    ] = LEFT_OUT


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

    subject, query = "no_access", visible_no_access
    shape_in, shape_out, shape_made, makes = NoAccessIn, NoAccessOut, MadeOut, True
    filters = (*of_appliance(), by_word("kind", "kind", NoAccess.Kind.values))

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


class OneNoAccess(OneDoor):
    """One attempt."""

    subject, query, shape_out = "no_access", visible_no_access, NoAccessOut


class NoAccessFiles(FilesDoor):
    """Photos and letters of one attempt."""

    query, of, shape_out = visible_no_access, "no_access", AttemptFileOut
