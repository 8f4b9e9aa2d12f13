"""Calendar links: made for a technician or a client, shown once, renewed and revoked; and what each has shown."""

import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, Q

from fleet.coded import coded
from fleet.errors import Conflict, FleetError, NotFound
from fleet.models import CalendarEntry, CalendarLink, Client, User
from fleet.models.calendars import hash_of
from fleet.presentation.calendars import CalendarEvent
from fleet.queries.calendars import ShownEvent, calendar_clients, may_have_calendar
from fleet.services.audit import note_change
from fleet.services.register import change_entry

CANCELLED_SHOWN = timedelta(days=30)
MOST_ADDRESSES = 20


@transaction.atomic
def make_address(*, user: User | None, client: Client | None, actor: User, now: datetime) -> tuple[CalendarLink, str]:
    """An address for somebody's or for a client's days, and its secret, kept nowhere. Raises FleetError `invalid`,
    NotFound for whom the actor may not make one."""
    if (user is None) == (client is None):
        errors = {"client": coded("person_or_client")}
        raise FleetError("invalid", "A calendar is of a person or of a client.", errors=errors)
    if client:
        may_be = calendar_clients(actor).filter(id=client.id).exists()
    else:
        may_be = user is not None and may_have_calendar(actor).filter(id=user.id).exists()
    if not may_be:
        raise NotFound("not_found", "There is nobody of that name for whom you may make a calendar.")
    standing = CalendarLink.objects.filter(user=user, client=client, revoked_at__isnull=True)
    if standing.count() >= MOST_ADDRESSES:
        raise FleetError(
            "too_many_addresses",
            "There are %(most)d addresses already; revoke one first.",
            figures={"most": MOST_ADDRESSES},
        )
    secret = _new_secret()
    address = CalendarLink.objects.create(
        user=user, client=client, secret_sha256=hash_of(secret), made_by=actor, made_at=now
    )
    _note(address, "calendar_made", actor, now)
    return address, secret


@transaction.atomic
def renew_address(*, address: CalendarLink, version: int, actor: User, now: datetime) -> tuple[CalendarLink, str]:
    """Another secret for the same calendar; the one before opens nothing any more. From now on it is the actor's, who
    knows the secret."""
    if address.revoked_at:
        raise Conflict("changed_meanwhile", "The address is revoked; make another.")
    secret = _new_secret()
    changes = {"secret_sha256": hash_of(secret), "made_by": actor}
    _note(address, "calendar_renewed", actor, now)
    return change_entry(entry=address, version=version, changes=changes), secret


@transaction.atomic
def revoke_address(*, address: CalendarLink, version: int, actor: User, now: datetime) -> CalendarLink:
    """It opens nothing from now on. Raises Conflict where it was changed or revoked meanwhile."""
    if address.revoked_at:
        raise Conflict("changed_meanwhile", "The address is revoked already.")
    CalendarEntry.objects.filter(address=address).delete()
    _note(address, "calendar_revoked", actor, now)
    return change_entry(entry=address, version=version, changes={"revoked_at": now, "revoked_by": actor})


def revoke_addresses_of(*, user: User, actor: User | None, now: datetime) -> int:
    """Of somebody who may see less now, or nothing: their own, and those that they made, whose secrets they know, and
    may make no more. Returns how many."""
    standing = CalendarLink.objects.filter(revoked_at__isnull=True)
    still = Q(user__in=may_have_calendar(user)) | Q(client__in=calendar_clients(user))
    gone = standing.filter(Q(user=user) | Q(made_by=user) & ~Q(id__in=standing.filter(still).values("id")))
    ids = list(gone.values_list("id", flat=True))
    CalendarEntry.objects.filter(address__in=ids).delete()
    links = CalendarLink.objects.filter(id__in=ids)
    return links.update(revoked_at=now, revoked_by=actor, version=F("version") + 1)


def _note(address: CalendarLink, code: str, actor: User, now: datetime) -> None:
    whose = str(address.user or address.client)
    note_change(user=address.user or address.made_by, actor=actor, now=now, code=code, name=whose)


def _new_secret() -> str:
    """256 bits."""
    return secrets.token_urlsafe(32)


def keep_shown(*, address: CalendarLink, events: Iterable[CalendarEvent], now: datetime) -> list[ShownEvent]:
    """What the address shows now: what changed since it last did has a higher sequence, what is gone is called off for
    a month. Writes only where something changed."""
    known = {each.uid: each for each in CalendarEntry.objects.filter(address=address)}
    asked = {each.uid: each for each in events}
    new = [_entry(address, each, now) for uid, each in asked.items() if uid not in known]
    changed = [each for uid, each in known.items() if _brought_up(each, asked.get(uid), now)]
    old = [each.pk for each in known.values() if each.cancelled_at and each.cancelled_at < now - CANCELLED_SHOWN]
    if new or changed or old:
        with transaction.atomic():
            CalendarEntry.objects.bulk_create(new, ignore_conflicts=True)
            CalendarEntry.objects.bulk_update(changed, ["sequence", "content", "changed_at", "cancelled_at"], 500)
            CalendarEntry.objects.filter(pk__in=old).delete()
    kept = [each for each in [*known.values(), *new] if each.pk not in set(old)]
    return [
        ShownEvent(each.uid, each.sequence, each.changed_at, each.cancelled_at is not None, each.content)
        for each in sorted(kept, key=lambda each: each.uid)
    ]


def _entry(address: CalendarLink, event: CalendarEvent, now: datetime) -> CalendarEntry:
    return CalendarEntry(address=address, uid=event.uid, content=event.as_content(), changed_at=now)


def _brought_up(entry: CalendarEntry, event: CalendarEvent | None, now: datetime) -> bool:
    """Make the row say what is so; True where it said something else."""
    if event is None:
        if entry.cancelled_at:
            return False
        entry.cancelled_at = now
    elif entry.cancelled_at is None and entry.content == event.as_content():
        return False
    else:
        entry.content, entry.cancelled_at = event.as_content(), None
    entry.sequence, entry.changed_at = entry.sequence + 1, now
    return True
