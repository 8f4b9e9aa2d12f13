"""Retests as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Retest, User
from fleet.queries.access import visible_clients


def visible_retests(viewer: User) -> QuerySet[Retest]:
    mine = Retest.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "limit_set")
