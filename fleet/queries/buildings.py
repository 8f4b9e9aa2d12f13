"""Buildings and clients, as a viewer may see them."""

from django.db.models import QuerySet

from fleet.models import Building, User
from fleet.queries.access import visible_clients


def visible_buildings(viewer: User) -> QuerySet[Building]:
    return Building.objects.filter(client__in=visible_clients(viewer)).select_related("client")
