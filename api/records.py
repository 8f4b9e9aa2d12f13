"""Records: the truth as canonical bytes with their hash, whose list is the change feed; and messages that could not be
read, kept as they came until a person has corrected them or put them aside."""

import uuid
from typing import Annotated, Any

from django.db.models import Q, QuerySet
from django.http import HttpResponse
from rest_framework import serializers
from rest_framework.request import Request

from api.doors import ActDoor, Door, ListDoor, OneDoor
from api.fields import Said
from api.filters import Filter, by_text, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import Shape, Text, read_id
from fleet.models import Record, UnreadableRecord
from fleet.presentation.codes import wrong_text
from fleet.queries.records import all_unreadable_records, visible_records
from fleet.services.visits import resolve_unreadable_record

SUBJECT = Filter(
    "subject",
    "Records of one thing, such as a visit with its corrections.",
    lambda _viewer, text: Q(subject=read_id(text)),
    {"type": "string", "format": "uuid"},
)


class RecordOut(RowOut):
    row, columns = Record, "id kind subject sha256 submitted_sha256 amends actor received_at"


class Records(ListDoor):
    """Everything recorded, oldest first; `after` the last id you hold, it is the change feed.

    Ids hold the time of their making. Records written at the same moment may appear slightly out of order: begin
    again a minute before the last id you hold and skip the ids that you have; nothing recorded ever changes.
    """

    subject, query, shape_out = "records", visible_records, RecordOut
    filters = (by_text("kind", "kind"), SUBJECT)

    def rows(self) -> QuerySet[Record]:
        return super().rows().defer("content")


class OneRecord(OneDoor):
    """One record, without its content."""

    subject, query, shape_out = "records", visible_records, RecordOut


class RecordContent(Door):
    """The canonical bytes themselves; their SHA-256 is the record's, in the header Content-SHA256."""

    subject, query = "records", visible_records
    media_type = "application/octet-stream"

    def get(self, request: Request, id: uuid.UUID) -> HttpResponse:
        record = self.one()
        answer = HttpResponse(bytes(record.content), content_type="application/octet-stream")
        answer["Content-Disposition"] = f'attachment; filename="{record.id}.json"'
        answer["Content-SHA256"] = record.sha256
        answer["ETag"] = f'"{record.sha256}"'
        return answer


def refused_fields(held: UnreadableRecord) -> dict[str, str]:
    return {path: wrong_text(said) for path, said in held.errors.items()}


class UnreadableRecordOut(RowOut):
    row, columns = UnreadableRecord, "id received_at resolved_at resolved_by resolved_how version"
    errors = Said(refused_fields)
    actor = serializers.CharField(help_text="Who sent it.")


class WholeUnreadableRecordOut(UnreadableRecordOut):
    body = serializers.SerializerMethodField()
    body_hex = serializers.SerializerMethodField()

    def get_body(self, held: UnreadableRecord) -> str:
        """As text, with what isn't UTF-8 replaced."""
        return bytes(held.body).decode("utf-8", "replace")

    def get_body_hex(self, held: UnreadableRecord) -> str:
        """The bytes as they came."""
        return bytes(held.body).hex()


class ResolveUnreadableIn(Shape):
    how: Annotated[str, Text(300)]


class UnreadableRecords(ListDoor):
    """For people who see all clients: whose client a message is of can't be known."""

    subject, query, shape_out = "unreadable_records", all_unreadable_records, UnreadableRecordOut
    filters = (yes_no("open", Q(resolved_at__isnull=True), "Not resolved."),)

    def rows(self) -> QuerySet[UnreadableRecord]:
        return super().rows().defer("body")


class OneUnreadableRecord(OneDoor):
    """One message with its body. Correct it and POST it as a visit, then resolve it here."""

    subject, query, shape_out = "unreadable_records", all_unreadable_records, WholeUnreadableRecordOut


class ResolveUnreadableRecord(ActDoor):
    """It was corrected, or put aside for a reason. Its body is kept."""

    subject, query, versioned = "unreadable_records", all_unreadable_records, True
    shape_in, shape_out = ResolveUnreadableIn, UnreadableRecordOut

    def act(self, thing: UnreadableRecord, version: int, said: dict[str, Any]) -> UnreadableRecord:
        return resolve_unreadable_record(
            unreadable=thing, version=version, how=said["how"], actor=self.viewer, now=clock.now()
        )
