"""Deliveries as a viewer may see them, and those that are open or overdue."""

from datetime import date, datetime

from django.db.models import Q, QuerySet

from fleet.models import Delivery, Record, User, Visit
from fleet.queries.access import visible_clients

OPEN = Q(sent_at__isnull=True, not_needed="")


def visible_deliveries(viewer: User) -> QuerySet[Delivery]:
    """Of the visits that they may see; what was sent before a tenancy elsewhere, until a correction, is not theirs."""
    clients = visible_clients(viewer)
    mine = Delivery.objects.filter(visit__appliance__building__client__in=clients)
    mine = mine.filter(Q(tenancy__isnull=True) | Q(tenancy__building__client__in=clients))
    related = mine.select_related("visit__appliance__building__client", "limit_set")
    return related.prefetch_related("sendings__sent_by", "sendings__failed_by", "sendings__file")


def open_deliveries(viewer: User) -> QuerySet[Delivery]:
    """Not sent yet, or back in the office."""
    return visible_deliveries(viewer).filter(OPEN)


def overdue_deliveries(viewer: User, day: date) -> QuerySet[Delivery]:
    return open_deliveries(viewer).filter(due__lt=day)


def corrections_of(visit: Visit) -> list[datetime]:
    """When its record was corrected, in order: what was sent before is an older record."""
    corrected = Record.objects.filter(kind="visit", subject=visit.id, amends__isnull=False)
    return list(corrected.order_by("id").values_list("received_at", flat=True))
