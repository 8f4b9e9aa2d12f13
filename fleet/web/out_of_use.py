"""An appliance out of use: from when, why and who said so; and its restart."""

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import Appliance, User
from fleet.models.access import may_change
from fleet.models.register import new_id
from fleet.presentation.days import long_day
from fleet.queries.register import visible_appliances, visible_out_of_use
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use
from fleet.web.forms import DayField, WordsField, taken
from fleet.web.guards import form, viewer_of

DAY_NEEDED = gettext_lazy("Say on which day.")
WHO_NEEDED = gettext_lazy("Say who said so.")


class BeginForm(forms.Form):
    """It stands still from a day on."""

    begins = DayField(gettext_lazy("Out of use from"), DAY_NEEDED)
    why = WordsField(gettext_lazy("Why"), 300, gettext_lazy("Say why it stands still."))
    said_by = WordsField(gettext_lazy("Who said so"), 200, WHO_NEEDED)
    proof = WordsField(gettext_lazy("What shows it"), 300)


class RestartForm(forms.Form):
    """It was started again on a day."""

    ends = DayField(gettext_lazy("Started again on"), DAY_NEEDED)
    restart_said_by = WordsField(gettext_lazy("Who said so"), 200, WHO_NEEDED)
    restart_proof = WordsField(gettext_lazy("What shows it"), 300)


def standstills(viewer: User, appliance: Appliance) -> dict[str, Any]:
    """What the appliance's page shows of it: every period, the one that lasts, and whether the viewer may change it."""
    known = list(appliance.out_of_use.all())
    lasting = next((each for each in known if each.ends is None), None)
    return {"standstills": known, "standing_still": lasting, "may_change": may_change(viewer, "out_of_use")}


def _asked(
    request: HttpRequest,
    refused: FleetError | None = None,
    *,
    appliance_id: uuid.UUID | None = None,
    out_of_use_id: uuid.UUID | None = None,
) -> HttpResponse:
    viewer = viewer_of(request)
    lasting = found(visible_out_of_use(viewer), out_of_use_id) if out_of_use_id else None
    appliance = lasting.appliance if lasting else found(visible_appliances(viewer), appliance_id)
    shown = {
        "place": "buildings",
        "appliance": appliance,
        "building": appliance.building,
        "standing_still": lasting,
        "given": request.POST,
        "refused": refused,
        "form": RestartForm() if lasting else BeginForm(),
        "today": clock.today(appliance.building.time_zone),
    }
    return render(request, "out_of_use.html", shown, status=refused.status if refused else 200)


@form("out_of_use", refused=_asked)
def begin(request: HttpRequest, appliance_id: uuid.UUID) -> HttpResponse:
    """From that day its required checks are suspended."""
    appliance = found(visible_appliances(viewer_of(request)), appliance_id)
    if request.method != "POST":
        return _asked(request, appliance_id=appliance_id)
    content, actor = _as_texts(taken(BeginForm(request.POST))), viewer_of(request)
    made = begin_out_of_use(appliance=appliance, content=content, actor=actor, now=clock.now(), id=new_id())
    messages.success(request, _("Out of use since %s; its required checks are suspended.") % long_day(made.begins))
    return redirect("appliance", appliance.id)


@form("out_of_use", refused=_asked)
def end(request: HttpRequest, out_of_use_id: uuid.UUID) -> HttpResponse:
    """Its required checks go on."""
    out_of_use = found(visible_out_of_use(viewer_of(request)), out_of_use_id)
    if request.method != "POST":
        return _asked(request, out_of_use_id=out_of_use_id)
    content = _as_texts(taken(RestartForm(request.POST)))
    made = end_out_of_use(out_of_use=out_of_use, content=content, actor=viewer_of(request), now=clock.now())
    assert made.ends is not None  # a restart has its day
    messages.success(request, _("In use again since %s; its required checks go on.") % long_day(made.ends))
    return redirect("appliance", made.appliance_id)


def _as_texts(values: dict[str, Any]) -> dict[str, str]:
    """As a record keeps them: days in ISO, nothing for what was left empty."""
    return {name: f"{value}" for name, value in values.items() if value not in ("", None)}
