"""Duties as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Duty, User
from fleet.queries.access import visible_clients


def visible_duties(viewer: User) -> QuerySet[Duty]:
    mine = Duty.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "decided_by")
