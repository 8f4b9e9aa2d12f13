"""Required checks as a viewer may see them, and when each falls due by the checks on record up to a day."""

from datetime import date

from django.db.models import QuerySet

from fleet.models import RequiredCheck, User
from fleet.models.appliances import not_gone
from fleet.queries.access import visible_clients


def visible_required_checks(viewer: User) -> QuerySet[RequiredCheck]:
    mine = RequiredCheck.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "decided_by")


def standing_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Those that have not ended, of appliances that have not left, with the client they are for."""
    standing = visible_required_checks(viewer).filter(not_gone(day, "appliance__"), until__isnull=True)
    return standing.select_related("appliance__building__client", "decided_by")


def dated_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks whose date is certain: only these can be late."""
    return standing_required_checks(viewer, day).filter(due__isnull=False, cannot_tell=[])


def undecided_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks whose date rests on a fact that nobody has recorded."""
    return standing_required_checks(viewer, day).exclude(cannot_tell=[])


def suspended_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks of appliances that are out of use: nothing is due until their restart."""
    return standing_required_checks(viewer, day).filter(suspended_since__isnull=False).order_by("suspended_since", "id")
