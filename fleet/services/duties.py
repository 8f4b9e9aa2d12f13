"""Duties: which rule an appliance is under, since when and by whose decision, and when it next falls due."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet, Value
from django.db.models.functions import Greatest

from fleet.assess.due.duties import Missing, appliances_reached, with_facts
from fleet.assess.due.reckoning import Reckoned, reckon
from fleet.assess.due.set_rules import SetRule, set_rules
from fleet.assess.judging.versions import attachments_of
from fleet.assess.refusals import refuse_ahead
from fleet.coded import as_rows
from fleet.errors import FleetError
from fleet.intervals import check_rule
from fleet.models import Appliance, Duty, LimitSetAttachment, User
from fleet.models.duties import ENDED_BY_HAND
from fleet.services import jobs
from fleet.services.judgements import catch_up
from fleet.services.register import change_entry, create_entry

AT_ONCE = 1000
RECKONED = ["due", "earliest_keep", "steps", "cannot_tell", "last_done", "visited_on", "not_discharged", "lacks",
            "suspended_since"]  # fmt: skip
# Why a duty ended, as it is kept; by these words it is known whether it may stand again.
ENDED_WITH_SET = "the rule no longer applies"
ENDED_WITH_VERSION = "a later version of the set has no such rule"
ENDED_WITH_APPLIANCE = "the appliance was taken out of service"
ENDED_BY_ANOTHER = "replaced by"  # and which one


@transaction.atomic
def open_duties(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> list[Duty]:
    """The duties that each interval rule of a set puts on the appliances it reaches; none where it has no rule."""
    rules = _rules_of(attachment)
    if not rules:
        return []
    under = set(Duty.objects.filter(attachment=attachment, until__isnull=True).values_list("appliance", "part"))
    made = [
        _beginning(attachment, appliance, rule, actor)
        for appliance in _reached_now(attachment, now)
        for rule in rules
        if (appliance.id, rule.part) not in under
    ]
    return _open(made, now)


def _rules_of(attachment: LimitSetAttachment) -> list[SetRule]:
    """Those of its set's newest version, read anew: what the caller holds of the set may be older."""
    version = attachment.limit_set.versions.order_by("-number").first()
    return set_rules(attachment.limit_set, version.content) if version else []


@transaction.atomic
def open_missing_duties(*, missing: Sequence[Missing], now: datetime) -> list[Duty]:
    """What `missing_duties` found, in a few statements however many sets and appliances it is about.

    What was settled since then is left: a set that no longer applies, an appliance that has left, a duty that is there.
    """
    attached = LimitSetAttachment.objects.select_for_update(of=("self",)).filter(until__isnull=True)
    standing: Mapping[uuid.UUID, LimitSetAttachment] = attached.select_related("decided_by").in_bulk(
        {each.attachment_id for each in missing}
    )
    reached = Appliance.objects.select_related("building").filter(id__in={each.appliance_id for each in missing})
    there = {each.id: each for each in reached if _has_not_left(each, now)}
    made = [
        _beginning(
            standing[each.attachment_id], there[each.appliance_id], each.rule, standing[each.attachment_id].decided_by
        )
        for each in missing
        if each.attachment_id in standing and each.appliance_id in there
    ]
    return _open(made, now)


def _open(made: list[Duty], now: datetime) -> list[Duty]:
    """Store new duties, reckon them, and have their appliances looked at. Returns those that were not there already."""
    # Somebody else may open the same at this moment: the one that is there stays.
    Duty.objects.bulk_create(made, ignore_conflicts=True, batch_size=AT_ONCE)
    _look_again({each.appliance_id for each in made}, now)
    return recompute_duties(duties=with_facts(Duty.objects.filter(id__in=[each.id for each in made])), now=now)


def _beginning(attachment: LimitSetAttachment, appliance: Appliance, rule: SetRule, actor: User) -> Duty:
    return Duty(
        appliance=appliance,
        attachment=attachment,
        part=rule.part,
        name=rule.name,
        source="limit set",
        rule=rule.rule,
        rule_since=attachment.since,
        regime=rule.regime,
        since=attachment.since,
        why=attachment.why,
        decided_by=actor,
    )


