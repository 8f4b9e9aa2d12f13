"""One limit set: its limits as a table, where it applies, its review; its edit, shown beforehand; copy and retire."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.core.validators import validate_slug
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.due.set_rules import extra_intervals
from fleet.errors import FleetError, Malformed
from fleet.intake.limit_sets import read_limit_set
from fleet.models.access import may_change
from fleet.presentation.contents import (
    edition_words,
    evidence_words,
    kept_words,
    limit_at,
    limit_label,
    limit_set_differences,
)
from fleet.presentation.due_dates import select_words
from fleet.presentation.intervals import set_interval_lines
from fleet.presentation.verdicts import basis_words, graded_words
from fleet.presentation.words import capital, chemical
from fleet.queries.sheets import LimitSetFacts, limit_set_for
from fleet.services.limit_sets import change_limit_set, copy_limit_set, review_limit_set
from fleet.web import previews
from fleet.web.forms import DayField, WordsField, taken
from fleet.web.guards import act, form, page, viewer_of
from fleet.web.limit_set_form import LimitSetForm
from fleet.web.shape_forms import ShapeForm
from fleet.web.sheets import RetireForm, compared, made_on, standing_words


@page("limit_sets")
def limit_set(request: HttpRequest, limit_set_id: uuid.UUID) -> HttpResponse:
    facts = limit_set_for(viewer_of(request), limit_set_id, clock.today())
    return render(request, "limit_set.html", _shown(request, facts))


def _shown(request: HttpRequest, facts: LimitSetFacts) -> dict[str, Any]:
    content = facts.current.content if facts.current else {}
    return {
        "place": "sheets",
        "facts": facts,
        "set": facts.limit_set,
        "content": content,
        "standing": standing_words(facts.current) if facts.current else "",
        "interval": set_interval_lines(content) if content else [],
        "further": [(each, _known(each, content)) for each in extra_intervals(content)] if content else [],
        "interval_known": _known(content["interval"], content) if content else "",
        "sources": [source_row(each) for each in content.get("sources", ())],
        "limits": [limit_row(each) for each in content.get("limits", ())],
        "versions": [(each, made_on(each)) for each in facts.versions],
        "compared": compared(
            request.GET, {each.number: each.content for each in facts.versions}, limit_set_differences
        ),
        "may_write": may_change(viewer_of(request), "limit_sets"),
        "today": clock.today(),
    }


def _known(rule: Mapping[str, Any], content: Mapping[str, Any]) -> str:
    return evidence_words(rule.get("evidence") or content["evidence"])


@dataclass(frozen=True)
class SourceRow:
    """One source in words. covers : what comes from it; empty where nothing is said of that."""

    document: str
    known: str
    covers: str


def source_row(source: Mapping[str, Any]) -> SourceRow:
    return SourceRow(edition_words(source), evidence_words(source["evidence"]), source.get("covers", ""))


@dataclass(frozen=True)
class LimitRow:
    """One limit in words. at : the rate and when, where the source names them."""

    id: str
    what: str
    basis: str
    limit: str
    at: str
    asks: str
    who: str
    source: str
    standing: str
    note: str


def limit_row(limit: Mapping[str, Any]) -> LimitRow:
    return LimitRow(
        id=limit["id"],
        what=chemical(limit_label(limit)),
        basis=basis_words(limit.get("basis") or "", limit["quantity"]),
        limit=chemical(kept_words(limit)),
        at=limit_at(limit),
        asks=graded_words(limit["severity"], limit.get("action", "")),
        who=select_words(limit.get("select") or {}),
        source=limit["source"],
        standing=evidence_words(limit["evidence"]),
        note=limit.get("note", ""),
    )


# ---- its edit ----


@form("limit_sets")
def edit(request: HttpRequest, limit_set_id: uuid.UUID) -> HttpResponse:
    """First what would change, then the record: nothing is recorded that was not shown."""
    facts = limit_set_for(viewer_of(request), limit_set_id, clock.today())
    if facts.current is None:
        return redirect("limit-set", limit_set_id)
    if request.method != "POST":
        return _form(request, facts, LimitSetForm(initial=facts.current.content))
    based_on = previews.number_based_on(request.POST)
    contents = {each.number: each.content for each in facts.versions}
    asked = LimitSetForm(request.POST, initial=contents.get(based_on, facts.current.content))
    content: dict[str, Any] = {}
    try:
        content = read_limit_set(asked.content())
    except Malformed as bad:
        asked.refuse(bad.errors)
    if asked.faults:
        return _form(request, facts, asked, based_on=based_on, status=Malformed.status)
    made = previews.recorded(previews.LIMIT_SET, request, facts.limit_set, content, based_on)
    if isinstance(made, str):
        return _previewed(request, limit_set_id, asked, content, based_on, note=made)
    said = _("Recorded as version %d. Nobody has reviewed it yet; what it asks for counts from now on.")
    messages.success(request, said % made.number)
    return redirect("limit-set", limit_set_id)


def _previewed(
    request: HttpRequest, id: uuid.UUID, asked: ShapeForm, content: dict[str, Any], based_on: int, note: str
) -> HttpResponse:
    """Where another structure came meanwhile the page stays with the limits of the version that it was opened at."""
    facts = limit_set_for(viewer_of(request), id, clock.today())
    shown = previews.shown(previews.LIMIT_SET, request, facts, content, based_on, note)
    newest = facts.current.content if facts.current else None
    kept = stale_words(newest or {}, content)
    number = shown.preview.based_on if _ids(newest) == _ids(content) else based_on
    return _form(request, facts, asked, shown=shown, based_on=number, kept=kept, status=shown.status)


def stale_words(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Limits whose figure is another while the source's words for it stay: what, and those words."""
    known = {each["id"]: each for each in before.get("limits", ())}
    return [
        (capital(chemical(limit_label(each))), each["limit_text"])
        for each in after["limits"]
        if (then := known.get(each["id"]))
        and then["fires_when"] != each["fires_when"]
        and each.get("limit_text")
        and then.get("limit_text") == each["limit_text"]
    ]


