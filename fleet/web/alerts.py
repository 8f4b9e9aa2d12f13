"""Alerts: how one is told oneself, and who is told about unsafe and stop level, in which order."""

import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.due.alerts import alert_settings_of
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import AlertSettings, OnCall, Role, User
from fleet.models.access import may_change, may_see
from fleet.queries.alerts import may_be_on_call, on_call_list
from fleet.services.alerts import change_on_call, change_own_alerts, put_on_call, take_off_call
from fleet.web.forms import VersionForm, WordsField, taken
from fleet.web.guards import act, ask_who_it_is, form, viewer_of

MANAGER = frozenset({Role.MANAGER})


class OwnAlertsForm(VersionForm):
    email = forms.EmailField(label=gettext_lazy("Your e-mail address"), required=False, max_length=254)
    daily_summary = forms.BooleanField(required=False)
    hour = forms.IntegerField(
        label=gettext_lazy("From this hour of the day on"),
        min_value=0,
        max_value=23,
        error_messages={"required": gettext_lazy("Give an hour from 0 to 23.")},
    )
    time_zone = WordsField(gettext_lazy("Of the day in"), 64)


class OnCallForm(forms.Form):
    user = forms.UUIDField(label=gettext_lazy("Put on the list"))
    after_minutes = forms.IntegerField(label=gettext_lazy("Minutes after the first"), min_value=0, max_value=240)


class OnCallChangeForm(VersionForm):
    after_minutes = forms.IntegerField(label=gettext_lazy("Minutes after the first"), min_value=0, max_value=240)


def _shown(
    request: HttpRequest, refused: FleetError | None = None, given: dict[str, Any] | None = None, **_path: Any
) -> HttpResponse:
    viewer = viewer_of(request)
    choice = alert_settings_of(viewer)
    stands = {name: getattr(choice, name) for name in ("daily_summary", "hour", "time_zone")}
    context = {
        "opening": opening(viewer, choice),
        "choice": choice,
        "given": given or {"email": viewer.email, **stands},
        "refused": refused,
        "form": OwnAlertsForm(),
        "has_summary": may_see(viewer, "daily_summary"),
        "office_zone": settings.TIME_ZONE,
        "rows": [OnCallRow(each, _reach(each.user)) for each in on_call_list(viewer)],
        "sees_list": may_see(viewer, "on_call"),
        "is_manager": may_change(viewer, "on_call"),
        "candidates": may_be_on_call(viewer).exclude(on_call__isnull=False),
        "place": "alerts",
    }
    return render(request, "alerts.html", context, status=refused.status if refused else 200)


def _own_refused(request: HttpRequest, refused: FleetError) -> HttpResponse:
    viewer_of(request).refresh_from_db()
    return _shown(request, refused, request.POST.dict())


@form("own_alerts", refused=_own_refused)
def alerts(request: HttpRequest) -> HttpResponse:
    """One's own choices, and the list."""
    if request.method != "POST":
        return _shown(request)
    given = taken(OwnAlertsForm(request.POST))
    if given["email"] != viewer_of(request).email:
        ask_who_it_is(request)
    change_own_alerts(user=viewer_of(request), version=given.pop("version"), changes=given, now=clock.now())
    messages.success(request, _("Kept. This is how you are alerted from now on."))
    return redirect("alerts")


def opening(viewer: User, choice: AlertSettings) -> str:
    """Whether and how one is told, as a sentence."""
    if not viewer.email:
        return _("You get no alerts: there is no e-mail address of yours here.")
    if not may_see(viewer, "daily_summary"):
        on_call = OnCall.objects.filter(user=viewer).exists()
        if on_call:
            return _("You are on call: you are alerted of unsafe and stop level.")
        return _("You get no alerts while you are not on call.")
    if not choice.daily_summary:
        return _("You are alerted of unsafe and stop level; you have no daily summary.")
    return _("You are alerted of unsafe and stop level; what else is new comes once a day from %d:00 on.") % choice.hour


@dataclass(frozen=True)
class OnCallRow:
    """Somebody on the list. cannot: why they can't be told, empty where they can."""

    entry: OnCall
    cannot: str


def _reach(user: User) -> str:
    if not user.is_active:
        return _("the account is closed")
    return "" if user.email else _("has no e-mail address here")


@act("on_call", place="alerts", refused=_shown)
def on_call_add(request: HttpRequest) -> HttpResponse:
    """Put somebody on the list."""
    given = taken(OnCallForm(request.POST))
    user = found(may_be_on_call(viewer_of(request)), given["user"])
    put_on_call(values=given | {"user": user}, now=clock.now())
    messages.success(request, _("%s is on the list.") % user)
    return redirect("alerts")


@act("on_call", place="alerts", refused=_shown)
def on_call_change(request: HttpRequest, entry_id: uuid.UUID) -> HttpResponse:
    """Move somebody on the list, or take them off it."""
    entry = found(on_call_list(viewer_of(request)), entry_id)
    given = taken(OnCallChangeForm(request.POST))
    if request.POST.get("act") == "remove":
        take_off_call(entry=entry, version=given["version"])
    else:
        change_on_call(entry=entry, version=given["version"], after_minutes=given["after_minutes"])
    messages.success(request, _("The list is changed; alerts that are planned already stay as planned."))
    return redirect("alerts")
