"""Defects: what is still to be repaired, by when; and one closed by a named person with a reason."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib import messages
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import Defect
from fleet.models.access import may_change
from fleet.presentation.due_rule import DueRule, row_due_rule
from fleet.presentation.words import count_words, listed
from fleet.queries.access import visible_clients
from fleet.queries.follow_ups import open_defects, visible_defects
from fleet.services.follow_ups import resolve_defect
from fleet.web.attention import away_words
from fleet.web.forms import WordedActForm, chosen_client, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.pages import page_of
from fleet.web.places import place_of

LINE_HALF = timedelta(days=45)
MOST_NOTES = 100


@page("defects")
def defects(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    clients = list(visible_clients(viewer))
    client = chosen_client(request.GET, clients)
    waiting = open_defects(viewer)
    if client:
        waiting = waiting.filter(appliance__building__client=client)
    dated, undated = waiting.filter(due__isnull=False), waiting.filter(due__isnull=True)
    listed = page_of(dated, request.GET, by="due")
    shown = {
        "opening": opening(dated.filter(due__lt=today).count(), waiting.count()),
        "list": listed,
        "rows": [_row(each, today) for each in listed.rows],
        "undated": undated.order_by(F("visit__local_date").desc(), "id")[:MOST_NOTES],
        "clients": clients,
        "client": client,
        "may_resolve": may_change(viewer, "defects"),
        "place": place_of(viewer.role, "defects", under="attention"),
    }
    return render(request, "defects.html", shown)


def opening(late: int, waiting: int) -> str:
    """How many are overdue of how many that are open."""
    if not waiting:
        return _("No defect is open.")
    parts = [ngettext("%s defect is open", "%s defects are open", waiting) % count_words(waiting).capitalize()]
    if late:
        parts.append(ngettext("%s is overdue", "%s are overdue", late) % count_words(late))
    return f"{listed(parts)}."


@dataclass(frozen=True)
class DefectRow:
    defect: Defect
    away: str
    is_late: bool
    rule: DueRule | None


def _row(defect: Defect, today: date) -> DefectRow:
    if defect.due is None:
        return DefectRow(defect, "", False, None)
    rule = row_due_rule(min(defect.visit.local_date, defect.due), defect.due, today, LINE_HALF)
    return DefectRow(defect, away_words(defect.due, today), defect.is_overdue(today), rule)


def _refused(request: HttpRequest, refused: FleetError, defect_id: uuid.UUID) -> HttpResponse:
    defect = found(visible_defects(viewer_of(request)), defect_id)
    shown = {"row": _row(defect, clock.today()), "refused": refused, "words": request.POST.get("words", "")}
    shown |= {"may_resolve": defect.is_open, "place": "attention"}
    return render(request, "defect_refused.html", shown, status=refused.status)


@act("defects", place="defects", refused=_refused)
def resolve(request: HttpRequest, defect_id: uuid.UUID) -> HttpResponse:
    defect = found(visible_defects(viewer_of(request)), defect_id)
    said = taken(WordedActForm(request.POST))
    resolve_defect(defect=defect, version=said["version"], why=said["words"], actor=viewer_of(request), now=clock.now())
    messages.success(request, _("Closed: %(what)s, %(where)s.") % {"what": defect.what, "where": defect.appliance})
    return redirect("defects")
