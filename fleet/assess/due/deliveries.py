"""How a delivery stands: told from what is asked for and what was sent, so that the order of events never matters."""

import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Prefetch

from fleet.assess.due.set_rules import delivery_clocks
from fleet.coded import Coded, as_rows, coded
from fleet.models import Delivery, LimitSet, LimitSetVersion, Record, Sending, Tenancy, Visit

NOT_ASKED_FOR = coded("not_asked_for")


@dataclass(frozen=True)
class Asked:
    """Which visit's record must be there by when.

    why: before any date.    day: how its last day follows.    again: the last day of a record that was corrected on a
    day, after an older one had been sent.
    """

    visit: Visit
    due: date
    why: Coded
    day: Coded
    again: Callable[[date], date]

    @property
    def steps(self) -> list[Any]:
        """How the last day comes about."""
        return as_rows((self.why, self.day))


def asked_after(visit: Visit, limit_set: LimitSet, days: int, event: str) -> Asked:
    """Within so many days of the visit, or of the check; a corrected record within as many of its correction."""
    due = visit.local_date + timedelta(days=days)
    why = coded("days_after_check" if event == "check" else "days_after_visit", set=limit_set.name, days=days)
    day = coded("so_it_is_due", since_on=visit.local_date, due_on=due)
    return Asked(visit, due, why, day, lambda corrected_on: corrected_on + timedelta(days=days))


def asked_before(tenancy: Tenancy, limit_set: LimitSet, visit: Visit) -> Asked:
    """Before somebody moves in: by the day before, or on the day itself where the check was only made then."""
    due = max(tenancy.begins - timedelta(days=1), visit.local_date)
    why = coded("before_tenancy", set=limit_set.name, begins_on=tenancy.begins, visit_on=visit.local_date)
    return Asked(visit, due, why, coded("so_by", due_on=due), lambda corrected_on: max(due, corrected_on))


def with_records() -> "Prefetch[str]":
    """The sendings of deliveries, each with the record that went and the one that amended it."""
    sent = Sending.objects.select_related("record__amended_by")
    return Prefetch("sendings", sent.defer("record__content", "record__amended_by__content"))


def as_it_stands(
    delivery: Delivery, sendings: Iterable[Sending], asked: Asked | None, over: Coded = NOT_ASKED_FOR
) -> dict[str, Any]:
    """What the row says. sendings: in order.    asked: None where nothing is asked for any more, `over` says why.

    Done where a sending of the very record that is asked for stands; then its last day stays as it was.
    """
    tried = list(sendings)
    held = [each for each in tried if each.failed_at is None]
    if asked is None:
        # What somebody received they have; what failed nobody has to send any more.
        return {
            "sent_at": held[-1].sent_at if held else None,
            "returned_why": [],
            "not_needed": [] if held else as_rows([over]),
        }
    values = {"visit_id": asked.visit.id, "not_needed": []}
    done = next((each for each in reversed(held) if each.record_id == asked.visit.record_id), None)
    if done:
        moved = {} if delivery.visit_id == asked.visit.id else {"due": asked.due, "steps": asked.steps}
        return values | {"sent_at": done.sent_at, "returned_why": []} | moved
    due, steps, why = _still_to_go(asked, held[-1] if held else None)
    if tried and tried[-1].failed_at:
        why = as_rows([coded("failed", said=tried[-1].failed_why)])
    return values | {"sent_at": None, "returned_why": why, "due": due, "steps": steps}


def _still_to_go(asked: Asked, held: Sending | None) -> tuple[date, list[Any], list[Any]]:
    """Last day, how it comes about, and why again. held: the newest sending that stands, of another record, or None.

    Where none stands, nobody has anything: the last day is that of the visit, however often it was corrected since.
    """
    if held is None:
        return asked.due, asked.steps, []
    if held.record.subject != asked.visit.id:
        return asked.due, asked.steps, as_rows([coded("not_the_newest", visit_on=asked.visit.local_date)])
    corrected_on = asked.visit.appliance.building.today(held.record.amended_by.received_at)
    due = asked.again(corrected_on)
    steps = as_rows((asked.why, coded("so_again_by", corrected_on=corrected_on, due_on=due)))
    return due, steps, as_rows([coded("corrected", corrected_on=corrected_on)])


def differs(delivery: Delivery, values: dict[str, Any]) -> bool:
    return any(getattr(delivery, name) != value for name, value in values.items())


def asked_by_sets(visit: Visit, versions: Sequence[LimitSetVersion]) -> dict[tuple[uuid.UUID, str], Asked]:
    """By set and recipient. The strictest of two for one.

    Nothing where nothing was tested: there is no record to deliver.
    """
    if visit.outcome == Visit.Outcome.NOT_TESTED:
        return {}
    wanted: dict[tuple[uuid.UUID, str], Asked] = {}
    for version in versions:
        for recipient, days, event in delivery_clocks(version):
            key, asked = (version.limit_set_id, recipient), asked_after(visit, version.limit_set, days, event)
            wanted[key] = min(wanted.get(key, asked), asked, key=lambda each: each.due)
    return wanted


def asked_today(delivery: Delivery, visit: Visit) -> Asked | None:
    """What the set asks for today; None where nobody does any more."""
    if delivery.tenancy is None:
        versions = list(visit.judgement.limit_set_versions.select_related("limit_set"))
        return asked_by_sets(visit, versions).get((delivery.limit_set_id, delivery.recipient))
    if delivery.tenancy.called_off or visit.outcome == Visit.Outcome.NOT_TESTED:
        return None
    return asked_before(delivery.tenancy, delivery.limit_set, visit)


def corrections_of(visit: Visit) -> list[datetime]:
    """When its record was corrected, in order: what was sent before is an older record."""
    corrected = Record.objects.filter(kind="visit", subject=visit.id, amends__isnull=False)
    return list(corrected.order_by("id").values_list("received_at", flat=True))
