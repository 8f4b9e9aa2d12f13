"""The audit trail: log-ins, changes of who may come in, exports and what auditors looked at."""

from rest_framework import serializers

from api.doors import ListDoor
from api.fields import Said
from api.filters import by_day, by_word
from api.shapes import RowOut
from fleet.models import AuditEntry
from fleet.presentation.audit import entry_words
from fleet.queries.audit import visible_audit_entries


class AuditEntryOut(RowOut):
    row, columns = AuditEntry, "id at kind path token network"
    user = serializers.UUIDField(source="user_id", allow_null=True, help_text="Whom it is about; null: a name unknown.")
    by = serializers.UUIDField(
        source="by_id",
        allow_null=True,
        help_text="Who did it; null where access changed from no network: at the terminal.",
    )
    words = Said(entry_words)


class AuditTrail(ListDoor):
    """Written once, never changed; for managers who see all clients."""

    subject, query, shape_out = "audit_trail", visible_audit_entries, AuditEntryOut
    filters = (
        by_word("kind", "kind", AuditEntry.Kind.values),
        by_day("since", "at__date__gte", "On this day or after."),
        by_day("until", "at__date__lte", "On this day or before."),
    )
