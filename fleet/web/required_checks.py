"""Required checks: which rule asks for a check of which appliance, by when, with the arithmetic in words."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.models import RequiredCheck
from fleet.presentation.due_rule import DueRule, row_due_rule
from fleet.presentation.words import count_words, listed
from fleet.queries.access import visible_clients
from fleet.queries.required_checks import dated_required_checks, suspended_required_checks, undecided_required_checks
from fleet.web.attention import away_words
from fleet.web.forms import chosen_client
from fleet.web.guards import page, viewer_of
from fleet.web.pages import page_of

SOON = timedelta(days=21)
LINE_HALF = timedelta(days=90)
MOST_LISTED = 100


@page("required_checks")
def required_checks(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    clients = list(visible_clients(viewer))
    client = chosen_client(request.GET, clients)
    kinds = (
        dated_required_checks(viewer, today),
        undecided_required_checks(viewer, today),
        suspended_required_checks(viewer, today),
    )
    if client:
        kinds = tuple(each.filter(appliance__building__client=client) for each in kinds)
    dated, undecided, suspended = kinds
    counts = Counts(
        dated=dated.count(),
        late=dated.filter(due__lt=today).count(),
        soon=dated.filter(due__gte=today, due__lte=today + SOON).count(),
        undecided=undecided.count(),
        suspended=suspended.count(),
        tried=dated.exclude(not_counted=[]).count(),
    )
    listed = page_of(dated, request.GET, by="due")
    shown = {
        "opening": opening(counts),
        "list": listed,
        "rows": [_row(each, today) for each in listed.rows],
        "undecided": undecided[:MOST_LISTED],
        "undecided_count": counts.undecided,
        "suspended": suspended[:MOST_LISTED],
        "suspended_count": counts.suspended,
        "clients": clients,
        "client": client,
        "today": today,
    }
    return render(request, "required_checks.html", shown)


@dataclass(frozen=True)
class Counts:
    """Of the required checks with a certain date how many, how many late, how many soon, and how many stand though
    somebody was there; those that can't be told, and those of appliances out of use."""

    dated: int
    late: int
    soon: int
    undecided: int
    suspended: int = 0
    tried: int = 0

    @property
    def all(self) -> int:
        return self.dated + self.undecided + self.suspended


def opening(counts: Counts) -> str:
    """How many are late, how many come soon, how many can't be told or are suspended, of how many."""
    if not counts.all:
        return _("No required check stands.")
    late = ngettext("%s required check is late", "%s required checks are late", counts.late)
    soon = ngettext("%s falls due within three weeks", "%s fall due within three weeks", counts.soon)
    parts = [
        late % count_words(counts.late).capitalize() if counts.late else _("No required check is late"),
        soon % count_words(counts.soon),
    ]
    if counts.undecided:
        parts.append(ngettext("%s can't be told for sure", "%s can't be told for sure", counts.undecided)
                     % count_words(counts.undecided))  # fmt: skip
    if counts.suspended:
        parts.append(ngettext("%s is suspended", "%s are suspended", counts.suspended)
                     % count_words(counts.suspended))  # fmt: skip
    said = _("%(parts)s, of %(all)d.") % {"parts": listed(parts), "all": counts.all}
    if not counts.tried:
        return said
    words = ngettext(
        "For %s a visit was made that doesn't count.", "For %s visits were made that don't count.", counts.tried
    )
    return f"{said} {words % count_words(counts.tried)}"


@dataclass(frozen=True)
class RequiredCheckRow:
    required_check: RequiredCheck
    away: str
    is_late: bool
    rule: DueRule | None


def _row(required_check: RequiredCheck, today: date) -> RequiredCheckRow:
    assert required_check.due is not None  # the list is of those with a date
    opens = required_check.earliest_keep or required_check.last_done
    rule = row_due_rule(opens, required_check.due, today, LINE_HALF)
    return RequiredCheckRow(required_check, away_words(required_check.due, today), required_check.due < today, rule)
