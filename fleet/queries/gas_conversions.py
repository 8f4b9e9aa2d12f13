"""Which appliances were made to burn another gas, as a viewer may see it, and what a check of the new gas must say."""

from django.db.models import QuerySet

from fleet.models import GasConversion, User
from fleet.queries.access import visible_clients


def visible_gas_conversions(viewer: User) -> QuerySet[GasConversion]:
    mine = GasConversion.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")
