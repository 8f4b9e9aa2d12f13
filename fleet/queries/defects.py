"""Defects as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Defect, User
from fleet.queries.access import visible_clients


def visible_defects(viewer: User) -> QuerySet[Defect]:
    mine = Defect.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")
