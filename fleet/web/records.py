"""Records: visits as they were received, what the office must still look at, and the papers of people and analysers."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.intake.fields import Shape
from fleet.intake.visits import VisitIn
from fleet.models import Record, UnreadableRecord, User, Visit
from fleet.models.access import may_change, may_see
from fleet.models.records import content_of
from fleet.presentation.codes import code_words, refusal_lines
from fleet.presentation.corrections import changed_fields, why_corrected
from fleet.presentation.follow_ups import question_words
from fleet.presentation.words import turned_out
from fleet.queries.follow_ups import open_questions, visible_questions
from fleet.queries.records import all_unreadable_records, unreadable_records, visible_records, visit_records
from fleet.queries.register import visible_analysers, visible_appliances, visible_people
from fleet.queries.visits import visible_corrections, visits_at_a_glance
from fleet.services.visits import resolve_question, resolve_unreadable_record
from fleet.web.appliances import ProofLink, proof_link
from fleet.web.forms import WordedActForm, chosen_id, taken
from fleet.web.guards import act, page, viewer_of
from fleet.web.pages import page_of

MOST_QUESTIONS = 50
MOST_KEPT = 20
MOST_SHOWN = 4_000
LATE_ENTRY = timedelta(days=2)


@page("records")
def records(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    appliance = _chosen_appliance(request, viewer)
    known = visit_records(viewer, appliance.id if appliance else None)
    listed = page_of(known, request.GET, newest_first=True)
    questions, unreadable = open_questions(viewer).order_by("id"), unreadable_records(viewer)
    shown = {
        "appliance": appliance,
        "list": listed,
        "rows": record_rows(viewer, listed.rows),
        "count": known.count(),
        "questions": questions[:MOST_QUESTIONS],
        "question_count": questions.count(),
        "corrections": visible_corrections(viewer).filter(ended_at__isnull=True)[:MOST_QUESTIONS],
        "may_resolve": may_change(viewer, "questions"),
        "unreadable": [UnreadableRow(each) for each in unreadable[:MOST_KEPT]]
        if may_see(viewer, "unreadable_records")
        else [],
        "unreadable_count": unreadable.count() if may_see(viewer, "unreadable_records") else 0,
        "today": today,
        "analysers": [(each, list(each.calibrations.all())[::-1]) for each in visible_analysers(viewer)],
        "people": [
            (each, papers) for each in visible_people(viewer) if (papers := list(each.qualifications.all())[::-1])
        ],
    }
    return render(request, "records.html", shown)


@page("records")
def record(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """One record as it was received, whatever came after it, and what it says otherwise than the one it corrects."""
    viewer = viewer_of(request)
    one = found(visible_records(viewer), record_id)
    content, shape = content_of(one), VisitIn if one.kind == "visit" else Shape
    shown = {
        "record": one,
        "kind": code_words(one.kind),
        "fields": changed_fields({}, content, shape),
        "changed": changed_fields(content_of(one.amends), content, shape) if one.amends else [],
        "why": why_corrected(one),
        "later": Record.objects.filter(amends=one).first(),
        "office_zone": settings.TIME_ZONE,
    }
    return render(request, "record.html", shown | {"place": "records"})


def _chosen_appliance(request: HttpRequest, viewer: User) -> Any:
    chosen = chosen_id(request.GET, "appliance")
    return found(visible_appliances(viewer), chosen) if chosen else None


@dataclass(frozen=True)
class RecordRow:
    """One record in the list. `entered_late`: it came here days after the work."""

    link: ProofLink
    record: Record
    visit: Visit
    words: str
    entered_late: bool


def record_rows(viewer: User, shown: list[Record]) -> list[RecordRow]:
    visits = visits_at_a_glance(viewer, [each.subject for each in shown])
    return [
        RecordRow(proof_link(each), each, visit, turned_out(visit), _came_late(each, visit.local_date))
        for each in shown
        if (visit := visits.get(each.subject))
    ]


def _came_late(record: Record, done_on: date) -> bool:
    return record.received_at.date() - done_on >= LATE_ENTRY


@dataclass(frozen=True)
class UnreadableRow:
    """A message that could not be read, as it came."""

    record: UnreadableRecord

    @property
    def errors(self) -> list[tuple[str, str]]:
        return refusal_lines(self.record.errors, VisitIn)

    @property
    def body(self) -> str:
        """As text, what isn't UTF-8 replaced; cut where it is very long."""
        return bytes(self.record.body)[:MOST_SHOWN].decode("utf-8", "replace")

    @property
    def is_cut(self) -> bool:
        return len(bytes(self.record.body)) > MOST_SHOWN


# ---- resolving ----


def _question_refused(request: HttpRequest, refused: FleetError, question_id: uuid.UUID) -> HttpResponse:
    return _refused(request, refused, question=found(visible_questions(viewer_of(request)), question_id))


def _unreadable_refused(request: HttpRequest, refused: FleetError, unreadable_id: uuid.UUID) -> HttpResponse:
    return _refused(
        request, refused, unreadable=UnreadableRow(found(all_unreadable_records(viewer_of(request)), unreadable_id))
    )


def _refused(request: HttpRequest, refused: FleetError, **what: Any) -> HttpResponse:
    shown = {"refused": refused, "words": request.POST.get("words", ""), "place": "records"}
    return render(request, "resolve_refused.html", shown | what, status=refused.status)


@act("questions", place="records", refused=_question_refused)
def resolve_question_form(request: HttpRequest, question_id: uuid.UUID) -> HttpResponse:
    """Somebody looked at it and says what came of it; the visit itself is corrected by an amendment."""
    question = found(visible_questions(viewer_of(request)), question_id)
    said, actor = taken(WordedActForm(request.POST)), viewer_of(request)
    resolve_question(question=question, version=said["version"], note=said["words"], actor=actor, now=clock.now())
    messages.success(request, _("Resolved: %s") % question_words(question))
    return redirect("records")


@act("unreadable_records", place="records", refused=_unreadable_refused)
def resolve_unreadable_form(request: HttpRequest, unreadable_id: uuid.UUID) -> HttpResponse:
    """It was corrected and sent anew, or put aside for a reason. Its body is kept."""
    unreadable = found(all_unreadable_records(viewer_of(request)), unreadable_id)
    said, actor = taken(WordedActForm(request.POST)), viewer_of(request)
    resolve_unreadable_record(
        unreadable=unreadable, version=said["version"], how=said["words"], actor=actor, now=clock.now()
    )
    messages.success(request, _("Resolved; the message is kept."))
    return redirect("records")
