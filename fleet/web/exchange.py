"""A sheet or a limit set out of a file: what it is here, what it would change, and then the record."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError

from api.parsers import read_strictly
from fleet import clock
from fleet.coded import coded, wrong
from fleet.errors import FleetError, Malformed
from fleet.intake.limit_sets import read_limit_set_file
from fleet.intake.sheets import read_sheet_file
from fleet.models import User
from fleet.queries.sheets import Standing, standing_limit_set, standing_sheet
from fleet.services.exchange import LIMIT_SET_FILE, SHEET_FILE, import_limit_set, import_sheet
from fleet.web import previews
from fleet.web.guards import form, viewer_of

LONGEST_FILE = 500_000


@dataclass(frozen=True)
class Taken:
    """A file that could be read, and what stands here of it. text : as it came, to be sent again for the record."""

    kind: str
    text: str
    file: dict[str, Any]
    standing: Standing[Any]

    @property
    def is_sheet(self) -> bool:
        return self.kind == SHEET_FILE

    @property
    def way(self) -> previews.Kind:
        """By which it becomes a version."""
        return previews.SHEET if self.is_sheet else previews.LIMIT_SET

    @property
    def entry(self) -> Any:
        """What its name, reference or key stands for here; None where that is nothing."""
        return self.standing.entry

    @property
    def address(self) -> str:
        return "sheet" if self.is_sheet else "limit-set"


@form("sheets")
def take(request: HttpRequest) -> HttpResponse:
    """First what the file is here and what it would change, then the record."""
    if request.method != "POST":
        return render(request, "exchange.html", {"place": "sheets"})
    try:
        taken = _taken(viewer_of(request), _text(request))
    except FleetError as refused:
        return render(request, "exchange.html", {"place": "sheets", "refused": refused}, status=refused.status)
    if taken.standing.is_known:
        return render(request, "exchange.html", {"place": "sheets", "taken": taken})
    if taken.entry is None:
        return _as_new(request, taken)
    return _as_next(request, taken)


def _text(request: HttpRequest) -> bytes:
    """The file, or what was shown of it before. Raises FleetError."""
    sent = request.FILES.get("file")
    if sent is not None and (sent.size or 0) > LONGEST_FILE:
        raise FleetError("too_long", _("The file is longer than %d characters.") % LONGEST_FILE)
    given: bytes = sent.read() if sent is not None else request.POST.get("text", "").encode()
    if not given.strip():
        raise FleetError("invalid", _("Choose a file."), errors={"file": coded("no_file")})
    return given


def _taken(viewer: User, given: bytes) -> Taken:
    """Raises Malformed with the path of each field that can't be accepted."""
    try:
        data = read_strictly(given)
    except ParseError as bad:
        raise Malformed(
            "not_json", _("The file can't be read."), errors={"file": coded("as_said", said=str(bad.detail))}
        ) from bad
    kind = data.get("schema") if isinstance(data, dict) else None
    if kind == SHEET_FILE:
        file = read_sheet_file(data)
        return Taken(SHEET_FILE, given.decode(), file, standing_sheet(viewer, file))
    if kind == LIMIT_SET_FILE:
        file = read_limit_set_file(data)
        return Taken(LIMIT_SET_FILE, given.decode(), file, standing_limit_set(viewer, file))
    errors = {"schema": wrong("one_of", kind, allowed=[SHEET_FILE, LIMIT_SET_FILE])}
    raise Malformed("not_json", _("The file is neither a sheet nor a limit set."), errors=errors)


def _as_new(request: HttpRequest, taken: Taken) -> HttpResponse:
    """Nothing stands here of it, so nothing changes for any appliance."""
    if request.POST.get("act") == "record":
        made = _import(request, taken)
        messages.success(request, _("Made %s.") % made.name)
        return redirect(taken.address, made.id)
    differences = taken.way.differences({}, taken.file["content"])
    return render(request, "exchange.html", {"place": "sheets", "taken": taken, "differences": differences})


def _import(request: HttpRequest, taken: Taken) -> Any:
    make: Any = import_sheet if taken.is_sheet else import_limit_set
    return make(file=taken.file, actor=viewer_of(request), now=clock.now()).entry


def _as_next(request: HttpRequest, taken: Taken) -> HttpResponse:
    """As the next version of what stands here, shown beforehand like any other."""
    content, kind = taken.file["content"], taken.way
    based_on = previews.number_based_on(request.POST)
    made = previews.recorded(kind, request, taken.entry, content, based_on)
    if not isinstance(made, str):
        messages.success(request, _("Recorded as version %d; it counts from now on.") % made.number)
        return redirect(taken.address, taken.entry.id)
    facts = kind.facts(viewer_of(request), taken.entry.id, clock.today())
    if "based_on" not in request.POST:
        based_on = facts.current.number if facts.current else 0
    shown = previews.shown(kind, request, facts, content, based_on, note=made)
    context = {"place": "sheets", "taken": taken, "shown": shown, "based_on": shown.preview.based_on}
    return render(request, "exchange.html", context, status=shown.status)
