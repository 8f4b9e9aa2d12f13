"""Buildings: the list, and one with all that stands in it."""

import uuid
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.models import Flag
from fleet.queries.access import visible_clients
from fleet.queries.buildings import ApplianceState, BuildingFacts, building_for, buildings_at_a_glance
from fleet.web.attention import away_words
from fleet.web.forms import chosen_client
from fleet.web.guards import page, viewer_of
from fleet.web.pages import page_of
from fleet.web.words import and_words, count_words, turned_out


@page()
def buildings(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    clients = list(visible_clients(viewer))
    client = chosen_client(request.GET, clients)
    rows = buildings_at_a_glance(viewer, today)
    if client:
        rows = rows.filter(client=client)
    sought = request.GET.get("name", "").strip()[:100]
    if sought:
        rows = rows.filter(name__icontains=sought.replace("\0", ""))
    count = rows.count()
    shown = {"list": page_of(rows, request.GET, by="name"), "count": count, "clients": clients, "client": client}
    shown |= {"sought": sought, "today": today}
    return render(request, "buildings.html", shown)


@page()
def building(request: HttpRequest, building_id: uuid.UUID) -> HttpResponse:
    facts = building_for(viewer_of(request), building_id)
    today = clock.today(facts.building.time_zone)
    states = [
        {
            "state": each,
            "words": state_words(each, today),
            "away": away_words(each.revisit.latest, today) if each.revisit else "",
        }
        for each in facts.appliances
    ]
    shown = {"facts": facts, "states": states, "opening": opening(facts, today), "place": "buildings"}
    return render(request, "building.html", shown)


def opening(facts: BuildingFacts, today: date) -> str:
    """How many stand there, what is flagged, and by when somebody should come."""
    standing = [each for each in facts.appliances if not _has_left(each, today)]
    if not standing:
        return _("No appliance stands here. Add one through the API, and it appears with its duties and its visits.")
    words = ngettext("%s appliance stands here", "%s appliances stand here", len(standing))
    parts = [words % count_words(len(standing)).capitalize()]
    parts += _flagged(standing)
    return f"{and_words(parts)}."


def _flagged(states: list[ApplianceState]) -> list[str]:
    words = {
        frozenset({Flag.Kind.UNSAFE, Flag.Kind.STOP}): _("%s unsafe or at stop level"),
        frozenset({Flag.Kind.OUTSIDE}): _("%s outside a limit"),
        frozenset({Flag.Kind.DRIFT}): _("%s likely to be outside before the next visit"),
    }
    counts = {
        said: sum(any(flag.kind in kinds for flag in each.flags) for each in states) for kinds, said in words.items()
    }
    return [said % count_words(count) for said, count in counts.items() if count]


def _has_left(state: ApplianceState, today: date) -> bool:
    gone = state.appliance.in_service_to
    return gone is not None and gone < today


def state_words(state: ApplianceState, today: date) -> str:
    """The appliance as it stands, in words: the gravest open flag first, then how the newest visit turned out."""
    if _has_left(state, today):
        return _("out of service")
    kinds = [str(each.get_kind_display()) for each in state.flags]
    if state.last is None:
        return and_words([*dict.fromkeys(kinds), _("never visited")])
    left = state.last.get_disposition_display()
    return "; ".join([*dict.fromkeys(kinds), turned_out(state.last), left])
