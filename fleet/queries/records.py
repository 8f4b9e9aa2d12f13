"""Records as a viewer may see them, files beside them, and messages that could not be read."""

import uuid
from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import F, Model, Q, QuerySet

from fleet.assess.entries import ENTRIES, EntryChange
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Client,
    FlueGroup,
    GasConversion,
    GasSupply,
    LimitSet,
    LimitSetAssignment,
    ModelSheet,
    OutOfUse,
    Record,
    RequiredCheck,
    StoredFile,
    UnreadableRecord,
    User,
    Visit,
)
from fleet.models.records import content_of
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


def entry_changes(viewer: User, of: Building | Appliance | Analyser) -> list[EntryChange]:
    """What was made and changed of an entry of the register and of what hangs on it, the newest first."""
    return _changes(viewer, visible_records(viewer).filter(kind__in=ENTRIES, subject__in=_with_parts({of.id})))


def changes_since(viewer: User, client: Client, building: Building | None, day: date) -> list[EntryChange]:
    """What was changed from that day on of what decides who is in a statement and what it is held to, newest first."""
    places = {building.id} if building else {*Building.objects.filter(client=client).values_list("id", flat=True)}
    appliances = {*Appliance.objects.filter(building__in=places).values_list("id", flat=True)}
    agreed = {*LimitSetAssignment.objects.filter(client=client).values_list("id", flat=True)}
    subjects = _with_parts(places | appliances) | agreed
    since = visible_records(viewer).filter(kind__in=ENTRIES, subject__in=subjects, received_at__date__gte=day)
    return [each for each in _changes(viewer, since) if each.was]


def _with_parts(ids: set[uuid.UUID]) -> set[uuid.UUID]:
    """These buildings and appliances, and what is on the register for them."""
    gases = GasSupply.objects.filter(building__in=ids)
    checks = RequiredCheck.objects.filter(appliance__in=ids)
    assigned = LimitSetAssignment.objects.filter(Q(building__in=ids) | Q(appliance__in=ids))
    return ids.union(*(each.values_list("id", flat=True) for each in (gases, checks, assigned)))


def _changes(viewer: User, records: QuerySet[Record]) -> list[EntryChange]:
    said = [(each, content_of(each)) for each in records.order_by("-received_at", "-id")]
    named: dict[str, set[str]] = defaultdict(set)
    for each, content in said:
        named[each.kind].add(str(each.subject))
        for name, id in (pair for state in ("was", "is") for pair in content[state].items() if pair[1]):
            named[name].add(str(id))
    names = _names(viewer, named)
    return [EntryChange(each, content["was"], content["is"], names) for each, content in said]


def _names(viewer: User, named: Mapping[str, set[str]]) -> dict[str, str]:
    """By id the names of those that this viewer may see. named : ids by the field that holds them."""
    mine = visible_clients(viewer)
    known: dict[str, QuerySet[Any]] = {
        "client": mine,
        "building": Building.objects.filter(client__in=mine),
        "flue_group": FlueGroup.objects.filter(building__client__in=mine),
        "sheet": ModelSheet.objects.all(),
        "limit_set": LimitSet.objects.all(),
        "appliance": Appliance.objects.filter(building__client__in=mine).annotate(at=F("building__name")),
    }
    names: dict[str, str] = {}
    for field in known.keys() & named.keys():
        wanted = known[field].filter(id__in=named[field])
        names |= {str(each.id): ", ".join(filter(None, (each.name, getattr(each, "at", "")))) for each in wanted}
    return names


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
