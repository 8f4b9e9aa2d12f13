"""Deliveries: who is still to receive the record of which visit, by when; saying that it went, and that it failed."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.assess.due.deliveries import corrections_of
from fleet.assess.refusals import found
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.models import Delivery, Sending
from fleet.models.access import may_change
from fleet.presentation.due_rule import DueRule, row_due_rule
from fleet.presentation.words import count_words, listed
from fleet.queries.access import visible_clients
from fleet.queries.follow_ups import OPEN, open_deliveries, visible_deliveries, without_record
from fleet.services.deliveries import fail_delivery, send_delivery
from fleet.web.attention import away_words
from fleet.web.forms import DayField, VersionForm, WordedActForm, WordsField, chosen_client, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.pages import page_of
from fleet.web.places import place_of

SOON = timedelta(days=14)
LINE_HALF = timedelta(days=45)


class SendForm(VersionForm):
    """How it went, to whom, on which day and at what time there, and what proves it."""

    how = forms.ChoiceField(label=gettext_lazy("How"), choices=Sending.How.choices)
    address = WordsField(gettext_lazy("To whom and where"), 300, gettext_lazy("Say to whom and where it went."))
    sent_on = DayField(gettext_lazy("On"))
    sent_time = forms.TimeField(label=gettext_lazy("At"), required=False)
    proof = WordsField(gettext_lazy("What proves it"), 500)


@page("deliveries")
def deliveries(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    clients = list(visible_clients(viewer))
    client, is_sent = chosen_client(request.GET, clients), request.GET.get("which") == "sent"
    waiting = open_deliveries(viewer)
    rows = visible_deliveries(viewer).exclude(OPEN) if is_sent else waiting
    if client:
        waiting, rows = (each.filter(visit__appliance__building__client=client) for each in (waiting, rows))
    lacking = [] if is_sent else without_record(viewer, today)
    if client:
        lacking = [each for each in lacking if each.tenancy.building.client_id == client.id]
    listed = page_of(rows, request.GET, by="due", newest_first=is_sent)
    shown = {
        "opening": opening(waiting.filter(due__lt=today).count(), waiting.count()),
        "list": listed,
        "rows": [_row(each, today) for each in listed.rows],
        "lacking": lacking,
        "clients": clients,
        "client": client,
        "is_sent": is_sent,
        "may_send": may_change(viewer, "deliveries"),
        "ways": Sending.How.choices,
        "place": place_of(viewer.role, "deliveries", under="attention"),
    }
    return render(request, "deliveries.html", shown)


def opening(late: int, waiting: int) -> str:
    """How many are overdue of how many that wait."""
    if not waiting:
        return _("No record waits to be delivered.")
    words = ngettext("%s record waits to be delivered", "%s records wait to be delivered", waiting)
    parts = [words % count_words(waiting).capitalize()]
    if late:
        parts.append(ngettext("%s is overdue", "%s are overdue", late) % count_words(late))
    return f"{listed(parts)}."


@dataclass(frozen=True)
class DeliveryRow:
    delivery: Delivery
    away: str
    is_late: bool
    rule: DueRule | None
    sendings: list[Sending]

    @property
    def may_fail(self) -> bool:
        """What went last has not come back yet, as far as is known."""
        return bool(self.sendings) and self.sendings[-1].failed_at is None


def _row(delivery: Delivery, today: date) -> DeliveryRow:
    visited = delivery.visit.local_date
    is_late = delivery.is_overdue(today)
    away = away_words(delivery.due, today) if delivery.is_open else ""
    rule = row_due_rule(visited, delivery.due, today, LINE_HALF)
    return DeliveryRow(delivery, away, is_late, rule, list(delivery.sendings.all()))


def _refused(request: HttpRequest, refused: FleetError, delivery_id: uuid.UUID) -> HttpResponse:
    """Nothing was changed; the delivery as it stands now, with what was typed."""
    delivery = _visible(request, delivery_id)
    shown = {"row": _row(delivery, clock.today()), "refused": refused, "given": request.POST, "may_send": True}
    shown["form"] = SendForm()
    shown |= {"ways": Sending.How.choices, "place": "attention"}
    return render(request, "delivery_refused.html", shown, status=refused.status)


@act("deliveries", place="deliveries", refused=_refused)
def send(request: HttpRequest, delivery_id: uuid.UUID) -> HttpResponse:
    delivery = _visible(request, delivery_id)
    given = taken(SendForm(request.POST))
    sent_at = _moment(given.pop("sent_on"), given.pop("sent_time"), delivery)
    send_delivery(delivery=delivery, sent_at=sent_at, file=None, **given, actor=viewer_of(request), now=clock.now())
    said = _("Sent to %(to)s: %(what)s.") if delivery.sent_at else _(
        "Sent to %(to)s, but the record was corrected after that: the corrected one is still to be sent. %(what)s."
    )  # fmt: skip
    messages.success(request, said % {"to": delivery.recipient, "what": _named(delivery)})
    return redirect("deliveries")


@act("deliveries", place="deliveries", refused=_refused)
def fail(request: HttpRequest, delivery_id: uuid.UUID) -> HttpResponse:
    delivery = _visible(request, delivery_id)
    said, actor = taken(WordedActForm(request.POST)), viewer_of(request)
    fail_delivery(delivery=delivery, version=said["version"], why=said["words"], actor=actor, now=clock.now())
    messages.success(request, _("It is the office's again: %s.") % _named(delivery))
    return redirect("deliveries")


def _moment(day: date | None, at: time | None, delivery: Delivery) -> datetime:
    """That time of that day at the building; without a time now, or noon of an earlier day.

    On a day on which the record was corrected only the time says which record went. Raises FleetError `invalid`.
    """
    building, now = delivery.visit.appliance.building, clock.now()
    zone, today = ZoneInfo(building.time_zone), building.today(now)
    day = day or today
    if at is not None:
        return datetime.combine(day, at, zone)
    if any(building.today(each) == day for each in corrections_of(delivery.visit)):
        errors = {"sent_time": coded("time_of_corrected")}
        raise FleetError("invalid", "The sending can't be recorded.", errors=errors)
    return now if day == today else datetime.combine(day, time(12), zone)


def _visible(request: HttpRequest, delivery_id: uuid.UUID) -> Delivery:
    return found(visible_deliveries(viewer_of(request)), delivery_id)


def _named(delivery: Delivery) -> str:
    return f"{delivery.visit.appliance.name}, {delivery.visit.appliance.building.name}"
