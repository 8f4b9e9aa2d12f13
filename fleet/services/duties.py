"""Duties: which rule an appliance is under, since when and by whose decision, and when it next falls due."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet, Value
from django.db.models.functions import Greatest

from fleet.errors import FleetError
from fleet.intervals import check_rule
from fleet.models import Appliance, Duty, LimitSetAttachment, User
from fleet.queries.appliances import not_gone
from fleet.queries.duties import Reckoned, reckon, standing_of, with_facts
from fleet.queries.limits import attachments_of
from fleet.queries.record_fields import regime_of
from fleet.services import jobs
from fleet.services.checks import catch_up
from fleet.services.register import change_entry, create_entry

NO_INTERVAL = {"type": "none"}
AT_ONCE = 1000
RECKONED = ["due", "earliest_keep", "words", "cannot_tell", "last_done", "visited_on", "not_discharged", "lacks",
            "suspended_since"]  # fmt: skip
# Why a duty ended, as it is kept; by these words it is known whether it may stand again.
ENDED_BY_HAND = "ended by the office"
ENDED_WITH_SET = "the rule no longer applies"
ENDED_WITH_APPLIANCE = "the appliance was taken out of service"


@transaction.atomic
def open_duties(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> list[Duty]:
    """The duties that a set's interval rule puts on each appliance it reaches; none where it has no rule."""
    version = attachment.limit_set.current
    if version is None or version.content.get("interval", NO_INTERVAL)["type"] == NO_INTERVAL["type"]:
        return []
    under = Duty.objects.filter(attachment=attachment, until__isnull=True).values("appliance")
    reached = appliances_reached(attachment, now.date()).exclude(id__in=under)
    made = [
        Duty(
            appliance=appliance,
            attachment=attachment,
            name=attachment.limit_set.name,
            source="limit set",
            rule=version.content["interval"],
            rule_since=attachment.since,
            regime=regime_of(attachment.limit_set.key, version.content),
            since=attachment.since,
            why=attachment.why,
            decided_by=actor,
        )
        for appliance in reached
    ]
    # Somebody else may open the same at this moment: the one that is there stays.
    Duty.objects.bulk_create(made, ignore_conflicts=True, batch_size=AT_ONCE)
    _look_again([each.appliance_id for each in made], now)
    opened = with_facts(Duty.objects.filter(id__in=[each.id for each in made]))
    return recompute_duties(opened, today=now.date())


@transaction.atomic
def follow_set(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> None:
    """The set has a new version: its duties go by the interval rule of today, begin or end with it."""
    version = attachment.limit_set.versions.order_by("-number").first()
    rule = version.content.get("interval", NO_INTERVAL) if version else NO_INTERVAL
    if rule["type"] == NO_INTERVAL["type"]:
        end_duties(attachment=attachment, until=now.date(), now=now)
        return
    regime = regime_of(attachment.limit_set.key, version.content) if version else ""
    standing = Duty.objects.filter(attachment=attachment, until__isnull=True)
    changed = [each for each in standing if (each.rule, each.regime) != (rule, regime)]
    others = Duty.objects.filter(id__in=[each.id for each in changed if each.rule != rule])
    others.update(rule_since=now.date())
    ids = [each.id for each in changed]
    Duty.objects.filter(id__in=ids).update(rule=rule, regime=regime, version=F("version") + 1)
    recompute_duties(with_facts(Duty.objects.filter(id__in=ids)), today=now.date())
    _look_again([each.appliance_id for each in changed], now)
    open_duties(attachment=attachment, actor=actor, now=now)


def appliances_reached(attachment: LimitSetAttachment, day: date) -> QuerySet[Appliance]:
    """In the attachment's place, and not gone on this day."""
    known = Appliance.objects.filter(not_gone(day))
    if attachment.appliance_id:
        return known.filter(id=attachment.appliance_id)
    if attachment.building_id:
        return known.filter(building=attachment.building_id)
    return known.filter(building__client=attachment.client_id)


@transaction.atomic
def add_duty(*, values: dict[str, Any], actor: User, now: datetime) -> Duty:
    """A duty of the contract or the maker: values has appliance, name, source, rule, since, why."""
    try:
        check_rule(values["rule"])
    except ValueError as bad:
        raise FleetError("invalid", "The rule can't be read.", errors={"rule": str(bad)}) from bad
    duty = create_entry(Duty, {"rule_since": values["since"]} | values | {"decided_by": actor})
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return recompute_duty(duty=duty, today=now.date())


def recompute_duty(*, duty: Duty, today: date) -> Duty:
    """Due date and arithmetic from the checks on record; stored only where something changed."""
    return recompute_duties(with_facts(Duty.objects.filter(id=duty.id)), today=today)[0]


def recompute_duties(known: Iterable[Duty], *, today: date) -> list[Duty]:
    """The same for several duties, their appliances' records read at once. known: as `with_facts` reads them."""
    asked = list(known)
    catch_up({each.appliance_id for each in asked})
    _keep(reckon((duty, today) for duty in asked))
    return asked


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
        "words": made.words,
        "cannot_tell": made.due.cannot_tell,
        "last_done": made.last.day if made.last else None,
        "visited_on": made.tried.day if made.tried else None,
        "not_discharged": made.not_discharged,
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
    refuse_ahead(changes.get("until"), now)
    if changes.get("until"):
        changes = changes | {"ended_why": ENDED_BY_HAND}
    changed = change_entry(duty, version=version, changes=changes)
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return changed


def end_duties(*, attachment: LimitSetAttachment, until: date | None, now: datetime) -> None:
    """The set no longer applies from then on: the duties it put on appliances end with it.

    Where the end is moved, those that ended with it move too.
    """
    ended = Duty.objects.filter(Q(until__isnull=True) | Q(ended_why=ENDED_WITH_SET), attachment=attachment)
    _look_again(ended.values_list("appliance_id", flat=True), now)
    ended.update(until=until, ended_why=ENDED_WITH_SET, version=F("version") + 1)


def refuse_ahead(until: date | None, now: datetime) -> None:
    """An end is recorded when it has come: a duty that still stands must not vanish from the lists before."""
    if until and until > now.date():
        errors = {"until": f"is {until}; it must not be after today, {now.date()}"}
        raise FleetError("invalid", "The end lies ahead.", errors=errors)


def close_duties(*, appliance: Appliance, day: date) -> None:
    """The appliance has left: its duties end on its last day."""
    standing_of(appliance).update(until=day, ended_why=ENDED_WITH_APPLIANCE, version=F("version") + 1)


def end_each(*, duties: QuerySet[Duty], day: date, why: str) -> None:
    """End these on a day for a reason of their own; an end lies never before a duty's beginning."""
    duties.update(until=Greatest("since", Value(day)), ended_why=why, version=F("version") + 1)


def reopen_duties(*, appliance: Appliance, now: datetime) -> None:
    """It has not left after all: the sets that reach it put their duties on it, its own ones stand again."""
    own = Duty.objects.filter(appliance=appliance, attachment__isnull=True, ended_why=ENDED_WITH_APPLIANCE)
    own.update(until=None, ended_why="", version=F("version") + 1)
    for attachment in attachments_of(appliance).filter(until__isnull=True).select_related("decided_by"):
        open_duties(attachment=attachment, actor=attachment.decided_by, now=now)
