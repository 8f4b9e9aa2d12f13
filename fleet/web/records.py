"""Records: visits as they were received, what the office must still look at, and the papers of people and analysers."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from fleet import clock
from fleet.errors import FleetError, NotFound
from fleet.models import HeldMessage, Mark, Record, User, Visit
from fleet.models.roles import may_change, may_see
from fleet.presentation.follow_ups import mark_words
from fleet.presentation.words import turned_out
from fleet.queries.follow_ups import open_marks, visible_marks
from fleet.queries.records import all_held_messages, held_messages, visit_records
from fleet.queries.register import visible_analysers, visible_appliances, visible_people
from fleet.queries.visits import visits_at_a_glance
from fleet.services.visits import settle_held_message, settle_mark
from fleet.web.appliances import ProofLink, proof_link
from fleet.web.forms import WordedActForm, chosen_id, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.pages import page_of

MOST_MARKS = 50
MOST_HELD = 20
MOST_SHOWN = 4_000
LATE_ENTRY = timedelta(days=2)


@page("records")
def records(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    appliance = _chosen_appliance(request, viewer)
    known = visit_records(viewer, appliance.id if appliance else None)
    listed = page_of(known, request.GET, newest_first=True)
    marks, held = open_marks(viewer).order_by("id"), held_messages(viewer)
    shown = {
        "appliance": appliance,
        "list": listed,
        "rows": record_rows(viewer, listed.rows),
        "count": known.count(),
        "marks": marks[:MOST_MARKS],
        "marks_count": marks.count(),
        "may_settle": may_change(viewer, "marks"),
        "held": [HeldRow(each) for each in held[:MOST_HELD]] if may_see(viewer, "held_messages") else [],
        "held_count": held.count() if may_see(viewer, "held_messages") else 0,
        "today": today,
        "analysers": [(each, list(each.calibrations.all())[::-1]) for each in visible_analysers(viewer)],
        "people": [
            (each, papers) for each in visible_people(viewer) if (papers := list(each.qualifications.all())[::-1])
        ],
    }
    return render(request, "records.html", shown)


def _chosen_appliance(request: HttpRequest, viewer: User) -> Any:
    chosen = chosen_id(request.GET, "appliance")
    found = visible_appliances(viewer).filter(id=chosen).first() if chosen else None
    if chosen and found is None:
        raise NotFound("not_found", "There is no such appliance that you may see.")
    return found


@dataclass(frozen=True)
class RecordRow:
    """One record in the list. `entered_late`: it came here days after the work."""

    link: ProofLink
    record: Record
    visit: Visit
    words: str
    entered_late: bool


def record_rows(viewer: User, found: list[Record]) -> list[RecordRow]:
    visits = visits_at_a_glance(viewer, [each.subject for each in found])
    return [
        RecordRow(proof_link(each), each, visit, turned_out(visit), _came_late(each, visit.local_date))
        for each in found
        if (visit := visits.get(each.subject))
    ]


def _came_late(record: Record, done_on: date) -> bool:
    return record.received_at.date() - done_on >= LATE_ENTRY


@dataclass(frozen=True)
class HeldRow:
    """A message that could not be read, as it came."""

    held: HeldMessage

    @property
    def body(self) -> str:
        """As text, what isn't UTF-8 replaced; cut where it is very long."""
        return bytes(self.held.body)[:MOST_SHOWN].decode("utf-8", "replace")

    @property
    def is_cut(self) -> bool:
        return len(bytes(self.held.body)) > MOST_SHOWN


# ---- settling ----


@act("marks", place="records")
def settle_mark_form(request: HttpRequest, mark_id: uuid.UUID) -> HttpResponse:
    """Somebody looked at it and says what came of it; the visit itself is mended by an amendment."""
    mark = visible_marks(viewer_of(request)).filter(id=mark_id).first()
    if mark is None:
        raise NotFound("not_found", "There is no such mark that you may see.")
    try:
        given = taken(WordedActForm(request.POST))
        settle_mark(mark=mark, version=given["version"], note=given["words"], actor=viewer_of(request), now=clock.now())
    except FleetError as refused:
        return _mark_refused(request, mark, refused)
    messages.success(request, _("Settled: %s") % mark_words(mark))
    return redirect("records")


def _mark_refused(request: HttpRequest, mark: Mark, refused: FleetError) -> HttpResponse:
    mark.refresh_from_db()
    shown = {"mark": mark, "refused": refused, "words": request.POST.get("words", ""), "place": "records"}
    return render(request, "settle_refused.html", shown, status=refused.status)


@act("held_messages", place="records")
def settle_held_form(request: HttpRequest, held_id: uuid.UUID) -> HttpResponse:
    """It was mended and sent anew, or put aside for a reason. Its body is kept."""
    held = all_held_messages(viewer_of(request)).filter(id=held_id).first()
    if held is None:
        raise NotFound("not_found", "There is no such message that you may see.")
    try:
        given = taken(WordedActForm(request.POST))
        settle_held_message(
            held=held, version=given["version"], how=given["words"], actor=viewer_of(request), now=clock.now()
        )
    except FleetError as refused:
        held.refresh_from_db()
        shown = {"held": HeldRow(held), "refused": refused, "words": request.POST.get("words", "")}
        return render(request, "settle_refused.html", shown | {"place": "records"}, status=refused.status)
    messages.success(request, _("Settled; the message is kept."))
    return redirect("records")
