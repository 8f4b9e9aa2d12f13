"""Webhooks: which other programs are told of what, whether it arrives, and where they may be."""

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import EventKind, Role, Webhook
from fleet.queries.access import visible_clients
from fleet.queries.webhooks import allowed_targets, visible_deliveries, visible_hooks
from fleet.services.webhooks import (
    add_hook,
    allow_target,
    change_hook,
    disallow_target,
    remove_hook,
    renew_secret,
    send_trial,
)
from fleet.web.forms import VersionForm, WordsField, chosen_id, taken
from fleet.web.guards import act, form, shown_next, shown_now, viewer_of

MANAGER = frozenset({Role.MANAGER})
MOST_DELIVERIES = 50


class HookForm(forms.Form):
    name = WordsField(gettext_lazy("Name"), 100, required=True)
    url = WordsField(gettext_lazy("Where to"), 500, required=True)
    kinds = forms.MultipleChoiceField(label=gettext_lazy("Alerted when"), choices=EventKind.choices)


class NewHookForm(HookForm):
    client = forms.UUIDField(label=gettext_lazy("Of"), required=False)


class TargetForm(forms.Form):
    host = WordsField(gettext_lazy("Host"), 253, required=True)
    why = WordsField(gettext_lazy("Why"), 300, required=True)


def _list(request: HttpRequest, refused: FleetError | None = None) -> HttpResponse:
    viewer = viewer_of(request)
    hooks = list(visible_hooks(viewer))
    context = {
        "hooks": hooks,
        "on": sum(each.is_on for each in hooks),
        "kinds": EventKind.choices,
        "chosen": request.POST.getlist("kinds"),
        "given": request.POST,
        "clients": visible_clients(viewer),
        "sees_all": viewer.sees_all_clients,
        "targets": allowed_targets(viewer),
        "refused": refused,
        "form": HookForm(),
        "place": "alerts",
    }
    return render(request, "webhooks.html", context, status=refused.status if refused else 200)


@form("webhooks", refused=_list)
def webhooks(request: HttpRequest) -> HttpResponse:
    """The list; posted to, a new hook, whose page shows its secret once."""
    if request.method != "POST":
        return _list(request)
    viewer, given = viewer_of(request), taken(NewHookForm(request.POST))
    given["client"] = found(visible_clients(viewer), given["client"]) if given["client"] else None
    hook, secret = add_hook(values=given, actor=viewer, now=clock.now())
    return _with_secret(request, hook, secret)


def _with_secret(request: HttpRequest, hook: Webhook, secret: str) -> HttpResponse:
    return shown_next(request, reverse("webhook", args=[hook.id]), secret=secret)


def _one_refused(request: HttpRequest, refused: FleetError, hook_id: uuid.UUID) -> HttpResponse:
    return _one(request, found(visible_hooks(viewer_of(request)), hook_id), refused=refused)


@form("webhooks", refused=_one_refused)
def webhook(request: HttpRequest, hook_id: uuid.UUID) -> HttpResponse:
    """One hook, what was delivered, and the acts on it."""
    hook = found(visible_hooks(viewer_of(request)), hook_id)
    if request.method != "POST":
        return _one(request, hook)
    version = taken(VersionForm(request.POST))["version"]
    return _done(request, hook, version, request.POST.get("act", ""))


def _done(request: HttpRequest, hook: Webhook, version: int, what: str) -> HttpResponse:
    now = clock.now()
    if what == "renew":
        renewed, secret = renew_secret(hook=hook, version=version)
        return _with_secret(request, renewed, secret)
    if what == "remove":
        remove_hook(hook=hook, version=version, now=now)
        messages.success(request, _("%s is removed and sends nothing any more.") % hook.name)
        return redirect("webhooks")
    if what == "trial":
        send_trial(hook=hook, now=now)
        messages.success(request, _("A trial event is on its way; open this page again in a moment to see what came."))
    elif what in ("on", "off"):
        change_hook(hook=hook, version=version, changes={"is_on": what == "on"}, actor=viewer_of(request), now=now)
        messages.success(request, _("It is switched on.") if what == "on" else _("It is switched off."))
    else:
        change_hook(
            hook=hook, version=version, changes=taken(HookForm(request.POST)), actor=viewer_of(request), now=now
        )
        messages.success(request, _("The webhook is changed."))
    return redirect("webhook", hook_id=hook.id)


def _one(request: HttpRequest, hook: Webhook, *, refused: FleetError | None = None) -> HttpResponse:
    deliveries = visible_deliveries(viewer_of(request)).filter(hook=hook).order_by("-id")
    context: dict[str, Any] = {
        "hook": hook,
        "kinds": EventKind.choices,
        **shown_now(request),
        "deliveries": deliveries.defer("body")[:MOST_DELIVERIES],
        "waiting": deliveries.filter(sent_at__isnull=True, given_up=False).count(),
        "refused": refused,
        "form": HookForm(),
        "place": "alerts",
    }
    answer = render(request, "webhook.html", context, status=refused.status if refused else 200)
    answer["Cache-Control"] = "no-store"
    return answer


@act("allowed_hosts", place="webhooks", refused=_list)
def targets(request: HttpRequest) -> HttpResponse:
    """Allow a private host by its name, or take one off the list."""
    viewer = viewer_of(request)
    if chosen := chosen_id(request.POST, "remove"):
        target = found(allowed_targets(viewer), chosen)
        disallow_target(target=target, actor=viewer)
        messages.success(request, _("%s is refused from now on.") % target.host)
        return redirect("webhooks")
    target = allow_target(**taken(TargetForm(request.POST)), actor=viewer, now=clock.now())
    messages.success(request, _("%s may be reached from now on.") % target.host)
    return redirect("webhooks")
