"""Required checks: which rule an appliance is under, since when and by whose decision, and when it next falls due."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet, Value
from django.db.models.functions import Greatest

from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import Missing, appliances_reached, beginning, with_facts
from fleet.assess.due.set_rules import SetRule, set_rules
from fleet.assess.judging.cards import assignments_of
from fleet.assess.refusals import refuse_ahead
from fleet.coded import as_rows
from fleet.errors import FleetError
from fleet.intake.fields import below
from fleet.intake.limit_sets import rule_faults
from fleet.models import Appliance, LimitSetAssignment, RequiredCheck, User
from fleet.services import jobs
from fleet.services.judgements import catch_up
from fleet.services.register import add_kept, change_kept

AT_ONCE = 1000
CALCULATED = ["due", "earliest_keep", "steps", "cannot_tell", "last_done", "visited_on", "not_counted", "lacks",
            "suspended_since"]  # fmt: skip
Ended = RequiredCheck.Ended


@transaction.atomic
def open_required_checks(*, assignment: LimitSetAssignment, actor: User, now: datetime) -> list[RequiredCheck]:
    """The required checks that each interval rule of a set puts on the appliances it reaches; none where it has no
    rule.
    """
    rules = _rules_of(assignment)
    if not rules:
        return []
    under = set(
        RequiredCheck.objects.filter(assignment=assignment, until__isnull=True).values_list("appliance", "part")
    )
    made = [
        _beginning(assignment, appliance, rule, actor)
        for appliance in _reached_now(assignment, now)
        for rule in rules
        if (appliance.id, rule.part) not in under
    ]
    return _open(made, now)


def _rules_of(assignment: LimitSetAssignment) -> list[SetRule]:
    """Those of its set's newest version, read anew: what the caller holds of the set may be older."""
    version = assignment.limit_set.versions.order_by("-number").first()
    return set_rules(assignment.limit_set, version.content) if version else []


@transaction.atomic
def open_missing_required_checks(*, missing: Sequence[Missing], now: datetime) -> list[RequiredCheck]:
    """What `missing_required_checks` found, in a few statements however many sets and appliances it is about.

    What changed since then is left: a set that no longer applies, an appliance that has left, a required check
    that is there.
    """
    assigned = LimitSetAssignment.objects.select_for_update(of=("self",)).filter(until__isnull=True)
    standing: Mapping[uuid.UUID, LimitSetAssignment] = assigned.select_related("decided_by").in_bulk(
        {each.assignment_id for each in missing}
    )
    reached = Appliance.objects.select_related("building").filter(id__in={each.appliance_id for each in missing})
    there = {each.id: each for each in reached if _has_not_left(each, now)}
    made = [
        _beginning(
            standing[each.assignment_id], there[each.appliance_id], each.rule, standing[each.assignment_id].decided_by
        )
        for each in missing
        if each.assignment_id in standing and each.appliance_id in there
    ]
    return _open(made, now)


def _open(made: list[RequiredCheck], now: datetime) -> list[RequiredCheck]:
    """Store new required checks, calculate them, and have their appliances looked at. Returns those that were not
    there already.
    """
    # Somebody else may open the same at this moment: the one that is there stays.
    RequiredCheck.objects.bulk_create(made, ignore_conflicts=True, batch_size=AT_ONCE)
    _look_again({each.appliance_id for each in made}, now)
    return recompute_required_checks(
        required_checks=with_facts(RequiredCheck.objects.filter(id__in=[each.id for each in made])), now=now
    )


def _beginning(assignment: LimitSetAssignment, appliance: Appliance, rule: SetRule, actor: User) -> RequiredCheck:
    required_check = beginning(assignment, appliance, rule)
    required_check.decided_by = actor
    return required_check


@transaction.atomic
def follow_set(*, assignment: LimitSetAssignment, actor: User, now: datetime) -> None:
    """The set has a new version: its required checks go by the interval rules of today, begin or end with them."""
    rules = {each.part: each for each in _rules_of(assignment)}
    standing = RequiredCheck.objects.filter(assignment=assignment, until__isnull=True)
    for day, over in _by_day(standing.exclude(part__in=list(rules)), now):
        _end(over, until=day, why=Ended.WITH_VERSION, now=now)
    changed: list[uuid.UUID] = []
    for part, rule in rules.items():
        mine = standing.filter(part=part)
        others = [each for each in mine if (each.rule, each.required_fields) != (rule.rule, rule.required_fields)]
        for day, anew in _by_day(mine.filter(id__in=[each.id for each in others if each.rule != rule.rule]), now):
            anew.update(rule_since=day)
        mine.filter(id__in=[each.id for each in others]).update(
            rule=rule.rule, required_fields=rule.required_fields, version=F("version") + 1
        )
        changed += [each.id for each in others]
    known = with_facts(RequiredCheck.objects.filter(id__in=changed))
    recompute_required_checks(required_checks=known, now=now)
    _look_again({each.appliance_id for each in known}, now)
    open_required_checks(assignment=assignment, actor=actor, now=now)


def _reached_now(assignment: LimitSetAssignment, now: datetime) -> list[Appliance]:
    """The same, not gone by the day that it is at each of them."""
    earliest_anywhere = now.date() - timedelta(days=1)
    known = appliances_reached(assignment, earliest_anywhere).select_related("building")
    return [each for each in known if _has_not_left(each, now)]


def _has_not_left(appliance: Appliance, now: datetime) -> bool:
    return appliance.in_service_to is None or appliance.in_service_to >= appliance.building.today(now)


