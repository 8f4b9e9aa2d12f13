"""Analysers: which are in calibration today, and every calibration of each."""

import uuid
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet import clock
from fleet.assess.refusals import found
from fleet.models import User
from fleet.queries.records import entry_changes
from fleet.queries.register import AnalyserState, analyser_states, visible_analysers
from fleet.web.guards import page, viewer_of
from fleet.web.places import place_of


def _shown(viewer: User) -> dict[str, Any]:
    return {"office_zone": settings.TIME_ZONE, "place": place_of(viewer.role, "installation", under="records")}


@page("analysers")
def analysers(request: HttpRequest) -> HttpResponse:
    """All of them, each with its newest calibration."""
    viewer = viewer_of(request)
    states = analyser_states(viewer, clock.today())
    off = sum(each.code not in ("in_calibration", "ends_soon") for each in states)
    return render(request, "analysers.html", _shown(viewer) | {"states": states, "off": off})


@page("analysers")
def analyser(request: HttpRequest, analyser_id: uuid.UUID) -> HttpResponse:
    """One of them with all its calibrations as recorded, the newest first."""
    viewer = viewer_of(request)
    who = found(visible_analysers(viewer), analyser_id)
    known = who.calibrations.select_related("record__actor").order_by("-done_on", "-id")
    shown = _shown(viewer) | {"state": AnalyserState.on(clock.today(), who), "calibrations": known}
    return render(request, "analyser.html", shown | {"changes": entry_changes(viewer, who)})
