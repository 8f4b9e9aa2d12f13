"""What happened in the scope of a webhook, only what its client or the installation has; how it is signed, and what
came of it."""

import hashlib
import hmac
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import required_checks_of
from fleet.coded import as_rows
from fleet.models import AllowedTarget, Appliance, EventKind, Flag, Record, Revisit, Visit, VisitCheck, Webhook
from fleet.presentation.codes import wrong_words
from fleet.presentation.due_dates import date_words, doubt_words
from fleet.presentation.follow_ups import closed_words, flag_words
from fleet.presentation.revisits import reason_words
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed


def allowed_hosts() -> frozenset[str]:
    """The list itself, as every call asks it."""
    return frozenset(AllowedTarget.objects.values_list("host", flat=True))


@dataclass(frozen=True)
class Event:
    """Something that happened. `key` names it once, however often it is gathered; `about` what the body says."""

    kind: str
    key: str
    at: datetime
    about: dict[str, Any]


def events_of(hook: Webhook, since: datetime, until: datetime) -> list[Event]:
    """What happened from `since` to `until` of the kinds that the hook asks for, in its scope, oldest first."""
    wanted, window = set(hook.kinds), (since, until)
    found = [
        *_flag_events(hook, wanted, window),
        *_visit_events(hook, wanted, window),
        *_revisit_events(hook, wanted, window),
        *_day_events(hook, wanted, window),
        *_counted_events(hook, wanted, window),
    ]
    return sorted(found, key=lambda each: (each.at, each.key))


def _in_scope(hook: Webhook) -> QuerySet[Appliance]:
    return Appliance.objects.filter(building__client=hook.client_id) if hook.client_id else Appliance.objects.all()


_FLAG_MOMENTS = {
    EventKind.FLAG_OPENED: "opened_at",
    EventKind.FLAG_ANSWERED: "acknowledged_at",
    EventKind.FLAG_CLOSED: "closed_at",
}


def _flag_events(hook: Webhook, wanted: set[str], window: tuple[datetime, datetime]) -> Iterator[Event]:
    known = Flag.objects.filter(appliance__in=_in_scope(hook)).select_related("appliance__building")
    for kind, column in _FLAG_MOMENTS.items():
        if kind in wanted:
            for flag in known.filter(**{f"{column}__range": window}):
                at = getattr(flag, column)
                yield Event(kind, f"{kind} {flag.id} {at:%Y%m%dT%H%M%S%f}", at, _flag(flag) | _place(flag.appliance))


def _flag(flag: Flag) -> dict[str, Any]:
    return {
        "flag": {
            "id": str(flag.id), "kind": flag.kind, "sentence": flag_words(flag), "version": flag.version,
            "closed_why": closed_words(flag),
        }
    }  # fmt: skip


def _visit_events(hook: Webhook, wanted: set[str], window: tuple[datetime, datetime]) -> Iterator[Event]:
    asked = {EventKind.VISIT_RECORDED, EventKind.VISIT_CORRECTED} & wanted
    if not asked:
        return
    visits = Visit.objects.filter(appliance__in=_in_scope(hook))
    records = Record.objects.filter(kind="visit", received_at__range=window, subject__in=visits.values("id"))
    found = list(records.defer("content"))
    by_id = {each.id: each for each in _visits([each.subject for each in found])}
    for record in found:
        kind = EventKind.VISIT_CORRECTED if record.amends_id else EventKind.VISIT_RECORDED
        if kind in asked and (visit := by_id.get(record.subject)):
            yield Event(
                kind, f"{kind} {record.id}", record.received_at, _visit(visit, record) | _place(visit.appliance)
            )


def _visits(ids: list[uuid.UUID]) -> QuerySet[Visit]:
    related = Visit.objects.filter(id__in=ids).select_related("appliance__building")
    return related.defer("card_seen", "restore_steps")


def _visit(visit: Visit, record: Record) -> dict[str, Any]:
    return {
        "visit": {"id": str(visit.id), "on": visit.local_date.isoformat(), "outcome": visit.outcome,
                  "disposition": visit.disposition, "unsafe": visit.unsafe},
        "record": {"id": str(record.id), "sha256": record.sha256},
    }  # fmt: skip


def _revisit_events(hook: Webhook, wanted: set[str], window: tuple[datetime, datetime]) -> Iterator[Event]:
    if EventKind.REVISIT_CHANGED not in wanted:
        return
    known = Revisit.objects.filter(appliance__in=_in_scope(hook), made_at__range=window)
    for revisit in known.select_related("appliance__building", "technician"):
        # Not by its version: setting a day raises that too, and proposes nothing anew.
        key = f"{EventKind.REVISIT_CHANGED} {revisit.id} {revisit.made_at:%Y%m%dT%H%M%S%f}"
        yield Event(EventKind.REVISIT_CHANGED, key, revisit.made_at, _revisit(revisit) | _place(revisit.appliance))


