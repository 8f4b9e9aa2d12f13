"""When a tenancy begins, as a viewer may see it, and whose records who moves in must have before."""

from datetime import date

from django.db.models import QuerySet

from fleet.assess.due.tenancies import Owed, owed_records
from fleet.models import Delivery, Tenancy, User
from fleet.queries.access import visible_clients


def visible_tenancies(viewer: User) -> QuerySet[Tenancy]:
    mine = Tenancy.objects.filter(building__client__in=visible_clients(viewer))
    return mine.select_related("building", "appliance")


def without_record(viewer: User, day: date) -> list[Owed]:
    """What is owed before tenancies from this day on, and cannot be delivered: no check has discharged the duty yet."""
    coming = list(visible_tenancies(viewer).filter(begins__gte=day, called_off=""))
    missing = [each for each in owed_records(coming) if each.visit is None]
    known = Delivery.objects.filter(tenancy__in={each.tenancy.id for each in missing}).values_list(
        "tenancy_id", "visit__appliance_id", "limit_set_id"
    )
    standing = set(known) if missing else set()
    lacking = [each for each in missing if (each.tenancy.id, each.appliance.id, each.limit_set.id) not in standing]
    return sorted(lacking, key=lambda each: (each.tenancy.begins, each.appliance.name, each.limit_set.key))
