"""Deliveries as a viewer may see them, and those that are open or overdue."""

from datetime import date, datetime

from django.db.models import QuerySet

from fleet.models import Delivery, Record, User, Visit
from fleet.queries.access import visible_clients


def visible_deliveries(viewer: User) -> QuerySet[Delivery]:
    mine = Delivery.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    related = mine.select_related("visit__appliance__building__client", "limit_set")
    return related.prefetch_related("sendings__sent_by", "sendings__failed_by", "sendings__file")


def open_deliveries(viewer: User) -> QuerySet[Delivery]:
    """Not sent yet, or back in the office."""
    return visible_deliveries(viewer).filter(sent_at__isnull=True)


def overdue_deliveries(viewer: User, day: date) -> QuerySet[Delivery]:
    return open_deliveries(viewer).filter(due__lt=day)


def corrections_of(visit: Visit) -> list[datetime]:
    """When its record was corrected, in order: what was sent before is an older record."""
    corrected = Record.objects.filter(kind="visit", subject=visit.id, amends__isnull=False)
    return list(corrected.order_by("id").values_list("received_at", flat=True))