def _day_events(hook: Webhook, wanted: set[str], window: tuple[datetime, datetime]) -> Iterator[Event]:
    """A day set or taken back: as it stands at the look, so of two changes between two looks only the last."""
    if not {EventKind.DAY_BOOKED, EventKind.DAY_TAKEN_BACK} & wanted:
        return
    known = Revisit.objects.filter(appliance__in=_in_scope(hook), set_at__range=window)
    for revisit in known.select_related("appliance__building", "technician"):
        kind, at = EventKind.DAY_BOOKED if revisit.is_set else EventKind.DAY_TAKEN_BACK, revisit.set_at
        if kind in wanted and at:
            key = f"{kind} {revisit.id} {at:%Y%m%dT%H%M%S%f}"
            yield Event(kind, key, at, _revisit(revisit) | _place(revisit.appliance))


def _revisit(revisit: Revisit) -> dict[str, Any]:
    person = revisit.technician
    return {
        "revisit": {
            "id": str(revisit.id), "earliest": revisit.earliest.isoformat(), "version": revisit.version,
            "latest": revisit.latest.isoformat(), "date_set_by": revisit.date_set_by,
            "sentence": reason_words(revisit.why),
            "code": revisit.why[0], "figures": revisit.why[1],
            "state": revisit.state, "day": revisit.day.isoformat() if revisit.day else None, "note": revisit.note,
            "technician": {"id": str(person.id), "name": person.name} if person else None,
        }
    }  # fmt: skip


def _counted_events(hook: Webhook, wanted: set[str], window: tuple[datetime, datetime]) -> Iterator[Event]:
    """Required checks whose rule counted a visit recorded or corrected in this time; once a required check and day.

    A visit whose fields are completed only later, by an entry of the register, is told of by no event.
    """
    if EventKind.CHECK_COUNTED not in wanted:
        return
    checks = VisitCheck.objects.filter(appliance__in=_in_scope(hook), counts=True)
    records = Record.objects.filter(kind="visit", received_at__range=window, subject__in=checks.values("visit"))
    recorded = {each.subject: each for each in records.order_by("id").defer("content")}
    by_day = {(each.appliance_id, each.local_date): each for each in _visits(list(recorded))}
    required_checks = required_checks_of(appliance_id for appliance_id, _day in by_day).filter(until__isnull=True)
    for each in calculate(
        (required_check, required_check.appliance.building.today(window[1])) for required_check in required_checks
    ):
        done = each.counted_by
        visit = by_day.get((each.required_check.appliance_id, done.day)) if done else None
        if visit:
            key = f"{EventKind.CHECK_COUNTED} {each.required_check.id} {visit.local_date:%Y-%m-%d}"
            at = recorded[visit.id].received_at
            about = _counted(each) | _visit(visit, recorded[visit.id]) | _place(visit.appliance)
            yield Event(EventKind.CHECK_COUNTED, key, at, about)


def _counted(made: Calculated) -> dict[str, Any]:
    """next_due None: nothing is due any more, or the day can't be told; `words` say which."""
    required_check, due = made.required_check, made.due
    certain = due.due if due.due and not due.cannot_tell else None
    return {
        "required_check": {
            "id": str(required_check.id), "name": required_check.name,
            "source": required_check.source, "why": required_check.why,
            "counted_on": made.counted_by.day.isoformat() if made.counted_by else None,
            "next_due": certain.isoformat() if certain else None,
            "words": doubt_words(due.cannot_tell) or date_words(made.steps),
            "steps": as_rows(made.steps), "cannot_tell": as_rows(due.cannot_tell),
        }
    }  # fmt: skip


def _place(appliance: Appliance) -> dict[str, Any]:
    building = appliance.building
    return {
        "appliance": {"id": str(appliance.id), "name": appliance.name, "reference": appliance.external_reference},
        "building": {"id": str(building.id), "name": building.name, "reference": building.external_reference},
        "client": str(building.client_id),
    }


def secret_of(hook: Webhook) -> str:
    """256 bits in hex, derived from the installation's key: the database alone doesn't hold it."""
    return salted_hmac("fleet.webhook", f"{hook.id}/{hook.secret_number}", algorithm="sha256").hexdigest()


def signature(secret: str, timestamp: str, body: bytes) -> str:
    """HMAC-SHA256 (RFC 2104) in hex, under the secret, over the timestamp, a full stop and the body as sent."""
    return hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


# ---- what came of it ----

_FAILURES = sentences("webhook_failures")


def failure_words(failure: Sequence[Any]) -> str:
    """Why a try failed, or a hook was switched off; empty where neither happened."""
    if not failure:
        return ""
    code, figures = failure
    inside = {"last": failure_words, "wrong": wrong_words}
    shown = {name: inside[name](each) if name in inside else each for name, each in figures.items()}
    return str(_FAILURES[code]) % shown


def trial_words() -> str:
    return _("A trial: nothing happened.")


def unfed_words(names: Sequence[str]) -> str:
    return _("could not be fed: %s") % listed(names)
