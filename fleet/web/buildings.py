"""Buildings: the list, and one with all that stands in it."""

import uuid
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.assess.refusals import found
from fleet.coded import wrong
from fleet.combustion import FUELS
from fleet.errors import FleetError
from fleet.models import Appliance, Building, Client, Flag, GasSupply
from fleet.models.access import may_change, may_see
from fleet.presentation.days import long_day
from fleet.presentation.figures import figure
from fleet.presentation.words import count_words, listed, turned_out
from fleet.queries.access import visible_clients
from fleet.queries.buildings import (
    ApplianceState,
    BuildingFacts,
    building_for,
    buildings_at_a_glance,
    visible_buildings,
)
from fleet.queries.follow_ups import visible_tenancies
from fleet.queries.records import entry_changes
from fleet.queries.register import visible_appliances
from fleet.services.register import add_gas_supply
from fleet.services.tenancies import begin_tenancy, change_tenancy
from fleet.web.attention import last_day_words
from fleet.web.forms import DayField, WordedActForm, WordsField, chosen_client, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.pages import as_file, page_of
from reports.csv_files import register_csv


@page("buildings")
def buildings(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    clients = list(visible_clients(viewer))
    client, sought = chosen_client(request.GET, clients), _sought(request)
    rows = buildings_at_a_glance(viewer, today).filter(_asked_for(client, sought))
    count = rows.count()
    shown = {
        "query": request.GET.urlencode(),
        "list": page_of(rows, request.GET, by="name"),
        "count": count,
        "clients": clients,
        "client": client,
    }
    shown |= {"sought": sought, "today": today}
    return render(request, "buildings.html", shown)


def _sought(request: HttpRequest) -> str:
    return request.GET.get("name", "").replace("\0", "").strip()[:100]


def _asked_for(client: Client | None, sought: str) -> Q:
    return (Q(client=client) if client else Q()) & (Q(name__icontains=sought) if sought else Q())


@page("appliances")
def register(request: HttpRequest) -> HttpResponse:
    """The buildings that the list shows, with their appliances, as a table."""
    viewer = viewer_of(request)
    client = chosen_client(request.GET, list(visible_clients(viewer)))
    asked = visible_buildings(viewer).filter(_asked_for(client, _sought(request)))
    rows = visible_appliances(viewer).filter(building__in=asked)
    rows = rows.order_by("building__client__name", "building__name", "name", "id")
    return as_file(register_csv(rows), "text/csv; charset=utf-8", "attachment", "register.csv")


@page("buildings")
def building(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    return render(request, "building.html", _shown(request, building_id))


def _shown(request: HttpRequest, building_id: uuid.UUID) -> dict[str, Any]:
    facts = building_for(viewer_of(request), building_id)
    today = clock.today(facts.building.time_zone)
    states = [
        {
            "state": each,
            "words": state_words(each, today),
            "away": last_day_words(each.revisit, today) if each.revisit else "",
        }
        for each in facts.appliances
    ]
    shown = {"facts": facts, "states": states, "opening": opening(facts, today), "place": "buildings", "today": today}
    shown |= {"gases": gas_rows(facts.building), "fuels": FUELS.values(), "given": {}}
    shown |= {"may_change": may_change(viewer_of(request), "buildings")}
    shown |= {"changes": entry_changes(viewer_of(request), facts.building)}
    shown |= {"may_see_contact": may_see(viewer_of(request), "contact_details")}
    shown |= {"tenancies": visible_tenancies(viewer_of(request)).filter(building=facts.building, begins__gte=today)}
    return shown


@dataclass(frozen=True)
class GasRow:
    """A gas and the first day on which it burns there; None for the one that the building began with."""

    since: date | None
    name: str
    co2_max: str
    source: str


def gas_rows(building: Building) -> list[GasRow]:
    first = GasRow(None, FUELS[building.fuel].label, figure(FUELS[building.fuel].co2_max_pct, 1), "")
    return [first, *(_gas_row(each) for each in building.gas_supplies.all())]


def _gas_row(supply: GasSupply) -> GasRow:
    fuel = supply.burnt.fuel
    return GasRow(supply.since, fuel.label or supply.fuel, figure(fuel.co2_max_pct, 1), supply.source)


class GasForm(forms.Form):
    """Another gas from a day on."""

    since = DayField(gettext_lazy("From"), gettext_lazy("Say from which day."))
    fuel = forms.ChoiceField(label=gettext_lazy("Gas"), choices=[(name, name) for name in FUELS])
    source = WordsField(gettext_lazy("Who said so"), 300, gettext_lazy("Say who said so."))


def _refused(what: str, request: HttpRequest, refused: FleetError, building_id: uuid.UUID) -> HttpResponse:
    """The page again, with what was typed in the form of gas or tenancy that was refused."""
    form = TenancyForm() if what else GasForm()
    said = {f"given{what}": request.POST, f"refused{what}": refused, "form": form}
    return render(request, "building.html", _shown(request, building_id) | said, status=refused.status)


@act("gas_supplies", place="buildings", refused=partial(_refused, ""))
def add_gas(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    """The network's gas changes on a day: readings from then on are judged with the new one, records keep theirs."""
    actor = viewer_of(request)
    values = {"building": building_for(actor, building_id).building, **taken(GasForm(request.POST))}
    supply = add_gas_supply(values=values, actor=actor, now=clock.now())
    when = long_day(supply.since)
    messages.success(request, _("From %(day)s readings are judged with %(gas)s.") % {"day": when, "gas": supply.fuel})
    return redirect("building", building_id)


class TenancyForm(forms.Form):
    """Somebody new moves in."""

    begins = DayField(gettext_lazy("From"), gettext_lazy("Say from which day."))
    appliance = forms.UUIDField(label=gettext_lazy("Of what"), required=False)
    source = WordsField(gettext_lazy("Who said so"), 300, gettext_lazy("Say who said so."))


@act("tenancies", place="buildings", refused=partial(_refused, "_tenancy"))
def begin_a_tenancy(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    """A tenancy begins on a day: where a set says so, the new tenant must have the record before that."""
    facts = building_for(viewer_of(request), building_id)
    given = taken(TenancyForm(request.POST))
    given |= {"building": facts.building, "appliance": _chosen_appliance(facts, given["appliance"])}
    tenancy, waiting = begin_tenancy(values=given, now=clock.now())
    messages.success(request, tenancy_words(tenancy.begins, waiting))
    return redirect("building", building_id)


@act("tenancies", place="buildings")
def call_off_tenancy(request: HttpRequest, tenancy_id: uuid.UUID) -> HttpResponse:
    """It does not begin after all, with the reason: nobody waits for a record because of it."""
    tenancy = found(visible_tenancies(viewer_of(request)), tenancy_id)
    try:
        given = taken(WordedActForm(request.POST))
        changes = {"called_off": given["words"]}
        change_tenancy(tenancy=tenancy, version=given["version"], changes=changes, now=clock.now())
    except FleetError as refused:
        said = {"refused_call_off": refused}
        return render(request, "building.html", _shown(request, tenancy.building_id) | said, status=refused.status)
    messages.success(request, _("The tenancy from %s is called off.") % long_day(tenancy.begins))
    return redirect("building", tenancy.building_id)


def _chosen_appliance(facts: BuildingFacts, chosen: uuid.UUID | None) -> Appliance | None:
    """None for all of them. Raises FleetError `invalid` for one that doesn't stand here."""
    here = {each.appliance.id: each.appliance for each in facts.appliances}
    if chosen is not None and chosen not in here:
        raise FleetError(
            "invalid",
            _("No such appliance stands here."),
            errors={"appliance": wrong("nothing_of_this_id", str(chosen))},
        )
    return here[chosen] if chosen else None


def tenancy_words(begins: date, waiting: int) -> str:
    """What follows from it."""
    when = long_day(begins)
    if not waiting:
        return _(
            "The tenancy from %(day)s is recorded. No record has to be delivered for it as things stand: no set asks "
            "for it, or no check has been made yet."
        ) % {"day": when}
    words = ngettext(
        "Before %(day)s the new tenant must have %(count)s record; it waits among the deliveries.",
        "Before %(day)s the new tenant must have %(count)s records; they wait among the deliveries.",
        waiting,
    )
    return words % {"day": when, "count": count_words(waiting)}


def opening(facts: BuildingFacts, today: date) -> str:
    """How many stand there, what is flagged, and by when somebody should come."""
    standing = [each for each in facts.appliances if not _has_left(each, today)]
    if not standing:
        return _(
            "No appliance stands here. Add one through the API, and it appears with its required checks and its visits."
        )
    words = ngettext("%s appliance stands here", "%s appliances stand here", len(standing))
    parts = [words % count_words(len(standing)).capitalize()]
    parts += _flagged(standing)
    return " ".join(filter(None, (f"{listed(parts)}.", _first_seen(standing, today))))


def _first_seen(states: list[ApplianceState], today: date) -> str:
    """By when somebody should come, or should have come; empty where nothing has a date."""
    first = min((each.revisit for each in states if each.revisit), key=lambda each: each.latest, default=None)
    if first is None:
        return ""
    said = {"day": long_day(first.latest), "away": last_day_words(first, today)}
    if first.is_late(today):
        return _("The first should have been seen by %(day)s: %(away)s.") % said
    return _("See the first by %(day)s, %(away)s.") % said


def _flagged(states: list[ApplianceState]) -> list[str]:
    """Each appliance by its gravest flag alone."""
    words = {
        frozenset({Flag.Kind.UNSAFE, Flag.Kind.STOP}): _("%s unsafe or at stop level"),
        frozenset({Flag.Kind.OUTSIDE}): _("%s outside a limit"),
        frozenset({Flag.Kind.DRIFT}): _("%s that may be outside before the next visit"),
    }
    gravest = [next((kinds for kinds in words if {flag.kind for flag in each.flags} & kinds), None) for each in states]
    return [said % count_words(count) for kinds, said in words.items() if (count := gravest.count(kinds))]


def _has_left(state: ApplianceState, today: date) -> bool:
    gone = state.appliance.in_service_to
    return gone is not None and gone < today


def state_words(state: ApplianceState, today: date) -> str:
    """The appliance as it stands, in words: the gravest open flag first, then how the newest visit turned out."""
    if _has_left(state, today):
        return _("out of service")
    # How it turned out says itself what was outside.
    beside = (Flag.Kind.OUTSIDE,) if state.last else ()
    kinds = [str(each.get_kind_display()) for each in state.flags if each.kind not in beside]
    if state.last is None:
        return listed([*dict.fromkeys(kinds), _("never visited")])
    left = state.last.get_disposition_display()
    return "; ".join([*dict.fromkeys(kinds), turned_out(state.last), left])
