"""An appliance replaced by another, or made to burn another gas: what changes, and what is taken over."""

import uuid
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.due.required_checks import own_required_checks
from fleet.assess.refusals import found
from fleet.coded import wrong
from fleet.combustion import FUELS
from fleet.errors import FleetError
from fleet.models import Appliance, LimitSetAssignment, ModelSheet, User
from fleet.models.register import new_id
from fleet.presentation.days import long_day
from fleet.queries.register import all_sheets, visible_appliances
from fleet.services.gas_conversions import convert_appliance
from fleet.services.replacements import replace_appliance
from fleet.web.forms import DayField, VersionForm, WordsField, taken
from fleet.web.guards import form, viewer_of

TEST_WITHIN_DAYS = 28
DAYS_MAX = 366
DAY_NEEDED = gettext_lazy("Say on which day.")
GASES = [(name, each.label) for name, each in FUELS.items()]


class ReplacedForm(VersionForm):
    """The day, the new one's plate, and what it takes over."""

    day = DayField(gettext_lazy("Replaced on"), DAY_NEEDED)
    name = WordsField(gettext_lazy("The new one is called"), 100, gettext_lazy("Say what the new one is called."))
    serial = WordsField(gettext_lazy("Its serial number"), 100, gettext_lazy("Give its serial number."))
    sheet = forms.UUIDField(label=gettext_lazy("Its settings sheet"), required=False)
    fuel = forms.ChoiceField(label=gettext_lazy("It burns"), choices=[("", ""), *GASES], required=False)
    assignments = forms.TypedMultipleChoiceField(coerce=uuid.UUID, required=False)
    required_checks = forms.TypedMultipleChoiceField(coerce=uuid.UUID, required=False)


class ConvertedForm(VersionForm):
    """Kit, label and sheet, and within how many days it is to be tested on the new gas."""

    converted_on = DayField(gettext_lazy("Converted on"), DAY_NEEDED)
    to_fuel = forms.ChoiceField(label=gettext_lazy("It burns now"), choices=GASES)
    kit = WordsField(gettext_lazy("Kit"), 200, gettext_lazy("Say by which kit."))
    label = WordsField(
        gettext_lazy("What the label says, and where it is"), 200, gettext_lazy("Say what the label says now.")
    )
    analyser_fuel = forms.ChoiceField(label=gettext_lazy("The analyser is to be set to"), choices=GASES)
    sheet = forms.UUIDField(label=gettext_lazy("Settings sheet for the new gas"), required=False)
    done_by = WordsField(gettext_lazy("Who did it"), 200, gettext_lazy("Say who did it."))
    test_within_days = forms.IntegerField(
        label=gettext_lazy("To be tested within so many days"), min_value=0, max_value=DAYS_MAX
    )


def _asked(
    template: str, request: HttpRequest, refused: FleetError | None = None, *, appliance_id: uuid.UUID
) -> HttpResponse:
    given, appliance = request.POST, _appliance(request, appliance_id)
    shown: dict[str, Any] = {
        "place": "buildings",
        "appliance": appliance,
        "building": appliance.building,
        "sheets": all_sheets(viewer_of(request)).filter(retired_on__isnull=True),
        "gases": FUELS.values(),
        "sets": _own_sets(appliance),
        "own_required_checks": own_required_checks(appliance),
        "given": given,
        "ticked": {*given.getlist("assignments"), *given.getlist("required_checks")},
        "refused": refused,
        "form": ReplacedForm() if template == "replace.html" else ConvertedForm(),
        "test_within_days": given.get("test_within_days", TEST_WITHIN_DAYS),
        "today": clock.today(appliance.building.time_zone),
    }
    return render(request, template, shown, status=refused.status if refused else 200)


@form("replacements", refused=partial(_asked, "replace.html"))
def replace(request: HttpRequest, appliance_id: uuid.UUID) -> HttpResponse:
    """The old one leaves with its required checks; the new one begins with its own, and with what is ticked."""
    viewer, old = viewer_of(request), _appliance(request, appliance_id)
    if request.method != "POST":
        return _asked("replace.html", request, appliance_id=appliance_id)
    form = ReplacedForm(request.POST)
    for name, known in (("assignments", _own_sets(old)), ("required_checks", own_required_checks(old))):
        choices = [(str(each.id), "") for each in known]
        form.fields[name].choices = choices  # type: ignore[attr-defined]  # a choice field's
    given = taken(form)
    values = {name: given[name] for name in ("name", "serial", "fuel")} | {"sheet": _sheet(viewer, given["sheet"])}
    new = replace_appliance(
        old=old,
        version=given["version"],
        day=given["day"],
        values=values,
        assignments=given["assignments"],
        kept_required_checks=given["required_checks"],
        actor=viewer,
        now=clock.now(),
    )
    said = _("%(new)s stands in the place of %(old)s since %(day)s; it begins with clocks of its own.")
    messages.success(request, said % {"new": new.name, "old": old.name, "day": long_day(new.in_service_from)})
    return redirect("appliance", new.id)


@form("gas_conversions", refused=partial(_asked, "convert.html"))
def convert(request: HttpRequest, appliance_id: uuid.UUID) -> HttpResponse:
    """It burns another gas from a day on, and a test on it falls due."""
    viewer, appliance = viewer_of(request), _appliance(request, appliance_id)
    if request.method != "POST":
        return _asked("convert.html", request, appliance_id=appliance_id)
    given = taken(ConvertedForm(request.POST))
    version, sheet = given.pop("version"), _sheet(viewer, given.pop("sheet"))
    content = given | {"converted_on": f"{given['converted_on']:%Y-%m-%d}"}
    made = convert_appliance(
        appliance=appliance, version=version, content=content, sheet=sheet, actor=viewer, now=clock.now(), id=new_id()
    )
    said = _("Converted on %(day)s; a test on %(gas)s falls due within %(days)d days.")
    shown = {"day": long_day(made.converted_on), "gas": FUELS[made.to_fuel].label, "days": made.test_within_days}
    messages.success(request, said % shown)
    return redirect("appliance", appliance.id)


def _appliance(request: HttpRequest, appliance_id: uuid.UUID) -> Appliance:
    return found(visible_appliances(viewer_of(request)), appliance_id)


def _sheet(viewer: User, sheet_id: uuid.UUID | None) -> ModelSheet | None:
    if sheet_id is None:
        return None
    sheet = all_sheets(viewer).filter(id=sheet_id).first()
    if sheet is None:
        raise FleetError(
            "invalid", "There is no such sheet.", errors={"sheet": wrong("nothing_of_this_id", str(sheet_id))}
        )
    return sheet


def _own_sets(old: Appliance) -> list[LimitSetAssignment]:
    """What is assigned to this appliance alone: sets of the building and the client reach the new one anyway."""
    return list(LimitSetAssignment.objects.filter(appliance=old, until__isnull=True).select_related("limit_set"))
