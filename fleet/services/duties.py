"""Duties: which rule an appliance is under, since when and by whose decision, and when it next falls due."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from fleet.errors import FleetError
from fleet.intervals import next_due
from fleet.models import Appliance, Duty, LimitSetAttachment, User, Visit
from fleet.queries.appliances import facts_of
from fleet.services import jobs
from fleet.services.register import change_entry, create_entry

NO_INTERVAL = {"type": "none"}


@transaction.atomic
def open_duties(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> list[Duty]:
    """The duties that a set's interval rule puts on each appliance it reaches; none where it has no rule."""
    version = attachment.limit_set.current
    if version is None or version.content.get("interval", NO_INTERVAL)["type"] == NO_INTERVAL["type"]:
        return []
    opened = []
    for appliance in appliances_reached(attachment):
        duty, made = Duty.objects.get_or_create(
            appliance=appliance,
            attachment=attachment,
            until=None,
            defaults={
                "name": attachment.limit_set.name,
                "source": "limit set",
                "rule": version.content["interval"],
                "since": attachment.since,
                "why": attachment.why,
                "decided_by": actor,
            },
        )
        if made:
            opened.append(recompute_duty(duty=duty, today=now.date()))
            jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    return opened


@transaction.atomic
def follow_set(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> None:
    """The set has a new version: its duties go by the interval rule of today, begin or end with it."""
    version = attachment.limit_set.versions.order_by("-number").first()
    rule = version.content.get("interval", NO_INTERVAL) if version else NO_INTERVAL
    if rule["type"] == NO_INTERVAL["type"]:
        end_duties(attachment=attachment, until=now.date(), now=now)
        return
    for duty in Duty.objects.filter(attachment=attachment, until__isnull=True).select_related("appliance__building"):
        if duty.rule != rule:
            Duty.objects.filter(id=duty.id).update(rule=rule, version=F("version") + 1)
            duty.refresh_from_db()
            recompute_duty(duty=duty, today=now.date())
            jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    open_duties(attachment=attachment, actor=actor, now=now)


def appliances_reached(attachment: LimitSetAttachment) -> Iterable[Appliance]:
    """In service now, and in the attachment's place."""
    known = Appliance.objects.filter(in_service_to__isnull=True).select_related("building", "sheet")
    if attachment.appliance_id:
        return known.filter(id=attachment.appliance_id)
    if attachment.building_id:
        return known.filter(building=attachment.building_id)
    return known.filter(building__client=attachment.client_id)


@transaction.atomic
def add_duty(*, values: dict[str, Any], actor: User, now: datetime) -> Duty:
    """A duty of the contract or the maker: values has appliance, name, source, rule, since, why."""
    try:
        next_due(values["rule"], [], start=values["since"])
    except (ValueError, KeyError) as bad:
        raise FleetError("invalid", "The rule can't be read.", errors={"rule": str(bad)}) from bad
    duty = create_entry(Duty, values | {"decided_by": actor})
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return recompute_duty(duty=duty, today=now.date())


def recompute_duty(*, duty: Duty, today: date) -> Duty:
    """Due date and arithmetic from the visits on record; stored only where something changed."""
    history = discharging_days(duty.appliance_id)
    made = next_due(duty.rule, history, start=duty.since, today=today, facts=facts_of(duty.appliance))
    values = {
        "due": made.due,
        "earliest_keep": made.earliest_keep,
        "words": made.words,
        "cannot_tell": made.cannot_tell,
        "last_done": history[-1] if history else None,
    }
    if any(getattr(duty, name) != value for name, value in values.items()):
        Duty.objects.filter(id=duty.id).update(**values, version=F("version") + 1)
        duty.refresh_from_db()
    return duty


def discharging_days(appliance_id: uuid.UUID) -> list[date]:
    """Local dates of the visits that count as a check: the appliance was tested."""
    tested = Visit.objects.filter(appliance=appliance_id, outcome=Visit.Outcome.TESTED)
    return sorted(set(tested.values_list("local_date", flat=True)))


@transaction.atomic
def change_duty(*, duty: Duty, version: int, changes: dict[str, Any], now: datetime) -> Duty:
    """Change its name, reason or end, and look at the appliance again. Raises Conflict when it changed meanwhile."""
    refuse_ahead(changes.get("until"), now)
    changed = change_entry(duty, version=version, changes=changes)
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return changed


def end_duties(*, attachment: LimitSetAttachment, until: date | None, now: datetime) -> None:
    """The set no longer applies from then on: the duties it put on appliances end with it."""
    ended = Duty.objects.filter(attachment=attachment, until__isnull=True)
    for appliance_id in ended.values_list("appliance_id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
    ended.update(until=until, version=F("version") + 1)


def refuse_ahead(until: date | None, now: datetime) -> None:
    """An end is recorded when it has come: a duty that still stands must not vanish from the lists before."""
    if until and until > now.date():
        errors = {"until": f"is {until}; it must not be after today, {now.date()}"}
        raise FleetError("invalid", "The end lies ahead.", errors=errors)


def close_duties(*, appliance: Appliance, day: date) -> None:
    """The appliance has left: its duties end on its last day."""
    Duty.objects.filter(appliance=appliance, until__isnull=True).update(until=day, version=F("version") + 1)
