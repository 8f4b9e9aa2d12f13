"""Marks of visits as a viewer may see them, settled ones too."""

from django.db.models import QuerySet

from fleet.models import Mark, User
from fleet.queries.access import visible_clients


def visible_marks(viewer: User) -> QuerySet[Mark]:
    mine = Mark.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("visit__appliance__building", "settled_by")
