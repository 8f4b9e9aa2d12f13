"""Calendars: addresses from which other programs read days, and the feed itself, which asks nobody to log in."""

import hashlib
import uuid
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.cache import caches
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError, NotFound
from fleet.models import CalendarLink, Role
from fleet.models.calendars import hash_of
from fleet.presentation import addresses
from fleet.queries.calendars import address_for, calendar_clients, events_for, may_have_calendar, visible_addresses
from fleet.services.calendars import keep_shown, make_address, renew_address, revoke_address
from fleet.web.forms import VersionForm, taken
from fleet.web.guards import act, anybody, ask_who_it_is, form, shown_next, shown_now, viewer_of
from reports.calendar_feed import calendar_bytes

FRESH_S = 900
MOST_AN_HOUR = 60


class NewAddressForm(forms.Form):
    """Of whom: "client " or "user " and an id."""

    whose = forms.RegexField(r"^(client|user) [0-9a-f-]{36}$", label=gettext_lazy("Whose days"))


def _list(
    request: HttpRequest, refused: FleetError | None = None, *, address_id: uuid.UUID | None = None
) -> HttpResponse:
    viewer = viewer_of(request)
    standing = list(visible_addresses(viewer).filter(revoked_at__isnull=True))
    context = {
        "addresses": standing,
        "people": may_have_calendar(viewer),
        "clients": calendar_clients(viewer),
        **shown_now(request),
        "refused": refused,
        "office_zone": settings.TIME_ZONE,
        "place": "alerts",
    }
    answer = render(request, "calendars.html", context, status=refused.status if refused else 200)
    answer["Cache-Control"] = "no-store"
    return answer


@form("calendars", refused=_list)
def calendars(request: HttpRequest) -> HttpResponse:
    """The addresses; posted to, a new one, which is shown once."""
    if request.method != "POST":
        return _list(request)
    viewer = viewer_of(request)
    kind, chosen = taken(NewAddressForm(request.POST))["whose"].split(" ")
    client = found(calendar_clients(viewer), _id(chosen)) if kind == "client" else None
    user = found(may_have_calendar(viewer), _id(chosen)) if kind == "user" else None
    ask_who_it_is(request)
    return _made(request, *make_address(user=user, client=client, actor=viewer, now=clock.now()))


def _made(request: HttpRequest, link: CalendarLink, secret: str) -> HttpResponse:
    address = addresses.whole(addresses.calendar_feed(secret))
    return shown_next(request, reverse("calendars"), made=str(link.client or link.user), address=address)


def _id(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError as bad:
        raise NotFound("not_found", "There is nothing of that id.") from bad


@act("calendars", place="calendars", refused=_list)
def change(request: HttpRequest, address_id: uuid.UUID) -> HttpResponse:
    """Renew an address, or revoke it."""
    viewer = viewer_of(request)
    address = found(visible_addresses(viewer), address_id)
    by: dict[str, Any] = {"version": taken(VersionForm(request.POST))["version"], "actor": viewer, "now": clock.now()}
    if request.POST.get("act") == "renew":
        ask_who_it_is(request)
        return _made(request, *renew_address(address=address, **by))
    revoke_address(address=address, **by)
    messages.success(request, _("The link is revoked: it opens nothing from now on."))
    return redirect("calendars")


# ---- the feed ----


@anybody("calendar_feeds")
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar that this secret opens. One that opens nothing is not found, after the same one look-up."""
    address = address_for(hash_of(secret))
    if address is None:
        return _plain(404, _("There is no calendar here."))
    if not _may_read(address):
        refused = _plain(429, _("Too often; once in a quarter of an hour is enough."))
        refused["Retry-After"] = str(FRESH_S)
        return refused
    now = clock.now()
    shown = keep_shown(address=address, events=events_for(address, clock.today()), now=now)
    data = calendar_bytes(_name(address), shown)
    answer = HttpResponse(data, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="calendar.ics"'
    answer["Cache-Control"] = f"private, max-age={FRESH_S}"
    answer["X-Robots-Tag"] = "noindex"
    answer["ETag"] = f'"{hashlib.sha256(data).hexdigest()}"'
    conditional = get_conditional_response(request, etag=answer["ETag"], response=answer)
    return conditional if isinstance(conditional, HttpResponse) else answer


def _name(address: CalendarLink) -> str:
    if address.client:
        return _("Heating appliances of %s") % address.client.name
    if address.user and address.user.role == Role.TECHNICIAN:
        return _("Days of %s") % address.user
    return _("Days that are set")


def _may_read(address: CalendarLink) -> bool:
    """At most so many times an hour, counted by each process for itself."""
    key, cache = f"calendar-{address.id}", caches["process"]
    cache.add(key, 0, 3600)
    try:
        return cache.incr(key) <= MOST_AN_HOUR
    except ValueError:
        return True  # it ran out between the two


def _plain(status: int, words: str) -> HttpResponse:
    """Not logged by its address, which holds the secret."""
    answer = HttpResponse(f"{words}\n", status=status, content_type="text/plain; charset=utf-8")
    answer["Cache-Control"] = "no-store"
    answer._has_been_logged = True  # type: ignore[attr-defined]  # Django's own mark
    return answer
