"""One visit as its record says it: the same facts as on its paper, and the paper itself."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from fleet import clock
from fleet.queries.visits import ReadingFacts, VisitFacts, visit_for
from fleet.web.appliances import proof_link
from fleet.web.drawings import reading_tables
from fleet.web.figures import day
from fleet.web.findings import finding_rows, not_judged, source_rows
from fleet.web.guards import page, viewer_of
from fleet.web.words import rate_words
from reports import visit_words
from reports.readings import also_read, figures_head, figures_row, phase_words, steadiness_words
from reports.visits import visit_pdf
from reports.worked_out import has_worked_out, series_words, spread_row, worked_head, worked_row


@page()
def visit(request: HttpRequest, visit_id: uuid.UUID) -> HttpResponse:
    facts = visit_for(viewer_of(request), visit_id)
    return render(
        request,
        "visit.html",
        {
            "place": "records",
            "facts": facts,
            "visit": facts.visit,
            "appliance": facts.appliance,
            "building": facts.appliance.building,
            "opening": visit_words.opening(facts),
            "stop_heading": visit_words.stop_heading(facts),
            "stop_lines": list(visit_words.stop_lines(facts)),
            "pairs": [*visit_words.appliance_pairs(facts), *visit_words.visit_pairs(facts)],
            "tables": reading_tables(facts),
            "heads": [each.replace("-\n", "-").replace("\n", " ") for each in figures_head()[1:]],
            "figures": [figure_line(each, facts) for each in facts.readings],
            "worked_heads": [each.replace("-\n", "-").replace("\n", " ") for each in worked_head()[1:]],
            "worked": [WorkedLine(name_of(each), worked_row(each)) for each in facts.readings if has_worked_out(each)],
            "findings": finding_rows(facts),
            "patterns": facts.visit.diagnoses.all(),
            "suggestion_note": visit_words.suggestion_note(),
            "sources": source_rows(facts),
            "not_judged": not_judged(facts),
            "side_figures": visit_words.side_figures(facts),
            "work": [visit_words.work_line(each) for each in facts.visit.work.all()],
            "defects": [visit_words.defect_line(each) for each in facts.visit.defects.all()],
            "steps": list(visit_words.checklist_lines(facts.visit)),
            "signature": visit_words.signature_words(facts),
            "proof": [proof_link(each) for each in reversed(facts.records)],
        },
    )


@page()
def paper(request: HttpRequest, visit_id: uuid.UUID) -> HttpResponse:
    """The visit's record as PDF, with the corrections known today."""
    facts = visit_for(viewer_of(request), visit_id)
    pdf = visit_pdf(facts, known_on=clock.today(facts.appliance.building.time_zone))
    answer = HttpResponse(pdf, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="visit-{visit_id}.pdf"'
    return answer


@dataclass(frozen=True)
class FigureLine:
    """One reading in the table of figures, each with its uncertainty; what else was read or is doubtful follows."""

    name: str
    figures: Sequence[tuple[str, str]]
    taken: str
    steady: str
    also: str
    series: str
    doubts: Sequence[str]


@dataclass(frozen=True)
class WorkedLine:
    """One reading in the table of what was worked out beyond the first."""

    name: str
    figures: Sequence[str]


def name_of(each: ReadingFacts) -> str:
    reading = each.reading
    return f"{reading.number}. {rate_words(reading.rate)}, {phase_words(reading.counted_phase)}"


def figure_line(each: ReadingFacts, facts: VisitFacts) -> FigureLine:
    return FigureLine(
        name=name_of(each),
        figures=list(zip(figures_row(each), spread_row(each), strict=True)),
        taken=taken_words(each, facts),
        steady=steadiness_words(each),
        also=also_read(each),
        series=series_words(each),
        doubts=[_doubt(doubt["sentence"], voids=doubt["voids"]) for doubt in each.derived["doubts"]],
    )


def _doubt(sentence: str, *, voids: bool) -> str:
    return _("Void: %s") % sentence if voids else sentence


def taken_words(each: ReadingFacts, facts: VisitFacts) -> str:
    """The time to the precision that it has: nothing is invented."""
    moment = each.reading.taken_at
    if moment is None or each.reading.time_precision in ("day", "unknown"):
        return _("time not known")
    there = moment.astimezone(visit_words.zone_of(facts))
    shown = there.strftime("%H:%M:%S" if each.reading.time_precision == "instant" else "%H:%M")
    return shown if there.date() == facts.visit.local_date else f"{day(there.date())} {shown}"
