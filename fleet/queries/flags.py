"""Flags as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Flag, User
from fleet.queries.access import visible_clients


def visible_flags(viewer: User) -> QuerySet[Flag]:
    mine = Flag.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "acknowledged_by", "closed_by")
