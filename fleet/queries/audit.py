"""The audit trail, for a manager of all clients."""

from django.db.models import QuerySet

from fleet.models import AuditEntry, User
from fleet.models.access import may_see


def visible_audit_entries(viewer: User) -> QuerySet[AuditEntry]:
    if not may_see(viewer, "audit_trail"):
        return AuditEntry.objects.none()
    return AuditEntry.objects.select_related("user", "by")
