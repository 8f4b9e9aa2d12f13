"""Sheets and limit sets: the list; one settings sheet with its versions; its edit shown beforehand; copy and retire."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet import clock
from fleet.errors import FleetError, Malformed, NotFound
from fleet.intake.fields import fields_of, kind_of
from fleet.intake.sheets import CEILING_UNITS, CeilingIn, SheetFileIn, SheetIn, read_sheet, read_sheet_file
from fleet.models import LimitSetVersion, SheetVersion
from fleet.models.access import may_change
from fleet.presentation.codes import code_words, quantity_label
from fleet.presentation.contents import (
    Difference,
    adjuster_said,
    evidence_words,
    order_words,
    rows_said,
    sheet_differences,
    target_words,
)
from fleet.presentation.days import long_day
from fleet.presentation.figures import unit_words
from fleet.presentation.intervals import interval_lines
from fleet.presentation.words import capital, chemical, count_words, listed, rate_words
from fleet.quantities import GASES
from fleet.queries.sheets import LimitSetFacts, SheetFacts, limit_sets_at_a_glance, sheet_for, sheets_at_a_glance
from fleet.services.appliances import change_sheet, copy_sheet, make_sheet
from fleet.web import previews
from fleet.web.forms import VersionForm, WordsField, taken
from fleet.web.guards import act, form, page, viewer_of
from fleet.web.pages import page_of
from fleet.web.shape_forms import KindField, ShapeForm, form_of
from fleet.web.sheet_tables import answer_of, target_tables

# ---- the list ----


@page("sheets")
def sheets(request: HttpRequest) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    listed = page_of(sheets_at_a_glance(viewer, today), request.GET, by="name")
    sets = [SetRow(each, _places(each)) for each in limit_sets_at_a_glance(viewer, today)]
    shown = {
        "list": listed,
        "rows": [SheetRow(each, made_on(each.current), _kind_words(each.current)) for each in listed.rows],
        "applying": [each for each in sets if each.facts.assignments],
        "others": [each for each in sets if not each.facts.assignments],
        "opening": opening(sheets_at_a_glance(viewer, today).count(), sets),
        "may_write": may_change(viewer, "sheets"),
    }
    return render(request, "sheets.html", shown)


@dataclass(frozen=True)
class SheetRow:
    """A sheet in the list, with the day of its newest version and what it is of, in words."""

    sheet: Any
    made_on: date | None
    words: str


@dataclass(frozen=True)
class SetRow:
    """A limit set in the list. places : where it applies, in words."""

    facts: LimitSetFacts
    places: str

    @property
    def words(self) -> str:
        """What it is, where it is in force, and when it has a check fall due."""
        current = self.facts.current
        if current is None:
            return ""
        kind, rule = current.content["kind"], current.content["interval"]
        due = "" if rule["type"] == "none" else _("a check %s") % interval_lines(rule)[0]
        return "; ".join(filter(None, (f"{kind}, {code_words(current.content['jurisdiction'])}", due)))

    @property
    def standing(self) -> str:
        """Reviewed by whom, or not, and how well its figures are known."""
        return standing_words(self.facts.current) if self.facts.current else _("no version yet")

    @property
    def is_unreviewed(self) -> bool:
        return self.facts.current is not None and not self.facts.current.is_reviewed


def standing_words(version: LimitSetVersion) -> str:
    known = evidence_words(version.evidence)
    if not version.is_reviewed:
        return _("nobody has reviewed it; %s") % known
    assert version.reviewed_on is not None
    said = {
        "who": version.reviewed_by,
        "day": long_day(version.reviewed_on),
        "source": version.review_source,
        "known": known,
    }
    return _("reviewed by %(who)s on %(day)s against %(source)s; %(known)s") % said


def _places(facts: LimitSetFacts) -> str:
    """Clients, buildings and appliances by name, and how many appliances that is."""
    named = [str(each.client or each.building or each.appliance) for each in facts.assignments]
    many = len(named) - MOST_PLACES
    shown = [*named[:MOST_PLACES], *([_("%d more") % many] if many > 0 else [])]
    words = ngettext("%(places)s: %(count)d appliance", "%(places)s: %(count)d appliances", facts.appliance_count)
    return words % {"places": listed(shown), "count": facts.appliance_count}


MOST_PLACES = 4


def opening(count: int, sets: Sequence[SetRow]) -> str:
    """How many sheets and sets there are, how many apply, and how many of these nobody has reviewed."""
    applying = [each for each in sets if each.facts.assignments]
    sheets = ngettext("%s settings sheet", "%s settings sheets", count) % count_words(count) if count else _("no sheet")
    said = [sheets, ngettext("%s limit set", "%s limit sets", len(sets)) % count_words(len(sets))]
    somewhere = ngettext("%s set applies somewhere.", "%s sets apply somewhere.", len(applying))
    words = [capital(_("%s.") % listed(said))]
    words.append(capital(somewhere % count_words(len(applying))) if applying else _("No set applies anywhere."))
    if unreviewed := sum(each.is_unreviewed for each in applying):
        words.append(
            ngettext("Nobody has reviewed %s of them.", "Nobody has reviewed %s of them.", unreviewed)
            % count_words(unreviewed)
        )
    return " ".join(words)


def _kind_words(version: SheetVersion | None) -> str:
    if version is None:
        return _("no version yet, so its appliances have no target")
    content = version.content
    burns, air_by = code_words(content["fuel"]), code_words(content["control"])
    words = [burns, air_by, _("condensing") if content["condensing"] else ""]
    return ", ".join(filter(None, words))


def made_on(version: SheetVersion | LimitSetVersion | None) -> date | None:
    """The office's day on which a version was recorded."""
    return timezone.localtime(version.record.received_at).date() if version else None


