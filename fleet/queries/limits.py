"""Limit sets, where they are attached, and the stop lines in force."""

from django.db.models import Q, QuerySet

from fleet.models import LimitSet, LimitSetAttachment, StopLines, User
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


def all_stop_lines(viewer: User) -> QuerySet[StopLines]:
    """Every version: the lines are the contractor's, and everybody who is logged in reads them."""
    return StopLines.objects.all() if viewer.is_authenticated else StopLines.objects.none()