def _by_day(required_checks: QuerySet[RequiredCheck], now: datetime) -> Iterator[tuple[date, QuerySet[RequiredCheck]]]:
    """The required checks by the day that it is at their buildings; there are at most three at any moment."""
    ids: dict[date, list[uuid.UUID]] = defaultdict(list)
    for required_check in required_checks.select_related("appliance__building"):
        ids[required_check.appliance.building.today(now)].append(required_check.id)
    for day, some in ids.items():
        yield day, RequiredCheck.objects.filter(id__in=some)


@transaction.atomic
def add_required_check(*, values: dict[str, Any], actor: User, now: datetime) -> RequiredCheck:
    """A required check of the contract or the manufacturer: values has appliance, name, source, rule, since, why."""
    if faults := rule_faults(values["rule"]):
        errors = {below("rule", path): said for path, said in faults.items()}
        raise FleetError("invalid", "The rule can't be read.", errors=errors)
    decided = {"rule_since": values["since"]} | values | {"decided_by": actor}
    required_check = add_kept(model=RequiredCheck, values=decided, actor=actor, now=now)
    jobs.request_job(kind="refresh_appliance", key=str(required_check.appliance_id), due_at=now)
    return recompute_required_checks(
        required_checks=with_facts(RequiredCheck.objects.filter(id=required_check.id)), now=now
    )[0]


def recompute_required_checks(*, required_checks: Iterable[RequiredCheck], now: datetime) -> list[RequiredCheck]:
    """Due dates and arithmetic from the checks on record, each as of the day that it is at its building.

    Stored only where something changed. required checks: as `with_facts` reads them.
    """
    days = [(each, each.appliance.building.today(now)) for each in required_checks]
    catch_up(appliance_ids={required_check.appliance_id for required_check, _day in days})
    _keep(calculate(days))
    return [required_check for required_check, _day in days]


def _keep(calculated: Iterable[Calculated]) -> list[RequiredCheck]:
    """Store what differs from what is stored. Returns the required checks that did."""
    changed = [each.required_check for each in calculated if _differs(each)]
    for first in range(0, len(changed), AT_ONCE):
        some = changed[first : first + AT_ONCE]
        # Only what is calculated is written: what somebody changes at this moment stays as they have it.
        RequiredCheck.objects.bulk_create(some, update_conflicts=True, unique_fields=["id"], update_fields=CALCULATED)
        RequiredCheck.objects.filter(id__in=[each.id for each in some]).update(version=F("version") + 1)
    return changed


def _differs(made: Calculated) -> bool:
    """Whether anything calculated is another than what the required check has; it has it then."""
    required_check = made.required_check
    values = {
        "due": made.due.due,
        "earliest_keep": made.due.earliest_keep,
        "steps": as_rows(made.steps),
        "cannot_tell": as_rows(made.due.cannot_tell),
        "last_done": made.counted_by.day if made.counted_by else None,
        "visited_on": made.tried.day if made.tried else None,
        "not_counted": as_rows(made.not_counted),
        "lacks": list(made.lacks),
        "suspended_since": made.suspended_since,
    }
    differing = {name: value for name, value in values.items() if getattr(required_check, name) != value}
    for name, value in differing.items():
        setattr(required_check, name, value)
    if differing:
        required_check.version += 1
    return bool(differing)


def _look_again(appliance_ids: Iterable[uuid.UUID], now: datetime) -> None:
    if keys := [str(each) for each in appliance_ids]:
        jobs.request_jobs(kind="refresh_appliance", keys=keys, due_at=now)


@transaction.atomic
def change_required_check(
    *, required_check: RequiredCheck, version: int, changes: dict[str, Any], actor: User, now: datetime
) -> RequiredCheck:
    """Change its name, reason or end, and look at the appliance again. Raises Conflict when it changed meanwhile."""
    refuse_ahead(changes.get("until"), required_check.appliance.building.today(now))
    if changes.get("until"):
        changes = changes | {"ended_why": Ended.BY_HAND}
    changed = change_kept(entry=required_check, version=version, changes=changes, actor=actor, now=now)
    jobs.request_job(kind="refresh_appliance", key=str(required_check.appliance_id), due_at=now)
    return changed


def end_required_checks(*, assignment: LimitSetAssignment, until: date | None, now: datetime) -> None:
    """The set no longer applies from then on: the required checks it put on appliances end with it.

    Where the end is moved, those that ended with it move too.
    """
    ended = RequiredCheck.objects.filter(Q(until__isnull=True) | Q(ended_why=Ended.WITH_SET), assignment=assignment)
    _end(ended, until=until, why=Ended.WITH_SET, now=now)


def _end(required_checks: QuerySet[RequiredCheck], *, until: date | None, why: Ended, now: datetime) -> None:
    _look_again(set(required_checks.values_list("appliance_id", flat=True)), now)
    required_checks.update(until=until, ended_why=why, version=F("version") + 1)


def end_each(*, required_checks: QuerySet[RequiredCheck], day: date, why: Ended) -> None:
    """End these on a day for a reason of their own; an end lies never before a required check's beginning."""
    required_checks.update(until=Greatest("since", Value(day)), ended_why=why, version=F("version") + 1)


def reopen_required_checks(*, appliance: Appliance, now: datetime) -> None:
    """It has not left after all: the sets that reach it put their required checks on it, its own ones stand again.

    Its own are those that ended because it had left, or had been replaced.
    """
    left = (Ended.OUT_OF_SERVICE, Ended.REPLACED)
    own = RequiredCheck.objects.filter(ended_why__in=left, appliance=appliance, assignment__isnull=True)
    own.update(until=None, ended_why="", version=F("version") + 1)
    for assignment in assignments_of(appliance).filter(until__isnull=True).select_related("decided_by"):
        open_required_checks(assignment=assignment, actor=assignment.decided_by, now=now)
