"""The audit trail, for a manager of all clients; and what it says of where somebody comes from."""

import re
from collections.abc import Iterable

from django.db.models import Q, QuerySet

from fleet.models import Analyser, Appliance, AuditEntry, Building, Client, LimitSet, ModelSheet, Person, User, Visit
from fleet.models.access import may_see

_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def visible_audit_entries(viewer: User) -> QuerySet[AuditEntry]:
    if not may_see(viewer, "audit_trail"):
        return AuditEntry.objects.none()
    return AuditEntry.objects.select_related("user", "by")


def names_in(viewer: User, paths: Iterable[str]) -> dict[str, str]:
    """What the ids in addresses name, of what has a name and the viewer may see on the trail."""
    ids = {each for path in paths for each in _ID.findall(path)}
    if not ids or not may_see(viewer, "audit_trail"):
        return {}
    names: dict[str, str] = {}
    for model in (Client, Building, Appliance, Person, Analyser, ModelSheet, LimitSet, User):
        names |= {str(each.pk): str(each) for each in model._default_manager.filter(pk__in=ids)}
    for each in Visit.objects.filter(id__in=ids).select_related("appliance"):
        names[str(each.id)] = f"{each.appliance}, {each.local_date:%Y-%m-%d}"
    return names


def has_come_from(viewer: User, network: str) -> bool:
    """Whether they logged in from there before, or set a password by the link that they were given."""
    known = AuditEntry.objects.filter(user=viewer, network=network)
    return known.filter(Q(kind=AuditEntry.Kind.LOGGED_IN) | Q(by=viewer, said__0="password_set")).exists()
