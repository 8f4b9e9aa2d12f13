"""Which gas came to a building from which day, as a viewer may see it."""

from django.db.models import QuerySet

from fleet.models import GasSupply, User
from fleet.queries.access import visible_clients


def visible_gas_supplies(viewer: User) -> QuerySet[GasSupply]:
    return GasSupply.objects.filter(building__client__in=visible_clients(viewer)).select_related("building")