# ---- one sheet ----


@page("sheets")
def sheet(request: HttpRequest, sheet_id: uuid.UUID) -> HttpResponse:
    facts = sheet_for(viewer_of(request), sheet_id, clock.today())
    return render(request, "sheet.html", _shown(request, facts))


def _shown(request: HttpRequest, facts: SheetFacts) -> dict[str, Any]:
    content = facts.current.content if facts.current else {}
    return {
        "place": "sheets",
        "facts": facts,
        "sheet": facts.sheet,
        "content": content,
        "tables": target_tables(content),
        "targets": [(_target_title(each), chemical(target_words(each)), each) for each in content.get("targets", ())],
        "adjusters": [adjuster_said(each) for each in content.get("adjusters", ())],
        "plate": rows_said(SheetIn, content),
        "orders": [
            (chemical(order_words(each)), each.get("source_text", "")) for each in content.get("order_rules", ())
        ],
        "answer": answer_of(content),
        "versions": [(each, made_on(each)) for each in facts.versions],
        "compared": compared(request.GET, {each.number: each.content for each in facts.versions}, sheet_differences),
        "may_write": may_change(viewer_of(request), "sheets"),
    }


def _target_title(target: Mapping[str, Any]) -> str:
    return f"{GASES[target['quantity']]}, {rate_words(target['rate'])}"


@dataclass(frozen=True)
class Compared:
    """Two versions and what they say differently."""

    before: int
    after: int
    differences: Sequence[Difference]


def compared(query: QueryDict, contents: Mapping[int, Any], differences: Any) -> Compared | None:
    """What the query asks to compare; without a question the newest version with the one before it, if there is one.

    Raises NotFound for a version that isn't there.
    """
    given = [query.get(name, "") for name in ("from", "to")]
    if not any(given):
        newest = sorted(contents)[-2:]
        return Compared(newest[0], newest[1], differences(*(contents[each] for each in newest))) if newest[1:] else None
    numbers = [int(each) if each.isascii() and each.isdigit() and len(each) < 9 else 0 for each in given]
    if not all(each in contents for each in numbers):
        raise NotFound("not_found", "There is no such version.")
    return Compared(numbers[0], numbers[1], differences(*(contents[each] for each in numbers)))


# ---- its edit ----


def _ceiling_words(quantity: str) -> str:
    unit = unit_words(CEILING_UNITS[quantity])
    return f"{quantity_label(quantity)}, {unit}" if unit else quantity_label(quantity)


_ceiling_words_lazy = lazy(_ceiling_words, str)
CeilingForm = form_of(CeilingIn)
CeilingForm.base_fields["quantity"].widget.choices[1:] = [(each, _ceiling_words_lazy(each)) for each in CEILING_UNITS]


class _SheetContent(ShapeForm):
    def content(self) -> dict[str, Any]:
        """A ceiling's unit follows from what it is of; where that is wrong, any unit is right."""
        content = {"targets": []} | super().content()
        for each in content.get("ceilings", ()):
            each["unit"] = CEILING_UNITS.get(each.get("quantity", ""), "1")
        return content


SheetForm = form_of(SheetIn, base=_SheetContent, ceilings=CeilingForm)


class NewSheetForm(SheetForm):
    name = KindField(kind_of(fields_of(SheetFileIn)["name"]))
    field_order = ("name",)


