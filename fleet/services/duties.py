"""Duties: which rule an appliance is under, since when and by whose decision, and when it next falls due."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from fleet.errors import FleetError
from fleet.intervals import check_rule
from fleet.models import Appliance, Duty, LimitSetAttachment, User
from fleet.queries.appliances import not_gone
from fleet.queries.duties import Reckoned, reckon
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
    for appliance in appliances_reached(attachment, now.date()):
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
            opened.append(duty)
            jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    return recompute_duties(opened, today=now.date())


@transaction.atomic
def follow_set(*, attachment: LimitSetAttachment, actor: User, now: datetime) -> None:
    """The set has a new version: its duties go by the interval rule of today, begin or end with it."""
    version = attachment.limit_set.versions.order_by("-number").first()
    rule = version.content.get("interval", NO_INTERVAL) if version else NO_INTERVAL
    if rule["type"] == NO_INTERVAL["type"]:
        end_duties(attachment=attachment, until=now.date(), now=now)
        return
    standing = Duty.objects.filter(attachment=attachment, until__isnull=True)
    for duty in standing.select_related("appliance__building", "appliance__sheet"):
        if duty.rule != rule:
            Duty.objects.filter(id=duty.id).update(rule=rule, version=F("version") + 1)
            duty.refresh_from_db()
            recompute_duty(duty=duty, today=now.date())
            jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    open_duties(attachment=attachment, actor=actor, now=now)


def appliances_reached(attachment: LimitSetAttachment, day: date) -> Iterable[Appliance]:
    """In the attachment's place, and not gone on this day."""
    known = Appliance.objects.filter(not_gone(day)).select_related("building", "sheet")
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
    duty = create_entry(Duty, values | {"decided_by": actor})
    jobs.request_job(kind="refresh_appliance", key=str(duty.appliance_id), due_at=now)
    return recompute_duty(duty=duty, today=now.date())


def recompute_duty(*, duty: Duty, today: date) -> Duty:
    """Due date and arithmetic from the checks on record; stored only where something changed."""
    return recompute_duties([duty], today=today)[0]


def recompute_duties(known: Iterable[Duty], *, today: date) -> list[Duty]:
    """The same for several duties, their appliances' records read at once."""
    return [_keep(each) for each in reckon((duty, today) for duty in known)]


def _keep(made: Reckoned) -> Duty:
    duty = made.duty
    values = {
        "due": made.due.due,
        "earliest_keep": made.due.earliest_keep,
        "words": made.words,
        "cannot_tell": made.due.cannot_tell,
        "last_done": made.last.day if made.last else None,
    }
    if any(getattr(duty, name) != value for name, value in values.items()):
        Duty.objects.filter(id=duty.id).update(**values, version=F("version") + 1)
        duty.refresh_from_db()
    return duty


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
