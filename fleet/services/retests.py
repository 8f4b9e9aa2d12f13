"""Retests: the clock that a set starts when CO is found over its limit, or when an appliance is called unsafe."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.db.models import F
from django.utils.translation import gettext as _

from fleet.intervals import next_due
from fleet.models import Judgement, LimitSetVersion, Retest, Visit, VisitCheck
from fleet.queries.checks import CO_QUANTITIES
from fleet.services.ceilings import NO_LIMIT
from fleet.services.set_clocks import retest_clock


def put_retests(*, visit: Visit, judgement: Judgement, versions: Sequence[LimitSetVersion]) -> None:
    """One a set whose clock this visit starts, by the set's version of that day; what a correction took back is gone.

    versions: of the sets by which the visit was judged, each with its set.
    """
    started = [_retest(visit, each) for each in versions if _starts(each, visit, judgement)]
    Retest.objects.filter(visit=visit).exclude(limit_set__in=[each.limit_set_id for each in started]).delete()
    Retest.objects.bulk_create(
        started,
        update_conflicts=True,
        unique_fields=["visit", "limit_set"],
        update_fields=["appliance", "event", "found_on", "due", "words"],
    )


def _starts(version: LimitSetVersion, visit: Visit, judgement: Judgement) -> bool:
    clock = retest_clock(version)
    if clock is None:
        return False
    if clock["event"] == Retest.Event.UNSAFE:
        return visit.unsafe
    named = clock.get("limits")
    return any(
        row["set_id"] == version.limit_set.key
        and row["outcome"] == "outside"
        and row["quantity"] in CO_QUANTITIES
        and row["severity"] not in NO_LIMIT
        and (named is None or row["limit_id"] in named)
        for row in judgement.verdicts["verdicts"]
    )


def _retest(visit: Visit, version: LimitSetVersion) -> Retest:
    clock = version.content["retest"]  # one that starts
    made = next_due({name: clock[name] for name in ("type", "event", "days")}, [], start=visit.local_date)
    assert made.due is not None  # so many days after a day is a day
    words = _("Another test by %(set)s: %(words)s") % {"set": version.limit_set.name, "words": made.words}
    return Retest(
        appliance_id=visit.appliance_id,
        visit=visit,
        limit_set=version.limit_set,
        event=clock["event"],
        found_on=visit.local_date,
        due=made.due,
        words=words[:500],
    )


def settle_retests(appliance_ids: Iterable[uuid.UUID], until: date) -> list[Retest]:
    """Each retest ended by the first check after its finding, or open again; returns the open ones.

    until: the latest day that a check may have.
    """
    known = list(Retest.objects.filter(appliance__in=list(appliance_ids)))
    if not known:
        return []
    made: dict[uuid.UUID, list[uuid.UUID]] = defaultdict(list)
    counting = VisitCheck.objects.filter(appliance__in={each.appliance_id for each in known}, counts=True)
    for appliance_id, visit_id in counting.filter(local_date__lte=until).values_list("appliance_id", "visit_id"):
        made[appliance_id].append(visit_id)
    order = _moments({visit for some in made.values() for visit in some} | {each.visit_id for each in known})
    still_open = []
    for each in known:
        later = [visit for visit in made[each.appliance_id] if order[visit] > order[each.visit_id]]
        done_by = min(later, key=order.__getitem__, default=None)
        if each.done_by_id != done_by:
            Retest.objects.filter(id=each.id).update(done_by=done_by, version=F("version") + 1)
        if done_by is None:
            still_open.append(each)
    return still_open


def _moments(visit_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, tuple[date, datetime]]:
    """When each visit was, for the order of visits of one day."""
    visits = Visit.objects.filter(id__in=set(visit_ids)).only("id", "local_date", "attendance")
    related = visits.select_related("attendance").prefetch_related("readings")
    return {each.id: (each.local_date, each.last_moment) for each in related}
