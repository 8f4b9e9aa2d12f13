"""Records as a viewer may see them, files beside them, and messages that could not be read."""

import uuid

from django.db.models import Q, QuerySet

from fleet.models import GasConversion, OutOfUse, Record, StoredFile, UnreadableRecord, User, Visit
from fleet.queries.access import visible_clients

# Whose a record is, by its kind; of a kind that stands in neither it is nobody's. Its subject is a row of these: each
# is of one appliance, and so of its client.
OF_AN_APPLIANCE = {"visit": Visit, "gas_conversion": GasConversion, "out_of_use": OutOfUse}
# What is judged by, and who and what measured: read by everybody who reads records.
OF_THE_INSTALLATION = ("calibration", "qualification", "sheet_version", "limit_set_version", "stop_levels")


def visible_records(viewer: User) -> QuerySet[Record]:
    if not viewer.is_active:
        return Record.objects.none()
    mine = Q(kind__in=OF_THE_INSTALLATION)
    for kind, table in OF_AN_APPLIANCE.items():
        mine |= Q(kind=kind, subject__in=table._default_manager.filter(_of_clients(viewer)).values("id"))
    return Record.objects.filter(mine).select_related("actor")


def _of_clients(viewer: User) -> Q:
    return Q(appliance__building__client__in=visible_clients(viewer))


def visit_records(viewer: User, appliance_id: uuid.UUID | None = None) -> QuerySet[Record]:
    """Records of visits and their corrections; of one appliance where it is named."""
    visits = Visit.objects.filter(_of_clients(viewer))
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
