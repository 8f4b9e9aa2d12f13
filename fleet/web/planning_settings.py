"""The planning settings: shown beforehand what they would change, and recorded only as shown."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.assess.planning_settings import tuned
from fleet.errors import Conflict, FleetError
from fleet.models import Contractor, Defect
from fleet.presentation.figures import chance_words, limit_figure
from fleet.presentation.words import count_words
from fleet.queries.planning_settings import Preview, preview_planning_settings
from fleet.queries.register import the_contractor
from fleet.services.contractor import change_contractor
from fleet.web.forms import FigureField, taken
from fleet.web.guards import form, viewer_of
from fleet.web.previews import not_as_shown, number_based_on

MOST_SHOWN = 50
WITHIN_OR_NONE = gettext_lazy("within days; empty: no day")
REPAIR_PREFIX = "repair_"
DATED = (Defect.Severity.UNSAFE, Defect.Severity.URGENT, Defect.Severity.REPAIR, Defect.Severity.NOTE)


def _chance(label: Any, help_text: Any) -> FigureField:
    """In per cent on the page, a chance inside."""
    said = gettext_lazy("It must be a figure from 0.01 to 99.99, in per cent.")
    return FigureField(min_value=0.01, max_value=99.99, label=label, help_text=help_text, **_typed(said))


def _days(label: Any, help_text: Any = "") -> forms.IntegerField:
    said = gettext_lazy("It must be a whole number from 0 to 3650, or be left empty.")
    return forms.IntegerField(
        min_value=0, max_value=3650, required=False, label=label, help_text=help_text, **_typed(said)
    )


def _typed(said: Any) -> dict[str, Any]:
    """A figure is typed as a text; one sentence tells what is allowed, whatever was wrong."""
    widget = forms.TextInput(attrs={"inputmode": "decimal", "maxlength": 12, "autocomplete": "off"})
    return {"widget": widget, "error_messages": dict.fromkeys(("required", "invalid", "min_value", "max_value"), said)}


class PlanningSettingsForm(forms.Form):
    accepted_risk = _chance(gettext_lazy("Accepted risk of being outside"), gettext_lazy("%, at the planned visit"))
    accepted_risk_co = _chance(
        gettext_lazy("Accepted risk of CO beyond a limit"), gettext_lazy("%, never taken above the first")
    )
    accepted_risk_rise = _chance(
        gettext_lazy("Accepted risk of a flue too hot"), gettext_lazy("%, at the planned visit")
    )
    flag_at = _chance(gettext_lazy("A drift flag opens from"), gettext_lazy("%, before the next planned visit"))
    extra_visits_a_week = forms.IntegerField(
        min_value=0, max_value=1000, label=gettext_lazy("Extra visits for drift"), help_text=gettext_lazy("a week"),
        **_typed(gettext_lazy("It must be a whole number from 0 to 1000.")),
    )  # fmt: skip
    outside_within_days = forms.IntegerField(
        min_value=0, max_value=365, label=gettext_lazy("Left outside a limit, seen again"),
        help_text=gettext_lazy("within days"),
        **_typed(gettext_lazy("It must be a whole number from 0 to 365.")),
    )  # fmt: skip
    repair_unsafe = _days(gettext_lazy("Repairing an unsafe defect"), WITHIN_OR_NONE)
    repair_urgent = _days(gettext_lazy("Urgent repair"), WITHIN_OR_NONE)
    repair_repair = _days(gettext_lazy("Repairing any other"), WITHIN_OR_NONE)
    repair_note = _days(gettext_lazy("Repairing what is only noted"), WITHIN_OR_NONE)


CHANCES = ("accepted_risk", "accepted_risk_co", "accepted_risk_rise", "flag_at")


def as_typed(contractor: Contractor) -> dict[str, Any]:
    """The planning settings as the form has them."""
    typed: dict[str, Any] = {name: round(100 * getattr(contractor, name), 6) for name in CHANCES}
    typed |= {name: getattr(contractor, name) for name in ("extra_visits_a_week", "outside_within_days")}
    return typed | {_field(each): contractor.repair_within_days.get(each) for each in DATED}


def as_chosen(typed: dict[str, Any]) -> dict[str, Any]:
    """The form's values as the contractor keeps them."""
    chosen: dict[str, Any] = {name: round(typed[name] / 100, 8) for name in CHANCES}
    chosen |= {name: typed[name] for name in ("extra_visits_a_week", "outside_within_days")}
    days = {str(each): typed[_field(each)] for each in DATED}
    return chosen | {"repair_within_days": {name: value for name, value in days.items() if value is not None}}


