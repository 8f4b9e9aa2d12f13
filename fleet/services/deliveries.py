"""Deliveries: who must receive a visit's record by when; sent, failed, and back in the office."""

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from fleet.assess.due.deliveries import Asked, as_it_stands, asked_by_sets, asked_today, differs, with_records
from fleet.coded import coded, wrong
from fleet.errors import Conflict, FleetError
from fleet.models import Delivery, LimitSetVersion, Record, Sending, StoredFile, User, Visit
from fleet.services.register import change_row


def open_deliveries(*, visit: Visit, versions: Sequence[LimitSetVersion], now: datetime) -> None:
    """What the sets of this visit ask for, once each, however often the visit is taken in.

    A correction takes away what nobody has sent and no set asks for any more, and sends again what was sent before
    it: within as many days of the correction as the set gives after the visit. A recipient without a number of days
    (before somebody moves in) is no matter of the visit. versions: of the sets by which it was judged, each with its
    set.
    """
    wanted = asked_by_sets(visit, versions)
    known = visit.deliveries.filter(tenancy__isnull=True).prefetch_related(with_records())
    standing = {(each.limit_set_id, each.recipient): each for each in known}
    _withdraw([each for key, each in standing.items() if key not in wanted])
    for key, asked in wanted.items():
        if delivery := standing.get(key):
            _change_standing(delivery, as_it_stands(delivery, delivery.sendings.all(), asked))
        else:
            _open(visit, key, asked, now)


def _open(visit: Visit, key: tuple[uuid.UUID, str], asked: Asked, now: datetime) -> None:
    Delivery.objects.get_or_create(
        visit=visit,
        tenancy=None,
        limit_set_id=key[0],
        recipient=key[1],
        defaults={"due": asked.due, "steps": asked.steps, "opened_at": now},
    )


def _withdraw(deliveries: list[Delivery]) -> None:
    """What was sent stays; what was tried and failed stays with its sendings, and waits no longer."""
    if unsent := [each.id for each in deliveries if not each.sendings.all()]:
        Delivery.objects.filter(id__in=unsent).delete()
    for each in deliveries:
        if each.id not in unsent:
            _change_standing(each, as_it_stands(each, each.sendings.all(), None))


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

    What went is the record as it stood at that moment: where it was corrected afterwards, the sending is kept with the
    older record, and the delivery stays open for the corrected one, as if the sending had been recorded in time.
    Raises FleetError `invalid`, Conflict `changed_meanwhile` or `already_sent`.
    """
    _check_sending(delivery, how, address, sent_at, file, now)
    if delivery.sent_at:
        raise Conflict("already_sent", "It was sent already; say first that it failed.")
    visit = _visit_held(delivery)
    Sending.objects.create(
        delivery=delivery, record=_record_sent(visit, sent_at), sent_at=sent_at, how=how, address=address.strip(),
        proof=proof.strip(), file=file, sent_by=actor,
    )  # fmt: skip
    _change(delivery, version, visit)
    return delivery


def _visit_held(delivery: Delivery) -> Visit:
    """Its visit, which a correction writes before it looks at what was sent: one of the two sees the other."""
    held = Visit.objects.select_for_update(of=("self",), no_key=True)
    return held.select_related("appliance__building").get(id=delivery.visit_id)


def _record_sent(visit: Visit, sent_at: datetime) -> Record:
    """The visit's record as it stood then; the first where it went before that had come in, as one handed over does."""
    known = list(Record.objects.filter(kind="visit", subject=visit.id).order_by("id"))
    return next((each for each in reversed(known) if each.received_at <= sent_at), known[0])


def _check_sending(
    delivery: Delivery, how: str, address: str, sent_at: datetime, file: StoredFile | None, now: datetime
) -> None:
    errors = {}
    if how not in Sending.How.values:
        errors["how"] = wrong("one_of", how, allowed=Sending.How.values)
    if not address.strip():
        errors["address"] = coded("say_where")
    if sent_at > now:
        errors["sent_at"] = wrong("moment_ahead", f"{sent_at:%Y-%m-%d %H:%M}")
    if delivery.visit.appliance.building.today(sent_at) < delivery.visit.local_date:
        errors["sent_at"] = wrong("visit_was_on", sent_at.date(), visit_on=delivery.visit.local_date)
    if file is not None and file.visit_id != delivery.visit_id:
        errors["file"] = wrong("of_same_visit", str(file.id))
    if errors:
        raise FleetError("invalid", "The sending can't be recorded.", errors=errors)


@transaction.atomic
def fail_delivery(*, delivery: Delivery, version: int, why: str, actor: User, now: datetime) -> Delivery:
    """The newest sending came back or never arrived: it is the office's again, by the day that it was due without it.

    Also where a correction has opened it again since: what never arrived moves no last day.
    Raises FleetError `invalid` without a reason, Conflict `changed_meanwhile` or `not_sent`.
    """
    if not why.strip():
        raise FleetError("invalid", "A failed delivery needs its reason.", errors={"why": coded("say_why")})
    visit = _visit_held(delivery)
    last = delivery.sendings.last()
    if last is None or last.failed_at:
        raise Conflict("not_sent", "It hasn't been sent, so it can't have failed.")
    Sending.objects.filter(id=last.id).update(failed_at=now, failed_by=actor, failed_why=why.strip())
    _change(delivery, version, visit)
    return delivery


def _change(delivery: Delivery, version: int, visit: Visit) -> None:
    """As it stands by its sendings, if nobody has changed it since it was read."""
    sendings = delivery.sendings.select_related("record__amended_by")
    values = as_it_stands(delivery, sendings, asked_today(delivery, visit))
    change_row(row=delivery, version=version, changes=values)


def _change_standing(delivery: Delivery, values: dict[str, Any]) -> None:
    """Written only where something differs."""
    if differs(delivery, values):
        Delivery.objects.filter(id=delivery.id).update(**values, version=F("version") + 1)
