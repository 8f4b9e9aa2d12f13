"""Records as a viewer may see them, files beside them, and messages that could not be read."""

import uuid

from django.db.models import Q, QuerySet

from fleet.models import HeldMessage, Record, StoredFile, User, Visit
from fleet.queries.access import visible_clients


def visible_records(viewer: User) -> QuerySet[Record]:
    """Calibrations, qualifications, sheets, limit sets and stop lines are read by everybody who reads records."""
    if not viewer.is_authenticated or not viewer.is_active:
        return Record.objects.none()
    visits = Visit.objects.filter(appliance__building__client__in=visible_clients(viewer)).values("id")
    mine = Q(kind="visit", subject__in=visits) | ~Q(kind="visit")
    return Record.objects.filter(mine).select_related("actor")


def visit_records(viewer: User, appliance_id: uuid.UUID | None = None) -> QuerySet[Record]:
    """Records of visits and their corrections; of one appliance where it is named."""
    visits = Visit.objects.filter(appliance__building__client__in=visible_clients(viewer))
    chosen = visits.filter(appliance=appliance_id) if appliance_id else visits
    return Record.objects.filter(kind="visit", subject__in=chosen.values("id")).select_related("actor")


def all_held_messages(viewer: User) -> QuerySet[HeldMessage]:
    """Messages that could not be read, settled ones too, for people who see all clients: theirs can't be known."""
    if not viewer.is_active or not viewer.sees_all_clients:
        return HeldMessage.objects.none()
    return HeldMessage.objects.select_related("actor", "settled_by")


def held_messages(viewer: User) -> QuerySet[HeldMessage]:
    """Those that nobody has settled yet."""
    return all_held_messages(viewer).filter(settled_at__isnull=True)


def visible_files(viewer: User) -> QuerySet[StoredFile]:
    clients = visible_clients(viewer)
    of_visits = Q(visit__appliance__building__client__in=clients)
    mine = StoredFile.objects.filter(of_visits | Q(no_access__appliance__building__client__in=clients))
    return mine.select_related("uploaded_by")
