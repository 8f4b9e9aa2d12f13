"""Limit sets, where they are attached, and the stop lines in force."""

from collections import defaultdict
from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.models import Appliance, LimitSet, LimitSetAttachment, LimitSetVersion, StopLines, User
from fleet.queries.access import visible_clients
from fleet.queries.versions import version_of_day


def all_limit_sets(viewer: User) -> QuerySet[LimitSet]:
    """Limit sets are public knowledge: everybody who is logged in reads them."""
    if not viewer.is_active:
        return LimitSet.objects.none()
    return LimitSet.objects.prefetch_related("versions")


def visible_attachments(viewer: User) -> QuerySet[LimitSetAttachment]:
    clients = visible_clients(viewer)
    place = Q(client__in=clients) | Q(building__client__in=clients) | Q(appliance__building__client__in=clients)
    return LimitSetAttachment.objects.filter(place).select_related("limit_set", "client", "building", "appliance")


def attachments_of(appliance: Appliance) -> QuerySet[LimitSetAttachment]:
    """Every attachment that reaches the appliance: its own, its building's, its client's."""
    building = appliance.building
    place = Q(appliance=appliance) | Q(building=building) | Q(client=building.client_id)
    return LimitSetAttachment.objects.filter(place).select_related("limit_set")


def limit_set_versions_on(appliance: Appliance, day: date) -> list[LimitSetVersion]:
    """Of each set that is attached on that day, the version in force then, by the set's key."""
    in_force = attachments_of(appliance).filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
    versions: dict[UUID, list[LimitSetVersion]] = defaultdict(list)
    attached = LimitSetVersion.objects.filter(limit_set__in=in_force.values("limit_set"))
    for each in attached.select_related("limit_set", "record").defer("record__content"):
        versions[each.limit_set_id].append(each)
    of_day = [version_of_day(each, day, appliance.building.time_zone) for each in versions.values()]
    return sorted((each for each in of_day if each), key=lambda each: each.limit_set.key)


def stop_lines_on(day: date, time_zone: str) -> StopLines:
    """The contractor's lines in force on that day. There always are some: the installation begins with them."""
    known = StopLines.objects.select_related("record").defer("record__content")
    lines = version_of_day(known, day, time_zone)
    if lines is None:
        raise StopLines.DoesNotExist
    return lines


def all_stop_lines(viewer: User) -> QuerySet[StopLines]:
    """Every version: the lines are the contractor's, and everybody who is logged in reads them."""
    return StopLines.objects.all() if viewer.is_authenticated else StopLines.objects.none()
