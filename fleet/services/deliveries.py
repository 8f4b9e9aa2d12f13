"""Deliveries: who must receive a visit's record by when; sent, failed, and back in the office."""

import uuid
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from fleet.errors import Conflict, FleetError
from fleet.intervals.dates import spoken
from fleet.models import Delivery, LimitSetVersion, Sending, StoredFile, User, Visit
from fleet.services.set_clocks import delivery_clocks


def open_deliveries(*, visit: Visit, versions: Sequence[LimitSetVersion], now: datetime) -> None:
    """What the sets of this visit ask for, once each, however often the visit is taken in.

    A correction takes away what nobody has sent and no set asks for any more, and sends again what was sent before
    it: within as many days of the correction as the set gives after the visit. A recipient without a number of days
    (before somebody moves in) is no matter of the visit. versions: of the sets by which it was judged, each with its
    set.
    """
    wanted = {} if visit.outcome == Visit.Outcome.NOT_TESTED else _wanted(visit, versions)
    standing = {(each.limit_set_id, each.recipient): each for each in visit.deliveries.prefetch_related("sendings")}
    if not wanted and not standing:
        return
    _withdraw([each for key, each in standing.items() if key not in wanted])
    for key, (days, said) in wanted.items():
        if (delivery := standing.get(key)) is None:
            _open(visit, key, days, said, now)
        else:
            _bring_up_to_date(delivery, visit, days, said, now)


def _wanted(visit: Visit, versions: Sequence[LimitSetVersion]) -> dict[tuple[uuid.UUID, str], tuple[int, str]]:
    """By set and recipient: within how many days, and the sentence before its date. The strictest of two for one."""
    wanted: dict[tuple[uuid.UUID, str], tuple[int, str]] = {}
    for version in versions:
        for recipient, days, event in delivery_clocks(version):
            key, said = (version.limit_set_id, recipient), _clock_words(version, days, event)
            wanted[key] = min(wanted.get(key, (days, said)), (days, said))
    return wanted


def _clock_words(version: LimitSetVersion, days: int, event: str) -> str:
    said = {"set": version.limit_set.name, "days": days}
    if event == "check":
        return _("By %(set)s: %(days)d days after the check") % said
    return _("By %(set)s: %(days)d days after the visit") % said


def _words(said: str, since: date, due: date) -> str:
    return _("%(said)s on %(since)s is %(due)s") % {"said": said, "since": spoken(since), "due": spoken(due)}


def _open(visit: Visit, key: tuple[uuid.UUID, str], days: int, said: str, now: datetime) -> None:
    due = visit.local_date + timedelta(days=days)
    Delivery.objects.get_or_create(
        visit=visit,
        limit_set_id=key[0],
        recipient=key[1],
        defaults={"due": due, "words": _words(said, visit.local_date, due)[:300], "opened_at": now},
    )


def _withdraw(deliveries: list[Delivery]) -> None:
    """What was tried stays as it is: somebody may have received it."""
    unsent = [each.id for each in deliveries if not each.sendings.all()]
    if unsent:
        Delivery.objects.filter(id__in=unsent).delete()


def _bring_up_to_date(delivery: Delivery, visit: Visit, days: int, said: str, now: datetime) -> None:
    changes: dict[str, Any] = {}
    last = next(reversed(delivery.sendings.all()), None)
    if delivery.sent_at and last and last.record_id != visit.record_id:
        today = now.astimezone(ZoneInfo(visit.appliance.building.time_zone)).date()
        due = today + timedelta(days=days)
        why = _("The record was corrected on %s after it was sent.") % f"{today:%Y-%m-%d}"
        words = _("%(said)s; corrected on %(since)s, so again by %(due)s")
        words %= {"said": said, "since": spoken(today), "due": spoken(due)}
        changes = {"due": due, "words": words, "sent_at": None, "returned_why": why}
    elif not delivery.sent_at and not delivery.returned_why:
        due = visit.local_date + timedelta(days=days)
        changes = {"due": due, "words": _words(said, visit.local_date, due)}
    changes = {name: value[:300] if name == "words" else value for name, value in changes.items()}
    if any(getattr(delivery, name) != value for name, value in changes.items()):
        Delivery.objects.filter(id=delivery.id).update(**changes, version=F("version") + 1)


@transaction.atomic
def send_delivery(
    *,
    delivery: Delivery,
    version: int,
    how: str,
    address: str,
    sent_at: datetime,
    proof: str,
    file: StoredFile | None,
    actor: User,
    now: datetime,
) -> Delivery:
    """Say that it went: how, to which address, when, and what proves it. A file must be one of the same visit.

    Raises FleetError `invalid`, Conflict `changed_meanwhile` or `already_sent`.
    """
    _check_sending(delivery, how, address, sent_at, file, now)
    if delivery.sent_at:
        raise Conflict("already_sent", "It was sent already; say first that it failed.")
    _change(delivery, version, {"sent_at": sent_at, "returned_why": ""})
    Sending.objects.create(
        delivery=delivery, record_id=delivery.visit.record_id, sent_at=sent_at, how=how, address=address.strip(),
        proof=proof.strip(), file=file, sent_by=actor,
    )  # fmt: skip
    return delivery


def _check_sending(
    delivery: Delivery, how: str, address: str, sent_at: datetime, file: StoredFile | None, now: datetime
) -> None:
    errors = {}
    if how not in Sending.How.values:
        errors["how"] = f"is {how[:60]!r}; it must be one of: {', '.join(Sending.How.values)}"
    if not address.strip():
        errors["address"] = "is empty; say to whom and where it went"
    if sent_at > now:
        errors["sent_at"] = f"is {sent_at:%Y-%m-%d %H:%M}; it must not lie ahead"
    if sent_at.astimezone(ZoneInfo(delivery.visit.appliance.building.time_zone)).date() < delivery.visit.local_date:
        errors["sent_at"] = f"is {sent_at:%Y-%m-%d}; the visit was on {delivery.visit.local_date:%Y-%m-%d}"
    if file is not None and file.visit_id != delivery.visit_id:
        errors["file"] = f"is {file.id}; it must be a file of the same visit"
    if errors:
        raise FleetError("invalid", "The sending can't be recorded.", errors=errors)


@transaction.atomic
def fail_delivery(*, delivery: Delivery, version: int, why: str, actor: User, now: datetime) -> Delivery:
    """It came back or never arrived: it is the office's again, with its last day as it was.

    Raises FleetError `invalid` without a reason, Conflict `changed_meanwhile` or `not_sent`.
    """
    if not why.strip():
        raise FleetError("invalid", "A failed delivery needs its reason.", errors={"why": "is empty; say why"})
    last = delivery.sendings.order_by("-sent_at", "-id").first()
    if not delivery.sent_at or last is None:
        raise Conflict("not_sent", "It hasn't been sent, so it can't have failed.")
    _change(delivery, version, {"sent_at": None, "returned_why": why.strip()})
    Sending.objects.filter(id=last.id).update(failed_at=now, failed_by=actor, failed_why=why.strip())
    return delivery


def _change(delivery: Delivery, version: int, changes: dict[str, Any]) -> None:
    same = Delivery.objects.filter(id=delivery.id, version=version)
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The delivery was changed meanwhile; read it again.")
    delivery.refresh_from_db(fields=["sent_at", "returned_why", "version", "due", "words"])
