"""Attempts without access as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import NoAccess, User
from fleet.queries.access import visible_clients


def visible_no_access(viewer: User) -> QuerySet[NoAccess]:
    mine = NoAccess.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "by").prefetch_related("files__uploaded_by")
