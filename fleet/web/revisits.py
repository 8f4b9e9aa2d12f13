"""Revisits of a building: what one attendance serves, each one's day and who goes, and attempts that got to nothing."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.assess.due.revisits import Together, technician_doubts
from fleet.assess.refusals import found
from fleet.coded import coded, wrong
from fleet.errors import FleetError
from fleet.models import Appliance, NoAccess, OccupierNotice, Person, Revisit
from fleet.models.access import may_change, may_see
from fleet.presentation.days import long_day
from fleet.presentation.due_rule import DueRule, row_due_rule
from fleet.presentation.revisits import beyond_words, set_words, who_words
from fleet.presentation.words import count_words
from fleet.queries.register import the_contractor, visible_appliances, visible_people
from fleet.queries.revisits import MANY_ATTEMPTS, BuildingRevisits, revisits_of_building, technicians, visible_revisits
from fleet.services.no_access import record_no_access
from fleet.services.revisit_days import Notice, book_day, release_day
from fleet.web.attention import last_day_words
from fleet.web.forms import DayField, VersionForm, WordedActForm, WordsField, taken
from fleet.web.guards import act, page, viewer_of

LINE_HALF = timedelta(days=120)


class SetForm(VersionForm):
    """A day for a revisit, and what its occupier knows of it if anything is said of that."""

    state = forms.ChoiceField(
        label=gettext_lazy("As"), choices=[(each.value, each.label) for each in Revisit.State][1:]
    )
    day = DayField(gettext_lazy("Day"), gettext_lazy("Say which day."))
    technician = forms.UUIDField(label=gettext_lazy("Who goes"), required=False)
    words = WordsField(gettext_lazy("Note"), 500)
    kind = forms.ChoiceField(label=gettext_lazy("They"), choices=OccupierNotice.Kind.choices, required=False)
    given_on = DayField(gettext_lazy("On"))
    how = WordsField(gettext_lazy("How"), 200)
    notice_days = forms.IntegerField(label=gettext_lazy("Days of notice"), min_value=0, max_value=365, required=False)


class NoAccessForm(forms.Form):
    """When somebody came, to which of the building's appliances, and why they didn't get there."""

    at = forms.DateTimeField(
        label=gettext_lazy("When"), error_messages={"required": gettext_lazy("Say when somebody came.")}
    )
    kind = forms.ChoiceField(label=gettext_lazy("Why not"), choices=NoAccess.Kind.choices)
    words = WordsField(gettext_lazy("Note"), 500)
    letter = WordsField(gettext_lazy("Letter left"), 200)


@page("revisits")
def building_revisits(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    return render(request, "building_revisits.html", _shown(request, building_id))


def _shown(request: HttpRequest, building_id: uuid.UUID) -> dict[str, Any]:
    viewer = viewer_of(request)
    facts = revisits_of_building(viewer, building_id, clock.now())
    today = facts.today
    a_week = the_contractor(viewer).extra_visits_a_week
    groups = [(each, [_row(one, today, a_week) for one in each.revisits]) for each in facts.groups]
    return {
        "facts": facts,
        "opening": opening(facts),
        "groups": groups,
        "appliances": _standing(request, building_id, today),
        "states": SetForm.base_fields["state"].choices,  # type: ignore[attr-defined]  # a choice field's
        "technicians": list(technicians(viewer)),
        "notice_kinds": OccupierNotice.Kind.choices,
        "kinds": NoAccess.Kind.choices,
        "many": MANY_ATTEMPTS,
        "may_set": may_change(viewer, "revisits"),
        "may_see_contact": may_see(viewer, "contact_details"),
        "may_record": may_change(viewer, "no_access"),
        "given": {},
        "place": "buildings",
        "today": today,
    }


def _standing(request: HttpRequest, building_id: uuid.UUID, today: date) -> list[Appliance]:
    known = visible_appliances(viewer_of(request)).filter(building=building_id).order_by("name", "id")
    return [each for each in known if each.in_service_on(today)]


def opening(facts: BuildingRevisits) -> str:
    """How many attendances serve how many proposals, and from when to when the first."""
    if not facts.groups:
        return _("Nothing asks for a visit here.")
    count, visits = sum(len(each.revisits) for each in facts.groups), len(facts.groups)
    said = {"first": _between(facts.groups[0]), "visits": count_words(visits)}
    said["count"] = count_words(count).capitalize()
    if visits == 1:
        words = ngettext(
            "%(count)s planned visit, %(first)s.", "%(count)s planned visits in one attendance, %(first)s.", count
        )
        return words % said
    return _("%(count)s planned visits in %(visits)s attendances, the first %(first)s.") % said


def _between(group: Together) -> str:
    if group.begins == group.ends:
        return _("on %s") % long_day(group.ends)
    return _("from %(begins)s to %(ends)s") % {"begins": long_day(group.begins), "ends": long_day(group.ends)}


@dataclass(frozen=True)
class RevisitRow:
    revisit: Revisit
    away: str
    is_late: bool
    rule: DueRule | None
    set_words: str
    is_odd: bool
    who: str
    is_doubtful: bool
    beyond: str


def _row(revisit: Revisit, today: date, a_week: int) -> RevisitRow:
    rule = row_due_rule(revisit.earliest, revisit.latest, today, LINE_HALF, planned=revisit.day)
    return RevisitRow(
        revisit,
        last_day_words(revisit, today),
        revisit.is_late(today),
        rule,
        set_words(revisit, today),
        revisit.has_passed(today) or revisit.needed_before_its_day,
        who_words(revisit),
        revisit.technician is None or bool(technician_doubts(revisit)),
        beyond_words(revisit, a_week),
    )


# ---- acts ----


def _refused(request: HttpRequest, refused: FleetError, revisit_id: uuid.UUID) -> HttpResponse:
    """Nothing was changed; the building as it stands now, with what was typed in the form it was typed into."""
    shown = _shown(request, _visible(request, revisit_id).appliance.building_id)
    shown |= {"refused": refused, "form": SetForm(), "given": request.POST, "typed_for": revisit_id}
    return render(request, "building_revisits.html", shown, status=refused.status)


@act("revisits", place="buildings", refused=_refused)
def book_revisit(request: HttpRequest, revisit_id: uuid.UUID) -> HttpResponse:
    """Pin or confirm its day, with who goes and what the occupier knows."""
    revisit = _visible(request, revisit_id)
    given = taken(SetForm(request.POST))
    book_day(
        revisit=revisit,
        version=given["version"],
        state=given["state"],
        day=given["day"],
        note=given["words"],
        notice=_notice(given),
        technician=_technician(request, given["technician"]),
        actor=viewer_of(request),
        now=clock.now(),
    )
    return _back(request, revisit)


def _technician(request: HttpRequest, chosen: uuid.UUID | None) -> Person | None:
    """Whoever is named; that they are a technician is for the service to say."""
    if chosen is None:
        return None
    person = visible_people(viewer_of(request)).filter(id=chosen).first()
    if person is None:
        errors = {"technician": wrong("nothing_of_this_id", str(chosen))}
        raise FleetError("invalid", _("Nobody of the register has this id."), errors=errors)
    return person


def _notice(given: dict[str, Any]) -> Notice | None:
    """What is said of the occupier: a way to hear it needs its day, a day its way."""
    if not (given["how"] or given["given_on"]):
        return None
    if not given["given_on"]:
        raise FleetError("invalid", _("Say on which day the occupier heard."), errors={"given_on": coded("missing")})
    kind = given["kind"] or OccupierNotice.Kind.TOLD
    return Notice(kind, given["given_on"], given["how"], given["notice_days"] or 0)


@act("revisits", place="buildings", refused=_refused)
def release_revisit(request: HttpRequest, revisit_id: uuid.UUID) -> HttpResponse:
    """Take its day back, with the reason."""
    revisit = _visible(request, revisit_id)
    said, actor = taken(WordedActForm(request.POST)), viewer_of(request)
    release_day(revisit=revisit, version=said["version"], note=said["words"], actor=actor, now=clock.now())
    return _back(request, revisit)


@act("no_access", place="buildings")
def no_access(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    """Somebody came and didn't get to these appliances."""
    facts = revisits_of_building(viewer_of(request), building_id, clock.now())
    chosen = set(request.POST.getlist("appliance"))
    try:
        given = taken(NoAccessForm(request.POST))
        record_no_access(
            appliances=[each for each in _standing(request, building_id, facts.today) if str(each.id) in chosen],
            at=given["at"].replace(tzinfo=ZoneInfo(facts.building.time_zone)),
            kind=given["kind"],
            note=given["words"],
            letter=given["letter"],
            actor=viewer_of(request),
            now=clock.now(),
        )
    except FleetError as refused:
        said = {"refused": refused, "form": NoAccessForm(), "given": request.POST, "chosen": chosen, "tried": True}
        return render(request, "building_revisits.html", _shown(request, building_id) | said, status=refused.status)
    messages.success(request, _("Recorded: no access. What was to be done stays open."))
    return redirect("building-revisits", building_id)


def _visible(request: HttpRequest, revisit_id: uuid.UUID) -> Revisit:
    return found(visible_revisits(viewer_of(request)), revisit_id)


def _back(request: HttpRequest, revisit: Revisit) -> HttpResponse:
    revisit = _visible(request, revisit.id)
    today = revisit.appliance.building.today(clock.now())
    said = f"{set_words(revisit, today)} {who_words(revisit)}".strip() or _("Open again.")
    messages.success(request, f"{revisit.appliance.name}: {said}")
    return redirect("building-revisits", revisit.appliance.building_id)