def _field(severity: str) -> str:
    return REPAIR_PREFIX + severity.replace(" ", "_")


def opening(contractor: Contractor) -> str:
    """What is accepted now, and how many extra visits there are against it."""
    chance, visits = chance_words(contractor.accepted_risk), contractor.extra_visits_a_week
    words = ngettext(
        "A chance of %(chance)s of being outside is accepted at a visit; %(visits)s extra visit a week can be made",
        "A chance of %(chance)s of being outside is accepted at a visit; %(visits)s extra visits a week can be made",
        visits,
    )
    return words % {"chance": chance, "visits": count_words(visits)}


@form("planning_settings")
def planning_settings(request: HttpRequest) -> HttpResponse:
    """First what would change, then the record: nothing is recorded that was not shown."""
    contractor = the_contractor(viewer_of(request))
    if request.method != "POST":
        return _page(request, PlanningSettingsForm(initial=as_typed(contractor)), contractor.version)
    form, based_on = PlanningSettingsForm(request.POST), number_based_on(request.POST)
    try:
        changes = as_chosen(taken(form))
    except FleetError as refused:
        return _page(request, form, based_on, status=refused.status)
    if request.POST.get("act") != "record":
        return _previewed(request, form, changes)
    try:
        changed = change_contractor(
            version=based_on, changes=changes, shown=request.POST.get("shown", ""), now=clock.now()
        )
    except Conflict as refused:
        note = _overtaken() if refused.code == "changed_meanwhile" else not_as_shown()
        return _previewed(request, form, changes, note, refused.status)
    if tuned(contractor, changes):
        messages.success(request, _("Recorded. Flags and planned visits follow in the next minutes."))
    else:
        messages.success(request, _("Nothing was changed: version %d stands.") % changed.version)
    return redirect("planning-settings")


def _overtaken() -> str:
    return _("The planning settings were changed meanwhile. Nothing was recorded; this is what yours would change now.")


def _previewed(
    request: HttpRequest, form: PlanningSettingsForm, changes: dict[str, Any], note: str = "", status: int = 200
) -> HttpResponse:
    preview = preview_planning_settings(changes=changes, viewer=viewer_of(request), now=clock.now())
    return _page(request, form, preview.version, preview=preview, note=note, status=status)


def _page(
    request: HttpRequest,
    form: PlanningSettingsForm,
    based_on: int,
    *,
    preview: Preview | None = None,
    note: str = "",
    status: int = 200,
) -> HttpResponse:
    shown = {"form": form, "based_on": based_on, "preview": preview, "note": note, "place": "installation"}
    shown["opening"] = opening(the_contractor(viewer_of(request)))
    shown["said"] = (
        [(each.words, _shown(each.before), _shown(each.after)) for each in preview.settings] if preview else []
    )
    if preview:
        shown |= {"moves": preview.moves[:MOST_SHOWN], "beyond": preview.beyond[:MOST_SHOWN]}
        shown |= {"flags": preview.flags[:MOST_SHOWN], "most": MOST_SHOWN}
    return render(request, "planning_settings.html", shown, status=status)


def _within(days: int) -> str:
    return ngettext("within %d day", "within %d days", days) % days if days else _("on the same day")


def _shown(value: Any) -> str:
    """A choice as one reads it: chances in per cent, days by severity."""
    if isinstance(value, dict):
        labels = {str(each): PlanningSettingsForm.base_fields[_field(each)].label for each in DATED}
        said = ((labels[name], _within(days)) for name, days in value.items())
        return "; ".join(f"{label}: {days}" for label, days in sorted(said)) or _("no day for any")
    return f"{limit_figure(100 * value, 0)} %" if isinstance(value, float) else str(value)
