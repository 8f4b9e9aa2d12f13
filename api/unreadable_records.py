"""Messages that could not be read, kept as they came until a person has repaired them or put them aside."""

from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from api.doors import ActDoor, ListDoor, OneDoor
from api.filters import yes_no
from api.shapes import RowOut
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

    subject, query, shape_out = "unreadable_records", all_unreadable_records, UnreadableRecordOut
    filters = (yes_no("open", Q(resolved_at__isnull=True), "Not resolved."),)

    def rows(self) -> QuerySet[UnreadableRecord]:
        return super().rows().defer("body")


class OneUnreadableRecord(OneDoor):
    """One message with its body. Correct it and POST it as a visit, then resolve it here."""

    subject, query, shape_out = "unreadable_records", all_unreadable_records, WholeUnreadableRecordOut


class ResolveUnreadableRecord(ActDoor):
    """It was repaired, or put aside for a reason. Its body is kept."""

    subject, query, versioned = "unreadable_records", all_unreadable_records, True
    shape_in, shape_out = ResolveUnreadableIn, UnreadableRecordOut

    def act(self, thing: UnreadableRecord, version: int, said: dict[str, Any]) -> UnreadableRecord:
        return resolve_unreadable_record(
            held=thing, version=version, how=said["how"], actor=self.viewer, now=clock.now()
        )
