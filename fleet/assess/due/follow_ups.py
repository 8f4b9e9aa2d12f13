"""What a finding asks for by a day: a defect repaired, another test."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from fleet.assess.due.rule_facts import NO_LIMIT
from fleet.assess.due.set_rules import repair_days, retest_clock
from fleet.coded import Coded, as_rows, coded
from fleet.intervals import next_due
from fleet.limits.quantities import CO_QUANTITIES
from fleet.models import Defect, Judgement, LimitSetVersion, Retest, Visit, VisitCheck
from fleet.models.follow_ups import STILL_OPEN


def last_day_of(
    defect: Defect, versions: Sequence[LimitSetVersion], within: Mapping[str, Any]
) -> tuple[date | None, list[Any]]:
    """By when it is to be repaired, and how that comes about. within: the contractor's days by severity."""
    found_on = defect.visit.local_date
    asked = [(defect.repair_by, coded("as_recorded"))] if defect.repair_by else []
    asked += [
        _by_clock("by_set", days, found_on, set=version.limit_set.name)
        for version in versions
        for days in repair_days(version, defect.severity)
    ]
    if not asked and defect.severity in within:
        asked.append(_by_clock("by_own_choice", int(within[defect.severity]), found_on))
    due, step = min(asked, key=lambda each: each[0], default=(None, None))
    return due, as_rows([step] if step else [])


def _by_clock(code: str, days: int, found_on: date, **named: str) -> tuple[date, Coded]:
    due = found_on + timedelta(days=days)
    return due, coded(code, days=days, found_on=found_on, due_on=due, **named)


def open_defects(appliance_ids: Iterable[uuid.UUID]) -> list[tuple[Defect, list[LimitSetVersion]]]:
    """The open defects of these appliances, each with the versions by which its visit was judged."""
    still_open = Defect.objects.filter(STILL_OPEN, appliance__in=list(appliance_ids))
    related = still_open.select_related("visit__judgement").defer(
        "visit__card_seen", "visit__restore_steps", "visit__judgement__card", "visit__judgement__derived",
        "visit__judgement__verdicts",
    )  # fmt: skip
    known = related.prefetch_related("visit__judgement__limit_set_versions__limit_set")
    return [(each, list(each.visit.judgement.limit_set_versions.all())) for each in known]


def retests_started(visit: Visit, judgement: Judgement, versions: Iterable[LimitSetVersion]) -> list[Retest]:
    """One a set whose clock this visit starts, not stored. versions: of the sets that judged it, each with its set."""
    return [_retest(visit, each) for each in versions if _starts(each, visit, judgement)]


def _starts(version: LimitSetVersion, visit: Visit, judgement: Judgement) -> bool:
    clock = retest_clock(version)
    if clock is None:
        return False
    if clock["event"] == Retest.Event.UNSAFE:
        return visit.unsafe
    named = clock.get("limits")
    return any(
        row.set_id == version.limit_set.key
        and row.outcome == "outside"
        and row.quantity in CO_QUANTITIES
        and row.severity not in NO_LIMIT
        and (named is None or row.limit_id in named)
        for row in judgement.said
    )


def _retest(visit: Visit, version: LimitSetVersion) -> Retest:
    clock = version.content["retest"]  # one that starts
    made = next_due({name: clock[name] for name in ("type", "event", "days")}, [], start=visit.local_date)
    assert made.due is not None  # so many days after a day is a day
    return Retest(
        appliance_id=visit.appliance_id,
        visit=visit,
        limit_set=version.limit_set,
        event=clock["event"],
        found_on=visit.local_date,
        due=made.due,
        steps=as_rows(made.steps),
    )


def first_checks_after(retests: Collection[Retest], until: date) -> dict[uuid.UUID, uuid.UUID | None]:
    """By retest the first visit after its finding that counts as a check; until: the latest day that one may have."""
    if not retests:
        return {}
    made: dict[uuid.UUID, list[uuid.UUID]] = defaultdict(list)
    counting = VisitCheck.objects.filter(appliance__in={each.appliance_id for each in retests}, counts=True)
    for appliance_id, visit_id in counting.filter(local_date__lte=until).values_list("appliance_id", "visit_id"):
        made[appliance_id].append(visit_id)
    order = _moments({visit for some in made.values() for visit in some} | {each.visit_id for each in retests})
    return {
        each.id: min(
            (visit for visit in made[each.appliance_id] if order[visit] > order[each.visit_id]),
            key=order.__getitem__,
            default=None,
        )
        for each in retests
    }


def _moments(visit_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, tuple[date, datetime]]:
    """When each visit was, for the order of visits of one day."""
    visits = Visit.objects.filter(id__in=set(visit_ids)).only("id", "local_date", "attendance")
    related = visits.select_related("attendance").prefetch_related("readings")
    return {each.id: (each.local_date, each.last_moment) for each in related}
