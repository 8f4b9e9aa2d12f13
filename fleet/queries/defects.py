"""Defects as a viewer may see them, and those that are open or overdue."""

from datetime import date

from django.db.models import QuerySet

from fleet.models import Defect, User
from fleet.models.defects import STILL_OPEN
from fleet.queries.access import visible_clients


def visible_defects(viewer: User) -> QuerySet[Defect]:
    mine = Defect.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building__client", "visit", "settled_by")


def open_defects(viewer: User) -> QuerySet[Defect]:
    return visible_defects(viewer).filter(STILL_OPEN)


def overdue_defects(viewer: User, day: date) -> QuerySet[Defect]:
    return open_defects(viewer).filter(due__lt=day)