@form("sheets")
def edit(request: HttpRequest, sheet_id: uuid.UUID) -> HttpResponse:
    """First what would change, then the record: nothing is recorded that was not shown."""
    facts = sheet_for(viewer_of(request), sheet_id, clock.today())
    if request.method != "POST":
        return _form(request, facts, SheetForm(initial=facts.current.content if facts.current else {}))
    asked, based_on = SheetForm(request.POST), previews.number_based_on(request.POST)
    if "more" in request.POST:
        return _form(request, facts, asked, based_on=based_on)
    try:
        content = read_sheet(asked.content())
    except Malformed as bad:
        asked.refuse(bad.errors)
        return _form(request, facts, asked, based_on=based_on, status=bad.status)
    made = previews.recorded(previews.SHEET, request, facts.sheet, content, based_on)
    if not isinstance(made, str):
        messages.success(request, _("Recorded as version %d; it counts from now on.") % made.number)
        return redirect("sheet", sheet_id)
    facts = sheet_for(viewer_of(request), sheet_id, clock.today())
    shown = previews.shown(previews.SHEET, request, facts, content, based_on, note=made)
    return _form(request, facts, asked, shown=shown, based_on=shown.preview.based_on, status=shown.status)


def _form(
    request: HttpRequest,
    facts: SheetFacts,
    asked: ShapeForm,
    *,
    shown: previews.Shown | None = None,
    based_on: int | None = None,
    status: int = 200,
) -> HttpResponse:
    number = facts.current.number if facts.current else 0
    return render(
        request,
        "sheet_edit.html",
        {
            "place": "sheets",
            "facts": facts,
            "sheet": facts.sheet,
            "asked": asked,
            "shown": shown,
            "based_on": number if based_on is None else based_on,
        },
        status=status,
    )


@form("sheets")
def new(request: HttpRequest) -> HttpResponse:
    """A sheet that no appliance has yet: made at once, there is nothing that it could change."""
    asked = NewSheetForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and "more" not in request.POST:
        content = asked.content()
        try:
            file = read_sheet_file({"schema": "fleet-sheet/1", "name": content.pop("name", ""), "content": content})
            values = {"name": file["name"]}
            made = make_sheet(values=values, content=file["content"], actor=viewer_of(request), now=clock.now())
        except FleetError as bad:
            asked.refuse({path.removeprefix("content."): said for path, said in bad.errors.items()})
        else:
            messages.success(request, _("Made %s.") % made.name)
            return redirect("sheet", made.id)
    shown = {"place": "sheets", "asked": asked}
    return render(request, "sheet_edit.html", shown, status=422 if asked.faults else 200)


# ---- copy and retire ----


class NameForm(forms.Form):
    name = WordsField(most=200, needed=gettext_lazy("Give it a name."))


class RetireForm(VersionForm):
    retired = forms.BooleanField(required=False)


def _refused(what: str, request: HttpRequest, refused: FleetError, sheet_id: uuid.UUID) -> HttpResponse:
    shown = _shown(request, sheet_for(viewer_of(request), sheet_id, clock.today()))
    shown |= {"refused": refused, "refused_what": what, "given": request.POST}
    return render(request, "sheet.html", shown, status=refused.status)


@act("sheets", place="sheets", refused=partial(_refused, "copy"))
def copy(request: HttpRequest, sheet_id: uuid.UUID) -> HttpResponse:
    facts = sheet_for(viewer_of(request), sheet_id, clock.today())
    values = taken(NameForm(request.POST))
    made = copy_sheet(sheet=facts.sheet, values=values, actor=viewer_of(request), now=clock.now())
    messages.success(request, _("Made %(copy)s from %(sheet)s.") % {"copy": made.name, "sheet": facts.sheet.name})
    return redirect("sheet", made.id)


@act("sheets", place="sheets", refused=partial(_refused, "retire"))
def retire(request: HttpRequest, sheet_id: uuid.UUID) -> HttpResponse:
    """From today on no further appliance gets it; or that is taken back."""
    facts = sheet_for(viewer_of(request), sheet_id, clock.today())
    given = taken(RetireForm(request.POST))
    changes = {"retired_on": clock.today() if given["retired"] else None}
    change_sheet(sheet=facts.sheet, version=given["version"], changes=changes, now=clock.now())
    said = _("Retired: no further appliance gets it.") if given["retired"] else _("No longer retired.")
    messages.success(request, said)
    return redirect("sheet", sheet_id)