@transaction.atomic
def follow_set(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> None:
    """The set has a new version: its duties go by the interval rules of today, begin or end with them."""
    rules = {each.part: each for each in _rules_of(attachment)}
    standing = Duty.objects.filter(attachment=attachment, until__isnull=True)
    for day, over in _by_day(standing.exclude(part__in=list(rules)), now):
        _end(over, until=day, why=ENDED_WITH_VERSION, now=now)
    changed: list[uuid.UUID] = []
    for part, rule in rules.items():
        mine = standing.filter(part=part)
        others = [each for each in mine if (each.rule, each.regime) != (rule.rule, rule.regime)]
        for day, anew in _by_day(mine.filter(id__in=[each.id for each in others if each.rule != rule.rule]), now):
            anew.update(rule_since=day)
        mine.filter(id__in=[each.id for each in others]).update(
            rule=rule.rule, regime=rule.regime, version=F("version") + 1
        )
        changed += [each.id for each in others]
    known = with_facts(Duty.objects.filter(id__in=changed))
    recompute_duties(duties=known, now=now)
    _look_again({each.appliance_id for each in known}, now)
    open_duties(attachment=attachment, actor=actor, now=now)


def _reached_now(attachment: LimitSetAttachment, now: datetime) -> list[Appliance]:
    """The same, not gone by the day that it is at each of them."""
    earliest_anywhere = now.date() - timedelta(days=1)
    known = appliances_reached(attachment, earliest_anywhere).select_related("building")
    return [each for each in known if _has_not_left(each, now)]


def _has_not_left(appliance: Appliance, now: datetime) -> bool:
    return appliance.in_service_to is None or appliance.in_service_to >= appliance.building.today(now)


def _by_day(duties: QuerySet[Duty], now: datetime) -> Iterator[tuple[date, QuerySet[Duty]]]:
    """The duties by the day that it is at their buildings; there are at most three at any moment."""
    ids: dict[date, list[uuid.UUID]] = defaultdict(list)
    for duty in duties.select_related("appliance__building"):
        ids[duty.appliance.building.today(now)].append(duty.id)
    for day, some in ids.items():
        yield day, Duty.objects.filter(id__in=some)


@transaction.atomic
def add_duty(*, values: dict[str, Any], actor: User, now: datetime) -> Duty:
    """A duty of the contract or the maker: values has appliance, name, source, rule, since, why."""
    try:
        check_rule(values["rule"])
    except ValueError as bad:
        raise FleetError("invalid", "The rule can't be read.", errors={"rule": str(bad)}) from bad
    duty = create_entry(model=Duty, values={"rule_since": values["since"]} | values | {"decided_by": actor})
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return recompute_duties(duties=with_facts(Duty.objects.filter(id=duty.id)), now=now)[0]


def recompute_duties(*, duties: Iterable[Duty], now: datetime) -> list[Duty]:
    """Due dates and arithmetic from the checks on record, each as of the day that it is at its building.

    Stored only where something changed. duties: as `with_facts` reads them.
    """
    days = [(each, each.appliance.building.today(now)) for each in duties]
    catch_up(appliance_ids={duty.appliance_id for duty, _day in days})
    _keep(reckon(days))
    return [duty for duty, _day in days]


def _keep(reckoned: Iterable[Reckoned]) -> list[Duty]:
    """Store what differs from what is stored. Returns the duties that did."""
    changed = [each.duty for each in reckoned if _differs(each)]
    for first in range(0, len(changed), AT_ONCE):
        some = changed[first : first + AT_ONCE]
        # Only what is reckoned is written: what somebody changes at this moment stays as they have it.
        Duty.objects.bulk_create(some, update_conflicts=True, unique_fields=["id"], update_fields=RECKONED)
        Duty.objects.filter(id__in=[each.id for each in some]).update(version=F("version") + 1)
    return changed


def _differs(made: Reckoned) -> bool:
    """Whether anything reckoned is another than what the duty has; it has it then."""
    duty = made.duty
    values = {
        "due": made.due.due,
        "earliest_keep": made.due.earliest_keep,
        "steps": as_rows(made.steps),
        "cannot_tell": as_rows(made.due.cannot_tell),
        "last_done": made.discharged_by.day if made.discharged_by else None,
        "visited_on": made.tried.day if made.tried else None,
        "not_discharged": as_rows(made.not_discharged),
        "lacks": list(made.lacks),
        "suspended_since": made.suspended_since,
    }
    differing = {name: value for name, value in values.items() if getattr(duty, name) != value}
    for name, value in differing.items():
        setattr(duty, name, value)
    if differing:
        duty.version += 1
    return bool(differing)


def _look_again(appliance_ids: Iterable[uuid.UUID], now: datetime) -> None:
    if keys := [str(each) for each in appliance_ids]:
        jobs.request_jobs(kind="refresh_appliance", keys=keys, due_at=now)


@transaction.atomic
def change_duty(*, duty: Duty, version: int, changes: dict[str, Any], now: datetime) -> Duty:
    """Change its name, reason or end, and look at the appliance again. Raises Conflict when it changed meanwhile."""
    refuse_ahead(changes.get("until"), duty.appliance.building.today(now))
    if changes.get("until"):
        changes = changes | {"ended_why": ENDED_BY_HAND}
    changed = change_entry(entry=duty, version=version, changes=changes)
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return changed


def end_duties(*, attachment: LimitSetAttachment, until: date | None, now: datetime) -> None:
    """The set no longer applies from then on: the duties it put on appliances end with it.

    Where the end is moved, those that ended with it move too.
    """
    ended = Duty.objects.filter(Q(until__isnull=True) | Q(ended_why=ENDED_WITH_SET), attachment=attachment)
    _end(ended, until=until, why=ENDED_WITH_SET, now=now)


def _end(duties: QuerySet[Duty], *, until: date | None, why: str, now: datetime) -> None:
    _look_again(set(duties.values_list("appliance_id", flat=True)), now)
    duties.update(until=until, ended_why=why, version=F("version") + 1)


def end_each(*, duties: QuerySet[Duty], day: date, why: str) -> None:
    """End these on a day for a reason of their own; an end lies never before a duty's beginning."""
    duties.update(until=Greatest("since", Value(day)), ended_why=why, version=F("version") + 1)


def reopen_duties(*, appliance: Appliance, now: datetime) -> None:
    """It has not left after all: the sets that reach it put their duties on it, its own ones stand again.

    Its own are those that ended because it had left, or had been replaced.
    """
    left = Q(ended_why=ENDED_WITH_APPLIANCE) | Q(ended_why__startswith=f"{ENDED_BY_ANOTHER} ")
    own = Duty.objects.filter(left, appliance=appliance, attachment__isnull=True)
    own.update(until=None, ended_why="", version=F("version") + 1)
    for attachment in attachments_of(appliance).filter(until__isnull=True).select_related("decided_by"):
        open_duties(attachment=attachment, actor=attachment.decided_by, now=now)
