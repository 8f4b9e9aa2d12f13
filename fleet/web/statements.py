"""Statements: what was recorded for a client or a building over a period, as a page, on paper and as a table."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.errors import FleetError, NotFound
from fleet.models import User
from fleet.presentation.contents import evidence_words
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.statements import Line, SetOutcome, Statement, statement_for
from fleet.web.drawings import statement_rule
from fleet.web.forms import PeriodForm, taken
from fleet.web.guards import READERS_OF_STATEMENTS, page, viewer_of
from fleet.web.rules import DueRule
from fleet.web.words import and_words, count_words
from reports.statements import outcome_counts, statement_csv, statement_pdf

FIELDS = ("client", "building", "begins", "ends")


@page(readers=READERS_OF_STATEMENTS)
def statements(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    shown: dict[str, Any] = {
        "clients": list(visible_clients(viewer)),
        "buildings": list(visible_buildings(viewer)),
        "given": {name: request.GET.get(name, "") for name in FIELDS},
        "usual": {"begins": date(today.year, 1, 1).isoformat(), "ends": today.isoformat()},
        "query": request.GET.urlencode(),
    }
    if not any(shown["given"].values()):
        return render(request, "statements.html", shown)
    try:
        statement = _asked_for(request, viewer, today)
    except FleetError as refused:
        if refused.status == NotFound.status:
            raise
        return render(request, "statements.html", shown | {"refused": refused}, status=refused.status)
    lines = [line_row(statement, each) for each in statement.lines]
    shown |= {"statement": statement, "opening": opening(statement), "lines": lines}
    return render(request, "statements.html", shown)


@page(readers=READERS_OF_STATEMENTS)
def pdf(request: HttpRequest) -> HttpResponse:
    return _as_file(statement_pdf(_statement_or_404(request)), "application/pdf", "inline", "statement.pdf")


@page(readers=READERS_OF_STATEMENTS)
def csv(request: HttpRequest) -> HttpResponse:
    table = statement_csv(_statement_or_404(request))
    return _as_file(table, "text/csv; charset=utf-8", "attachment", "statement.csv")


def _as_file(content: bytes, content_type: str, how: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'{how}; filename="{name}"'
    return answer


def _statement_or_404(request: HttpRequest) -> Statement:
    """For files: a question that can't be read has no answer at this address; the page says what is wrong with it."""
    try:
        return _asked_for(request, viewer_of(request), clock.today())
    except FleetError as refused:
        raise NotFound("not_found", refused.message) from refused


def _asked_for(request: HttpRequest, viewer: User, today: date) -> Statement:
    """Raises NotFound, and FleetError `invalid` where the question can't be read."""
    given = taken(PeriodForm(request.GET))
    return statement_for(
        viewer,
        client_id=given["client"] if not given["building"] else None,
        building_id=given["building"],
        begins=given["begins"],
        ends=given["ends"],
        today=today,
    )


# ---- the answer ----


def opening(statement: Statement) -> str:
    """How many there were, how many have a record and what it says, what is late and what is no evidence."""
    lines = statement.lines
    if not lines:
        return _("No appliance was in service in this period.")
    words = ngettext("%s appliance was in service.", "%s appliances were in service.", len(lines))
    parts = [words % count_words(len(lines)).capitalize(), *_outcomes(statement)]
    parts.append(_late(len(statement.late), undecided := len(statement.undecided)))
    if undecided:
        words = ngettext("%s has a duty that can't be told.", "%s have a duty that can't be told.", undecided)
        parts.append(words % _capital(undecided))
    if without := len(statement.without_record):
        parts.append(
            ngettext("%s has no record of a test.", "%s have no record of a test.", without) % _capital(without)
        )
    if tried := sum(len(each.attempts) for each in lines):
        words = ngettext(
            "%s time somebody came and did not get to an appliance.",
            "%s times somebody came and did not get to an appliance.",
            tried,
        )
        parts.append(words % _capital(tried))
    if doubtful := sum(bool(each.not_evidence) for each in lines):
        words = ngettext(
            "The last record of %s is not evidence: analyser or person was not valid on the day.",
            "The last records of %s are not evidence: analyser or person was not valid on the day.",
            doubtful,
        )
        parts.append(words % count_words(doubtful))
    return " ".join(parts)


def _capital(count: int) -> str:
    return count_words(count).capitalize()


def _late(count: int, undecided: int) -> str:
    if not count and undecided:
        return _("None is known to be past its due date.")
    if not count:
        return _("None is past its due date.")
    return ngettext("%s is past its due date.", "%s are past their due date.", count) % _capital(count)


def _outcomes(statement: Statement) -> list[str]:
    said = [f"{count_words(count)} {word}" for count, word in outcome_counts(statement)]
    return [_("As last recorded, against the sets named below: %s.") % and_words(said)] if said else []


# ---- its lines ----


@dataclass(frozen=True)
class LineRow:
    """One appliance of the statement, with the rule of its due date on the scale of all."""

    line: Line
    rule: DueRule
    sets: tuple[tuple[str, str], ...]


def line_row(statement: Statement, line: Line) -> LineRow:
    """The sets of each outcome together, the outcome that weighs most first."""
    words = {
        "outside": _("outside"),
        "cannot tell": _("can't be decided"),
        "in part": _("judged in part"),
        "withheld": _("withheld until somebody has reviewed it"),
        "not judged": _("not judged"),
        "within": _("within"),
    }
    sets = {
        said: [_set_words(each) for each in line.outcomes if each.on_paper == outcome]
        for outcome, said in words.items()
    }
    named = tuple((said, ", ".join(each)) for said, each in sets.items() if each)
    return LineRow(line, statement_rule(statement, line), named)


def _set_words(each: SetOutcome) -> str:
    """The set in its version, with the doubts about it."""
    doubts = [] if each.reviewed else [_("not reviewed")]
    doubts += [evidence_words(each.evidence)] if each.evidence == "unverified" else []
    beside = f" ({', '.join(doubts)})" if doubts else ""
    return f"{each.name} v{each.version}{beside}"
