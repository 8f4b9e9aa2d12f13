"""Duties as a viewer may see them."""

from django.db.models import Q, QuerySet

from fleet.models import Duty, User
from fleet.queries.access import visible_clients


def visible_duties(viewer: User) -> QuerySet[Duty]:
    mine = Duty.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "decided_by")


def standing_duties(viewer: User) -> QuerySet[Duty]:
    """Those that have not ended, of appliances in service, with the client they are for."""
    standing = visible_duties(viewer).filter(until__isnull=True, appliance__in_service_to__isnull=True)
    return standing.select_related("appliance__building__client", "decided_by")


def undecided_duties(viewer: User) -> QuerySet[Duty]:
    """Standing duties that have no date, or whose date rests on a fact that nobody has recorded."""
    return standing_duties(viewer).filter(Q(due__isnull=True) | ~Q(cannot_tell=""))
