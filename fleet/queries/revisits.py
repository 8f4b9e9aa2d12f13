"""Revisits as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Revisit, User
from fleet.queries.access import visible_clients


def visible_revisits(viewer: User) -> QuerySet[Revisit]:
    mine = Revisit.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")
