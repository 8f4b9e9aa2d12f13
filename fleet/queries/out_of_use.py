"""When appliances were out of use, as a viewer may see it."""

from django.db.models import QuerySet

from fleet.models import OutOfUse, User
from fleet.queries.access import visible_clients


def visible_out_of_use(viewer: User) -> QuerySet[OutOfUse]:
    mine = OutOfUse.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")
