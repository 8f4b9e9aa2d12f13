"""Records: the truth as canonical bytes with their hash. Their list is the change feed."""

import uuid

from django.db.models import Q, QuerySet
from django.http import HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
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

    subject, shape_out = "records", RecordOut
    filters = (by_text("kind", "kind"), SUBJECT)

    def rows(self) -> QuerySet[Record]:
        return visible_records(self.viewer).defer("content")


class OneRecord(Door):
    """One record, without its content."""

    subject, shape_out = "records", RecordOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(visible_records(self.viewer), id))


class RecordContent(Door):
    """The canonical bytes themselves; their SHA-256 is the record's, in the header Content-SHA256."""

    subject, shape_out = "records", None
    media_type = "application/octet-stream"

    def get(self, request: Request, id: uuid.UUID) -> HttpResponse:
        record = found(visible_records(self.viewer), id)
        answer = HttpResponse(bytes(record.content), content_type="application/octet-stream")
        answer["Content-Disposition"] = f'attachment; filename="{record.id}.json"'
        answer["Content-SHA256"] = record.sha256
        answer["ETag"] = f'"{record.sha256}"'
        return answer
