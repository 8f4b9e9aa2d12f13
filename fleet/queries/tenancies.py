"""When a tenancy begins, as a viewer may see it."""

from django.db.models import QuerySet

from fleet.models import Tenancy, User
from fleet.queries.access import visible_clients


def visible_tenancies(viewer: User) -> QuerySet[Tenancy]:
    mine = Tenancy.objects.filter(building__client__in=visible_clients(viewer))
    return mine.select_related("building", "appliance")
