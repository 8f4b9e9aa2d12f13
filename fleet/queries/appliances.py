"""Appliances, their sheets and flues, as a viewer may see them."""

from django.db.models import Prefetch, QuerySet

from fleet.models import Appliance, FlueGroup, ModelSheet, SheetVersion, User
from fleet.queries.access import visible_clients


def visible_appliances(viewer: User) -> QuerySet[Appliance]:
    return (
        Appliance.objects.filter(building__client__in=visible_clients(viewer))
        .select_related("building__client", "sheet", "flue_group")
        .prefetch_related("sheet__versions", "building__gas_supplies")
    )


def visible_flue_groups(viewer: User) -> QuerySet[FlueGroup]:
    return FlueGroup.objects.filter(building__client__in=visible_clients(viewer)).select_related("building")


def all_sheets(viewer: User) -> QuerySet[ModelSheet]:
    """Sheets are the contractor's knowledge, not a client's: everybody who is logged in reads them."""
    if not viewer.is_active:
        return ModelSheet.objects.none()
    return ModelSheet.objects.prefetch_related(Prefetch("versions", SheetVersion.objects.order_by("number")))
