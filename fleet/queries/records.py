"""Records as a viewer may see them: those of their clients' visits, and those that belong to no client."""

import uuid

from django.db.models import Q, QuerySet

from fleet.models import Record, User, Visit
from fleet.queries.access import visible_clients


def visible_records(viewer: User) -> QuerySet[Record]:
    """Calibrations, qualifications, sheets, limit sets and stop lines are read by everybody who reads records."""
    if not viewer.is_authenticated or not viewer.is_active:
        return Record.objects.none()
    visits = Visit.objects.filter(appliance__building__client__in=visible_clients(viewer)).values("id")
    mine = Q(kind="visit", subject__in=visits) | ~Q(kind="visit")
    return Record.objects.filter(mine).select_related("actor")


def visit_records(viewer: User, appliance_id: uuid.UUID | None = None) -> QuerySet[Record]:
    """Records of visits and their corrections; of one appliance where it is named."""
    visits = Visit.objects.filter(appliance__building__client__in=visible_clients(viewer))
    chosen = visits.filter(appliance=appliance_id) if appliance_id else visits
    return Record.objects.filter(kind="visit", subject__in=chosen.values("id")).select_related("actor")
