"""Records as a viewer may see them, files beside them, and messages that could not be read."""

import uuid
from functools import reduce
from operator import or_

from django.db.models import Model, Q, QuerySet

from fleet.models import (
    Appliance,
    Building,
    GasConversion,
    GasSupply,
    LimitSetAssignment,
    OutOfUse,
    Record,
    RequiredCheck,
    StoredFile,
    UnreadableRecord,
    User,
    Visit,
)
from fleet.queries.access import visible_clients

# Whose a record is, by its kind; of a kind that stands in neither it is nobody's. Its subject is a row of these: each
# is of one appliance, building or client, and so of a client, by one of these ways.
_APPLIANCE = "appliance__building__client"
OF_A_CLIENT: dict[str, tuple[type[Model], tuple[str, ...]]] = {
    "visit": (Visit, (_APPLIANCE,)),
    "gas_conversion": (GasConversion, (_APPLIANCE,)),
    "out_of_use": (OutOfUse, (_APPLIANCE,)),
    "building": (Building, ("client",)),
    "gas_supply": (GasSupply, ("building__client",)),
    "appliance": (Appliance, ("building__client",)),
    "assignment": (LimitSetAssignment, ("client", "building__client", _APPLIANCE)),
    "required_check": (RequiredCheck, (_APPLIANCE,)),
}
# What is judged by, and who and what measured: read by everybody who reads records.
OF_THE_INSTALLATION = ("calibration", "qualification", "sheet_version", "limit_set_version", "stop_levels", "analyser")


def visible_records(viewer: User) -> QuerySet[Record]:
    if not viewer.is_active:
        return Record.objects.none()
    mine = Q(kind__in=OF_THE_INSTALLATION)
    clients = visible_clients(viewer)
    for kind, (table, ways) in OF_A_CLIENT.items():
        of_mine = reduce(or_, (Q(**{f"{way}__in": clients}) for way in ways))
        mine |= Q(kind=kind, subject__in=table._default_manager.filter(of_mine).values("id"))
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
