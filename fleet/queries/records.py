"""Records as a viewer may see them, files beside them, and messages that could not be read."""

import uuid

from django.db.models import Q, QuerySet

from fleet.models import Record, StoredFile, UnreadableRecord, User, Visit
from fleet.queries.access import visible_clients


def visible_records(viewer: User) -> QuerySet[Record]:
    """Calibrations, qualifications, sheets, limit sets and stop levels are read by everybody who reads records."""
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


def all_unreadable_records(viewer: User) -> QuerySet[UnreadableRecord]:
    """Messages that could not be read, resolved ones too, for people who see all clients: theirs can't be known."""
    if not viewer.is_active or not viewer.sees_all_clients:
        return UnreadableRecord.objects.none()
    return UnreadableRecord.objects.select_related("actor", "resolved_by")


def unreadable_records(viewer: User) -> QuerySet[UnreadableRecord]:
    """Those that nobody has resolved yet."""
    return all_unreadable_records(viewer).filter(resolved_at__isnull=True)


def visible_files(viewer: User) -> QuerySet[StoredFile]:
    clients = visible_clients(viewer)
    of_visits = Q(visit__appliance__building__client__in=clients)
    mine = StoredFile.objects.filter(of_visits | Q(no_access__appliance__building__client__in=clients))
    return mine.select_related("uploaded_by")
