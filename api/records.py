"""Records: the truth as canonical bytes with their hash. Their list is the change feed."""

import uuid

from django.db.models import Q, QuerySet
from django.http import HttpResponse
from rest_framework.request import Request

from api.doors import Door, ListDoor, OneDoor
from api.fields import read_id
from api.filters import Filter, by_text
from api.shapes import RowOut
from fleet.models import Record
from fleet.queries.records import visible_records

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
