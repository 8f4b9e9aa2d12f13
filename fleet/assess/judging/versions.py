"""Which version of a sheet, a set or the stop levels was in force on a day, and which sets reached an appliance."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from fleet.models import Appliance, LimitSetAssignment, LimitSetVersion, SheetVersion, StopLevels

Version = TypeVar("Version", SheetVersion, LimitSetVersion, StopLevels)


def version_of_day(versions: Iterable[Version], day: date, time_zone: str) -> Version | None:
    """The newest version that had come in by that day at the building; the earliest where none had.

    None had where old paper is entered: the first version is what was known of that time. The versions' records
    must be at hand, or each asks the database for its own.
    """
    zone = ZoneInfo(time_zone)
    known = sorted(versions, key=lambda each: each.number)
    in_force = [each for each in known if each.record.received_at.astimezone(zone).date() <= day]
    return next(iter(in_force[-1:] or known[:1]), None)


def assignments_of(appliance: Appliance) -> QuerySet[LimitSetAssignment]:
    """Every assignment that reaches the appliance: its own, its building's, its client's."""
    building = appliance.building
    place = Q(appliance=appliance) | Q(building=building) | Q(client=building.client_id)
    return LimitSetAssignment.objects.filter(place).select_related("limit_set")


def limit_set_versions_on(appliance: Appliance, day: date) -> list[LimitSetVersion]:
    """Of each set that is attached on that day, the version in force then, by the set's key."""
    in_force = assignments_of(appliance).filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
    versions: dict[UUID, list[LimitSetVersion]] = defaultdict(list)
    assigned = LimitSetVersion.objects.filter(limit_set__in=in_force.values("limit_set"))
    for each in assigned.select_related("limit_set", "record").defer("record__content"):
        versions[each.limit_set_id].append(each)
    of_day = [version_of_day(each, day, appliance.building.time_zone) for each in versions.values()]
    return sorted((each for each in of_day if each), key=lambda each: each.limit_set.key)


def stop_levels_on(day: date, time_zone: str) -> StopLevels:
    """The contractor's lines in force on that day. There always are some: the installation begins with them."""
    known = StopLevels.objects.select_related("record").defer("record__content")
    lines = version_of_day(known, day, time_zone)
    if lines is None:
        raise StopLevels.DoesNotExist
    return lines


def assignments_in_force(day: date) -> QuerySet[LimitSetAssignment]:
    return LimitSetAssignment.objects.filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
