"""What a visit is worth as a check: kept beside its judgement, and made again where an older program made it."""

import json
import uuid
from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from django.db.models import TextField
from django.db.models.functions import Cast

from fleet.assess.due.answers import answered_by_record, conditions_of, taken
from fleet.assess.judging.evidence import Used, used_in
from fleet.coded import Coded, as_rows, coded
from fleet.limits import Verdict
from fleet.limits.cases import COMMON_FLUE
from fleet.limits.quantities import CO_QUANTITIES
from fleet.models import Judgement, Visit, VisitCheck

# Raised whenever what answers a field, or what counts as a check, is told otherwise.
MADE_WITH = 3
TEXTS_KEPT = 4096


class Check(NamedTuple):
    """A visit on its local date: whether it counts as a check, and what its record answers.

    counts, why_not, answered, conditions, used: as `VisitCheck` keeps them.
    """

    day: date
    counts: bool
    why_not: tuple[Coded, ...]
    run_hours_h: float | None
    answered: frozenset[str]
    conditions: frozenset[str]
    used: Used


def checks_of(appliance_ids: Iterable[uuid.UUID], until: date) -> dict[uuid.UUID, list[Check]]:
    """The visits of each appliance up to a day, oldest first, those that count as a check and the others."""
    made = VisitCheck.objects.filter(appliance__in=set(appliance_ids), local_date__lte=until)
    # As texts: most visits answer the same, and each text is read once.
    texts = {f"{name}_text": Cast(name, TextField()) for name in ("why_not", "answered", "conditions", "used")}
    rows = made.annotate(**texts).order_by("local_date", "visit_id")
    names = ("appliance_id", "local_date", "counts", "run_hours_h", *texts)
    checks: dict[uuid.UUID, list[Check]] = defaultdict(list)
    for appliance_id, day, counts, hours, why_not, answered, conditions, used in rows.values_list(*names).iterator():
        said = _names(answered), _names(conditions), _used(used)
        checks[appliance_id].append(Check(day, counts, _coded(why_not), hours, *said))
    return checks


@lru_cache(maxsize=TEXTS_KEPT)
def _names(text: str) -> frozenset[str]:
    return frozenset(json.loads(text))


@lru_cache(maxsize=TEXTS_KEPT)
def _coded(text: str) -> tuple[Coded, ...]:
    return tuple((code, figures) for code, figures in json.loads(text))


@lru_cache(maxsize=TEXTS_KEPT)
def _used(text: str) -> Used:
    return Used.read(json.loads(text))


def why_no_check(visit: Visit, judgement: Judgement) -> tuple[Coded, ...]:
    """Why the visit is no check; empty where it is one.

    It is one if the appliance was tested and at least one reading of its own flue, not invalid, was judged for CO:
    found within or outside. What was only looked at, or read where it proves nothing, counts for no required check.
    """
    if visit.outcome != Visit.Outcome.TESTED:
        return (coded("not_tested", outcome=str(visit.outcome), reason=visit.outcome_reason),)
    own = {each.number for each in visit.readings.all() if each.sampling_point != COMMON_FLUE}
    invalid = {number for number, each in judgement.figures.items() if each.invalid}
    if _judged_for_co(judgement.said, own - invalid):
        return ()
    return (coded("no_reading_judged_for_co"),)


def _judged_for_co(verdicts: Iterable[Verdict], numbers: set[int]) -> bool:
    keys = {str(each) for each in numbers}
    return any(
        each.reading_key in keys and each.quantity in CO_QUANTITIES and each.outcome in ("within", "outside")
        for each in verdicts
    )


def check_of(visit: Visit, judgement: Judgement) -> VisitCheck:
    what = taken(visit, judgement.figures)
    why_not = why_no_check(visit, judgement)
    return VisitCheck(
        visit=visit,
        appliance_id=visit.appliance_id,
        local_date=visit.local_date,
        counts=not why_not,
        why_not=as_rows(why_not),
        answered=answered_by_record(what),
        conditions=conditions_of(what),
        used=used_in(visit, visit.readings.all()).as_json(),
        run_hours_h=visit.run_hours_h,
        made_with=MADE_WITH,
    )
