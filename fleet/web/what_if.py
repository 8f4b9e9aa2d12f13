"""What if it were done on this day: one appliance, and whatever else could be done in its building that day."""

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.errors import FleetError, NotFound
from fleet.presentation.days import long_day
from fleet.presentation.due_rule import LOOK_BACK, DueRule
from fleet.presentation.words import count_words, listed
from fleet.queries.required_checks import Supposed, Supposition, what_if_appliance, what_if_building
from fleet.web.forms import DayField, taken
from fleet.web.guards import page, viewer_of

YEAR = timedelta(days=366)


class DayForm(forms.Form):
    """Which day; without one, today."""

    day = DayField(gettext_lazy("Were it checked on"))


@dataclass(frozen=True)
class SupposedRow:
    """A required check, what the check would do to its date, and the rule with the day as the planned one."""

    supposed: Supposed
    rule: DueRule | None


@page("what_if")
def what_if(request: HttpRequest, appliance_id: uuid.UUID) -> HttpResponse:
    viewer, now, refused = viewer_of(request), clock.now(), None
    try:
        day = taken(DayForm(request.GET))["day"]
        own = what_if_appliance(viewer, appliance_id, day, now)
    except FleetError as said:
        if said.status == NotFound.status:
            raise
        refused, own = said, what_if_appliance(viewer, appliance_id, None, now)
    around = what_if_building(viewer, own.building.id, own.day, now)
    shown = {
        "place": "buildings",
        "refused": refused,
        "form": DayForm(),
        "appliance": own.appliance,
        "building": own.building,
        "today": own.today,
        "day": own.day,
        "opening": opening(own),
        "rows": [_row(each, own) for each in own.required_checks],
        "others": [
            _row(each, own) for each in around.required_checks if each.required_check.appliance_id != appliance_id
        ],
    }
    return render(request, "what_if.html", shown, status=refused.status if refused else 200)


def opening(supposition: Supposition) -> str:
    """How many required checks would be in time, late, or can't be told; and what the earliest of them gives up."""
    required_checks, shown = supposition.required_checks, long_day(supposition.day)
    if not required_checks:
        return _("No required check stands on %(day)s.") % {"day": shown}
    found = Counter(each.answer.in_time for each in required_checks)
    counts = [
        (ngettext("%s required check is in time", "%s required checks are in time", found[True]), found[True]),
        (ngettext("%s is late", "%s are late", found[False]), found[False]),
        (ngettext("%s can't be told", "%s can't be told", found[None]), found[None]),
    ]
    said = listed([words % count_words(count) for words, count in counts if count])
    return _("Checked on %(day)s, %(counts)s.%(lost)s") % {"day": shown, "counts": said, "lost": _lost(required_checks)}


def _lost(required_checks: Sequence[Supposed]) -> str:
    """What being early costs: the days of the required check that loses most, if any loses one."""
    most = max((each.answer.days_lost or 0 for each in required_checks), default=0)
    if most <= 0:
        return ""
    return " " + ngettext("At most %d day is given up.", "At most %d days are given up.", most) % most


def _row(supposed: Supposed, supposition: Supposition) -> SupposedRow:
    """A date that can't be told gets no rule: its wall would call late what may not be."""
    before = supposed.answer.before
    if before.due is None or before.cannot_tell:
        return SupposedRow(supposed, None)
    return SupposedRow(supposed, _due_rule(before.earliest_keep, before.due, supposition))


def _due_rule(opens: date | None, last_day: date, supposition: Supposition) -> DueRule:
    """All rows share one scale, from a while before today to a year beyond the day asked about."""
    return DueRule(
        supposition.today,
        min(opens, last_day) if opens else None,
        last_day,
        planned=supposition.day,
        first=supposition.today - LOOK_BACK,
        until=supposition.day + YEAR,
        is_supposed=True,
    )
