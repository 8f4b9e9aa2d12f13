"""One visit as its record says it: the same facts as on its paper, and the paper itself."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from fleet import clock
from fleet.assess.judging.visit_facts import ReadingFacts, VisitFacts
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import Correction
from fleet.models.access import may_change
from fleet.presentation import visits as words
from fleet.presentation.diagnoses import doubt_words, pattern_rows
from fleet.presentation.reading_figures import (
    also_read,
    figures_head,
    figures_row,
    has_worked_out,
    name_of,
    read_columns,
    series_words,
    spread_row,
    steadiness_words,
    taken_words,
    worked_head,
    worked_row,
)
from fleet.presentation.readings import reading_tables
from fleet.presentation.verdicts import finding_rows, not_judged, source_rows
from fleet.queries.visits import visible_corrections, visit_for
from fleet.services.corrections import confirm_correction, refuse_correction
from fleet.web.appliances import proof_link
from fleet.web.forms import WordedActForm, taken
from fleet.web.guards import act, page, viewer_of
from reports.visits import visit_pdf

Figure = TypeVar("Figure")


@page("visits")
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
            "opening": words.opening(facts),
            "stop_heading": words.stop_heading(facts),
            "stop_levels": list(words.stop_levels(facts)),
            "pairs": [*words.appliance_pairs(facts), *words.visit_pairs(facts)],
            "tables": reading_tables(facts),
            **figure_tables(facts),
            "findings": finding_rows(facts),
            "patterns": pattern_rows(facts.visit),
            "suggestion_note": words.suggestion_note(),
            "sources": source_rows(facts),
            "not_judged": not_judged(facts),
            "side_figures": words.side_figures(facts),
            "work": [words.work_line(each) for each in facts.visit.work.all()],
            "defects": [words.defect_line(each) for each in facts.visit.defects.all()],
            "steps": list(words.restore_lines(facts.visit)),
            "signature": words.signature_words(facts),
            "corrections": [each for each in facts.visit.corrections.all() if each.ended != Correction.Ended.CONFIRMED],
            "may_correct": may_change(viewer_of(request), "amendments"),
            "proof": [proof_link(each) for each in reversed(facts.records)],
        },
    )


def figure_tables(facts: VisitFacts) -> dict[str, Any]:
    """The two tables of figures, without the columns that no reading fills; CO air-free and CO/CO2 always stand."""
    tabled = [_co_first(figures_row(each)) for each in facts.readings]
    worked = {name_of(each): worked_row(each) for each in facts.own if has_worked_out(each)}
    columns, filled = sorted({0, 1, *read_columns(tabled)}), read_columns(worked.values())
    heads = _co_first(figures_head()[1:])
    return {
        "heads": [_on_one_line(heads[n]) for n in columns],
        "figures": [figure_line(each, facts, columns) for each in facts.readings],
        "worked_heads": [_on_one_line(worked_head()[1:][n]) for n in filled],
        "worked": [WorkedLine(name, [row[n] for n in filled]) for name, row in worked.items()],
    }


def _on_one_line(head: str) -> str:
    return head.replace("-\n", "-").replace("\n", " ")


def _end_refused(request: HttpRequest, refused: FleetError, correction_id: uuid.UUID) -> HttpResponse:
    correction = found(visible_corrections(viewer_of(request)), correction_id)
    shown = {"refused": refused, "correction": correction, "words": request.POST.get("words", ""), "place": "records"}
    return render(request, "correction_refused.html", shown | {"may_correct": True}, status=refused.status)


@act("amendments", place="records", refused=_end_refused)
def end_correction(request: HttpRequest, correction_id: uuid.UUID) -> HttpResponse:
    """Somebody else says that a correction is right, or that it isn't."""
    viewer = viewer_of(request)
    correction, said = found(visible_corrections(viewer), correction_id), taken(WordedActForm(request.POST))
    upon = {"correction": correction, "version": said["version"], "note": said["words"]}
    if request.POST.get("how") == "confirm":
        confirm_correction(**upon, actor=viewer, now=clock.now())
        messages.success(request, _("Confirmed: the correction is in force."))
    else:
        refuse_correction(**upon, actor=viewer, now=clock.now())
        messages.success(request, _("Refused: the visit stands as it was."))
    return redirect("visit", correction.visit_id)


@page("visits")
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


def figure_line(each: ReadingFacts, facts: VisitFacts, columns: Sequence[int]) -> FigureLine:
    row = _co_first(list(zip(figures_row(each), spread_row(each), strict=True)))
    return FigureLine(
        name=name_of(each),
        figures=[row[n] for n in columns],
        taken=taken_words(each, facts),
        steady=steadiness_words(each),
        also=also_read(each),
        series=series_words(each),
        doubts=[_doubt(doubt_words(doubt), makes_invalid=doubt.makes_invalid) for doubt in each.derived.doubts],
    )


def _co_first(row: list[Figure]) -> list[Figure]:
    """The figures of a reading as a page shows them: CO air-free and CO/CO2 stand before the others."""
    air_free, co_co2 = 3, 10
    return [row[air_free], row[co_co2], *(each for n, each in enumerate(row) if n not in (air_free, co_co2))]


def _doubt(sentence: str, *, makes_invalid: bool) -> str:
    return _("Invalid: %s") % sentence if makes_invalid else sentence
