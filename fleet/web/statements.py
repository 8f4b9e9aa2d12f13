"""Statements: what was recorded for a client or a building over a period, as a page, on paper and as a table."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet import clock
from fleet.assess.statements import Line, Statement
from fleet.errors import FleetError, NotFound
from fleet.models import User
from fleet.presentation.revisits import attempt_words
from fleet.presentation.statements import StatementRule, no_date_words, opening, sets_by_outcome, statement_rule
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.statements import statement_for
from fleet.web.forms import PeriodForm, taken
from fleet.web.guards import page, viewer_of
from fleet.web.pages import as_file
from reports.statements import statement_csv, statement_pdf

FIELDS = ("client", "building", "begins", "ends")


@page("statements")
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
    shown |= {"statement": statement, "opening": opening(statement), "lines": lines, "office_zone": settings.TIME_ZONE}
    return render(request, "statements.html", shown)


@page("statements")
def pdf(request: HttpRequest) -> HttpResponse:
    return as_file(statement_pdf(_statement_or_404(request)), "application/pdf", "inline", "statement.pdf")


@page("statements")
def csv(request: HttpRequest) -> HttpResponse:
    table = statement_csv(_statement_or_404(request))
    return as_file(table, "text/csv; charset=utf-8", "attachment", "statement.csv")


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


@dataclass(frozen=True)
class LineRow:
    """One appliance of the statement, with the rule of its due date on the scale of all."""

    line: Line
    rule: StatementRule
    sets: Sequence[tuple[str, str]]
    tried: Sequence[str]
    no_date: str


def line_row(statement: Statement, line: Line) -> LineRow:
    tried = [attempt_words(each) for each in line.attempts]
    return LineRow(line, statement_rule(statement, line), sets_by_outcome(line), tried, no_date_words(line))
