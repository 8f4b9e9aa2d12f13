"""The audit trail, for a manager of all clients; and what it says of where somebody comes from."""

from django.db.models import Q, QuerySet

from fleet.models import AuditEntry, User
from fleet.models.access import may_see


def visible_audit_entries(viewer: User) -> QuerySet[AuditEntry]:
    if not may_see(viewer, "audit_trail"):
        return AuditEntry.objects.none()
    return AuditEntry.objects.select_related("user", "by")


def has_come_from(viewer: User, network: str) -> bool:
    """Whether they logged in from there before, or set a password by the link that they were given."""
    known = AuditEntry.objects.filter(user=viewer, network=network)
    return known.filter(Q(kind=AuditEntry.Kind.LOGGED_IN) | Q(by=viewer, said__0="password_set")).exists()
