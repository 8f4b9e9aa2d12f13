"""Messages that could not be read, kept as they came until a person has repaired them or put them aside."""

import uuid

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.filters import yes_no
from api.shapes import RowOut
from api.versions import version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import UnreadableRecord
from fleet.queries.records import all_unreadable_records
from fleet.services.visits import resolve_unreadable_record


class UnreadableRecordOut(RowOut):
    row, columns = UnreadableRecord, "id received_at resolved_at resolved_by resolved_how version"
    errors = serializers.DictField(child=serializers.CharField())
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


class ResolveUnreadableIn(StrictSerializer):
    how = Text(300)


class UnreadableRecords(ListDoor):
    """For people who see all clients: whose client a message is of can't be known."""

    subject, shape_out = "unreadable_records", UnreadableRecordOut
    filters = (yes_no("open", Q(resolved_at__isnull=True), "Not resolved."),)

    def rows(self) -> QuerySet[UnreadableRecord]:
        return all_unreadable_records(self.viewer).defer("body")


class OneUnreadableRecord(Door):
    """One message with its body. Repair it and POST it as a visit, then resolve it here."""

    subject, shape_out = "unreadable_records", WholeUnreadableRecordOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(all_unreadable_records(self.viewer), id))


class ResolveUnreadableRecord(Door):
    """It was repaired, or put aside for a reason. Its body is kept."""

    subject, shape_in, shape_out, versioned = "unreadable_records", ResolveUnreadableIn, UnreadableRecordOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        held = found(all_unreadable_records(self.viewer), id)
        version, how = version_named(request), self.taken()["how"]
        return self.shown(
            resolve_unreadable_record(held=held, version=version, how=how, actor=self.viewer, now=clock.now())
        )
