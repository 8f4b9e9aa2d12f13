"""Limit sets, where they are attached, and the stop lines in force."""

from datetime import date

from django.db.models import Q, QuerySet

from fleet.models import Appliance, LimitSet, LimitSetAttachment, LimitSetVersion, StopLines, User
from fleet.queries.access import visible_clients


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
    """The newest version of each set that is attached on that day, by the set's key."""
    in_force = attachments_of(appliance).filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
    versions = LimitSetVersion.objects.filter(limit_set__attachments__in=in_force).select_related("limit_set")
    newest = {each.limit_set_id: each for each in versions.order_by("number")}
    return sorted(newest.values(), key=lambda each: each.limit_set.key)


def stop_lines_in_force() -> StopLines:
    """The contractor's newest stop lines. There always are some: the installation begins with them."""
    return StopLines.objects.latest("number")


def all_stop_lines(viewer: User) -> QuerySet[StopLines]:
    """Every version: the lines are the contractor's, and everybody who is logged in reads them."""
    return StopLines.objects.all() if viewer.is_authenticated else StopLines.objects.none()
