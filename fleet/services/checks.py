"""What a visit is worth as a check: kept beside its judgement, and made again where an older program made it."""

import uuid
from collections.abc import Collection, Iterable

from django.db.models import Q

from fleet.assess.due.checks import MADE_WITH, check_of
from fleet.models import Judgement, Visit, VisitCheck

AT_ONCE = 500


def put_check(*, visit: Visit, judgement: Judgement) -> None:
    """After each judgement, in its transaction."""
    _put([check_of(visit, judgement)])


def catch_up(appliance_ids: Collection[uuid.UUID] | None = None) -> int:
    """Make those that are missing or that an older program made; of these appliances, or of all. Returns how many."""
    if appliance_ids is None and _none_missing():
        return 0
    older = Visit.objects.filter(Q(check_made__isnull=True) | ~Q(check_made__made_with=MADE_WITH))
    if appliance_ids is not None:
        older = older.filter(appliance__in=appliance_ids)
    ids = list(older.filter(judgement__isnull=False).order_by("id").values_list("id", flat=True))
    for first in range(0, len(ids), AT_ONCE):
        related = Visit.objects.filter(id__in=ids[first : first + AT_ONCE]).select_related("attendance", "judgement")
        visits = related.prefetch_related("readings", "work", "defects").defer("judgement__card")
        _put(check_of(each, each.judgement) for each in visits)
    return len(ids)


def _none_missing() -> bool:
    return Judgement.objects.count() == VisitCheck.objects.filter(made_with=MADE_WITH).count()


def _put(made: Iterable[VisitCheck]) -> None:
    names = [each.name for each in VisitCheck._meta.fields if not each.primary_key]
    VisitCheck.objects.bulk_create(made, update_conflicts=True, unique_fields=["visit"], update_fields=names)
