"""What is left to do after visits, as a viewer may see it: flags, questions, retests, defects, deliveries, attempts."""

from datetime import date

from django.db.models import Q, QuerySet

from fleet.assess.due.tenancies import Owed, owed_records
from fleet.models import Defect, Delivery, Flag, NoAccess, Question, Retest, Tenancy, User
from fleet.models.follow_ups import STILL_OPEN
from fleet.queries.access import visible_clients
from fleet.queries.visits import visible_visits


def visible_flags(viewer: User) -> QuerySet[Flag]:
    mine = Flag.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "acknowledged_by", "closed_by")


def visible_questions(viewer: User) -> QuerySet[Question]:
    mine = Question.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("visit__appliance__building", "resolved_by")


def visible_retests(viewer: User) -> QuerySet[Retest]:
    mine = Retest.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "limit_set")


def visible_no_access(viewer: User) -> QuerySet[NoAccess]:
    mine = NoAccess.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "by").prefetch_related("files__uploaded_by")


def visible_defects(viewer: User) -> QuerySet[Defect]:
    mine = Defect.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building__client", "visit", "resolved_by")


def open_defects(viewer: User) -> QuerySet[Defect]:
    return visible_defects(viewer).filter(STILL_OPEN)


def overdue_defects(viewer: User, day: date) -> QuerySet[Defect]:
    return open_defects(viewer).filter(due__lt=day)


OPEN = Q(sent_at__isnull=True, not_needed=[])


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


def open_questions(viewer: User) -> QuerySet[Question]:
    """What the office must still look at."""
    return Question.objects.filter(visit__in=visible_visits(viewer), resolved_at__isnull=True).select_related(
        "visit__appliance__building"
    )


def visible_tenancies(viewer: User) -> QuerySet[Tenancy]:
    mine = Tenancy.objects.filter(building__client__in=visible_clients(viewer))
    return mine.select_related("building", "appliance")


def without_record(viewer: User, day: date) -> list[Owed]:
    """What is owed before tenancies from this day on, and cannot be delivered: no check has counted the required check
    yet.
    """
    coming = list(visible_tenancies(viewer).filter(begins__gte=day, called_off=""))
    missing = [each for each in owed_records(coming) if each.visit is None]
    known = Delivery.objects.filter(tenancy__in={each.tenancy.id for each in missing}).values_list(
        "tenancy_id", "visit__appliance_id", "limit_set_id"
    )
    standing = set(known) if missing else set()
    lacking = [each for each in missing if (each.tenancy.id, each.appliance.id, each.limit_set.id) not in standing]
    return sorted(lacking, key=lambda each: (each.tenancy.begins, each.appliance.name, each.limit_set.key))
