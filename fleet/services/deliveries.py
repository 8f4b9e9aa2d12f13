"""Deliveries: who must receive a visit's record by when; sent, failed, and back in the office."""

import uuid
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from fleet.errors import Conflict, FleetError
from fleet.intervals.dates import spoken
from fleet.models import Delivery, LimitSetVersion, Record, Sending, StoredFile, User, Visit
from fleet.services.set_clocks import delivery_clocks


def open_deliveries(*, visit: Visit, versions: Sequence[LimitSetVersion], now: datetime) -> None:
    """What the sets of this visit ask for, once each, however often the visit is taken in.

    A correction takes away what nobody has sent and no set asks for any more, and sends again what was sent before
    it: within as many days of the correction as the set gives after the visit. A recipient without a number of days
    (before somebody moves in) is no matter of the visit. versions: of the sets by which it was judged, each with its
    set.
    """
    wanted = _wanted(visit, versions)
    known = list(visit.deliveries.select_related("tenancy").prefetch_related("sendings"))
    # Those that the visit itself asks for; what a new tenancy asks for is its own.
    standing = {(each.limit_set_id, each.recipient): each for each in known if each.tenancy is None}
    for each in known:
        if each.tenancy and _is_of_an_older_record(each, visit):
            _change_standing(each, _before_a_tenancy(each, visit, now))
    if not wanted and not standing:
        return
    _withdraw([each for key, each in standing.items() if key not in wanted])
    for key, (days, said) in wanted.items():
        if (delivery := standing.get(key)) is None:
            _open(visit, key, days, said, now)
        else:
            _bring_up_to_date(delivery, visit, days, said, now)


def _wanted(visit: Visit, versions: Sequence[LimitSetVersion]) -> dict[tuple[uuid.UUID, str], tuple[int, str]]:
    """By set and recipient: within how many days, and the sentence before its date. The strictest of two for one.

    Nothing where nothing was tested: there is no record to deliver.
    """
    if visit.outcome == Visit.Outcome.NOT_TESTED:
        return {}
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
        tenancy=None,
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
    if _is_of_an_older_record(delivery, visit):
        changes = _asked_again(visit, now, days, said)
    elif not delivery.sent_at and not delivery.returned_why:
        due = visit.local_date + timedelta(days=days)
        changes = {"due": due, "words": _words(said, visit.local_date, due)[:300]}
    _change_standing(delivery, changes)


def _is_of_an_older_record(delivery: Delivery, visit: Visit) -> bool:
    """Sent, and the record was corrected since."""
    last = next(reversed(delivery.sendings.all()), None)
    return delivery.sent_at is not None and last is not None and last.record_id != visit.record_id


def _change_standing(delivery: Delivery, changes: dict[str, Any]) -> None:
    if any(getattr(delivery, name) != value for name, value in changes.items()):
        Delivery.objects.filter(id=delivery.id).update(**changes, version=F("version") + 1)


def _asked_again(visit: Visit, corrected_at: datetime, days: int, said: str) -> dict[str, Any]:
    """What was sent is an older record: the corrected one is to be sent within as many days of the correction."""
    day = visit.appliance.building.today(corrected_at)
    due = day + timedelta(days=days)
    words = _("%(said)s; corrected on %(since)s, so again by %(due)s")
    words %= {"said": said, "since": spoken(day), "due": spoken(due)}
    return {"due": due, "words": words[:300]} | _returned(day)


def _before_a_tenancy(delivery: Delivery, visit: Visit, corrected_at: datetime) -> dict[str, Any]:
    """The same for who moves in: still before that day, or at once where it has come; nothing where nothing counts."""
    if delivery.tenancy is None or delivery.tenancy.called_off or visit.outcome == Visit.Outcome.NOT_TESTED:
        return {}
    day = visit.appliance.building.today(corrected_at)
    return {"due": max(delivery.tenancy.begins, day)} | _returned(day)


def _returned(corrected_on: date) -> dict[str, Any]:
    why = _("The record was corrected on %s after it was sent.") % f"{corrected_on:%Y-%m-%d}"
    return {"sent_at": None, "returned_why": why}


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
    # A correction writes this row before it looks at what was sent: one of the two sees the other.
    visit = (
        Visit.objects.select_for_update(of=("self",)).select_related("appliance__building").get(id=delivery.visit_id)
    )
    sent = _record_sent(visit, sent_at)
    _change(delivery, version, _after_sending(delivery, visit, sent, sent_at))
    Sending.objects.create(
        delivery=delivery, record=sent, sent_at=sent_at, how=how, address=address.strip(),
        proof=proof.strip(), file=file, sent_by=actor,
    )  # fmt: skip
    return delivery


def _record_sent(visit: Visit, sent_at: datetime) -> Record:
    """The visit's record as it stood then; the first where it went before that had come in, as one handed over does."""
    known = list(Record.objects.filter(kind="visit", subject=visit.id).order_by("id"))
    return next((each for each in reversed(known) if each.received_at <= sent_at), known[0])


def _after_sending(delivery: Delivery, visit: Visit, sent: Record, sent_at: datetime) -> dict[str, Any]:
    """Done, unless the record was corrected since and the set still asks for it."""
    done = {"sent_at": sent_at, "returned_why": ""}
    if sent.id == visit.record_id:
        return done
    corrected_at = sent.amended_by.received_at
    if delivery.tenancy:
        return _before_a_tenancy(delivery, visit, corrected_at) or done
    versions = list(visit.judgement.limit_set_versions.select_related("limit_set"))
    asked = _wanted(visit, versions).get((delivery.limit_set_id, delivery.recipient))
    return _asked_again(visit, corrected_at, *asked) if asked else done


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
    if delivery.visit.appliance.building.today(sent_at) < delivery.visit.local_date:
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