def _ids(content: Mapping[str, Any] | None) -> list[str]:
    return [each["id"] for each in content["limits"]] if content else []


def _form(
    request: HttpRequest,
    facts: LimitSetFacts,
    asked: ShapeForm,
    *,
    shown: previews.Shown | None = None,
    based_on: int | None = None,
    kept: Sequence[tuple[str, str]] = (),
    status: int = 200,
) -> HttpResponse:
    assert facts.current is not None
    context = {
        "place": "sheets",
        "facts": facts,
        "set": facts.limit_set,
        "asked": asked,
        "shown": shown,
        "kept": kept,
        "based_on": facts.current.number if based_on is None else based_on,
    }
    return render(request, "limit_set_edit.html", context, status=status)


# ---- review, copy, retire ----


class ReviewForm(forms.Form):
    number = forms.IntegerField(min_value=1)
    by = WordsField(gettext_lazy("Who checked it"), 200, gettext_lazy("Say who checked it."))
    on = DayField(gettext_lazy("On which day"), gettext_lazy("Say on which day."))
    source = WordsField(gettext_lazy("Against which text"), 500, gettext_lazy("Say against which text."))


class CopyForm(forms.Form):
    key = forms.CharField(label=gettext_lazy("Its name in files"), max_length=80, validators=[validate_slug])
    name = WordsField(gettext_lazy("Name of the copy"), 200, gettext_lazy("Give it a name."))


def _refused(what: str, request: HttpRequest, refused: FleetError, limit_set_id: uuid.UUID) -> HttpResponse:
    shown = _shown(request, limit_set_for(viewer_of(request), limit_set_id, clock.today()))
    shown |= {"refused": refused, "refused_what": what, "given": request.POST}
    return render(request, "limit_set.html", shown, status=refused.status)


@act("limit_sets", place="sheets", refused=partial(_refused, "review"))
def review(request: HttpRequest, limit_set_id: uuid.UUID) -> HttpResponse:
    """A named person has checked the newest version against its source."""
    facts = limit_set_for(viewer_of(request), limit_set_id, clock.today())
    said = taken(ReviewForm(request.POST))
    number, said["on"] = said.pop("number"), said["on"].isoformat()
    actor, now = viewer_of(request), clock.now()
    version = review_limit_set(limit_set=facts.limit_set, review=said, number=number, actor=actor, now=now)
    messages.success(request, _("Recorded as version %d, reviewed.") % version.number)
    return redirect("limit-set", limit_set_id)


@act("limit_sets", place="sheets", refused=partial(_refused, "copy"))
def copy(request: HttpRequest, limit_set_id: uuid.UUID) -> HttpResponse:
    facts = limit_set_for(viewer_of(request), limit_set_id, clock.today())
    values = taken(CopyForm(request.POST))
    made = copy_limit_set(limit_set=facts.limit_set, values=values, actor=viewer_of(request), now=clock.now())
    said = _("Made %(copy)s from %(set)s. Nobody has reviewed it.") % {"copy": made.name, "set": facts.limit_set.name}
    messages.success(request, said)
    return redirect("limit-set", made.id)


@act("limit_sets", place="sheets", refused=partial(_refused, "retire"))
def retire(request: HttpRequest, limit_set_id: uuid.UUID) -> HttpResponse:
    """From today on it is assigned nowhere more; or that is taken back."""
    facts = limit_set_for(viewer_of(request), limit_set_id, clock.today())
    given = taken(RetireForm(request.POST))
    changes = {"retired_on": clock.today() if given["retired"] else None}
    change_limit_set(limit_set=facts.limit_set, version=given["version"], changes=changes, now=clock.now())
    said = _("Retired: it is assigned nowhere more.") if given["retired"] else _("No longer retired.")
    messages.success(request, said)
    return redirect("limit-set", limit_set_id)
