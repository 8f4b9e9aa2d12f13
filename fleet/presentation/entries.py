"""What somebody made or changed on the register, in words: what it is of, and field by field what was and is."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.entries import EntryChange
from fleet.intake.fields import Shape
from fleet.intake.register import AnalyserIn, PlaceIn, PlateIn
from fleet.predicates import day_in
from fleet.presentation.contents import Difference
from fleet.presentation.corrections import changed_fields
from fleet.presentation.days import day
from fleet.presentation.sentences import sentences

_SHAPES: dict[str, type[Shape]] = {"building": PlaceIn, "appliance": PlateIn, "analyser": AnalyserIn}
_KINDS = sentences("entries")


def entry_words(change: EntryChange) -> str:
    """What it is of, and whether it was made or changed: "Required check Yearly, Boiler 2: changed"."""
    what, stands = str(_KINDS[change.record.kind]), change.stands
    of = (change.record.subject, *(stands.get(name) for name in ("appliance", "building", "client")))
    place = next((change.names[str(each)] for each in of if str(each) in change.names), "")
    named = [str(stands.get("name") or change.names.get(str(stands.get("limit_set")), "")), place]
    said = ", ".join(filter(None, (f"{what} {named[0]}".strip(), named[1])))
    return f"{said}: {_('changed') if change.was else _('entered')}"


def entry_differences(change: EntryChange) -> list[Difference]:
    """Field, was, is; none where it was entered, for then all of it is new."""
    if not change.was:
        return []
    shape = _SHAPES.get(change.record.kind, Shape)
    return changed_fields(_named(change.was, change), _named(change.stands, change), shape)


def entry_line(change: EntryChange) -> str:
    """One sentence for paper: "In service to: none, now 1 Mar 2026"."""
    said = _("%(field)s: %(was)s, now %(stands)s")
    parts = [
        said % {"field": each.path, "was": each.before or _("none"), "stands": each.after or _("none")}
        for each in entry_differences(change)
    ]
    return f"{entry_words(change)}. {'; '.join(parts)}"


def _named(state: Mapping[str, Any], change: EntryChange) -> dict[str, Any]:
    """Ids as what they name, days as days."""
    return {field: _said(value, change.names) for field, value in state.items()}


def _said(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, str):
        on = day_in(value)
        return names.get(value) or (day(on) if on else value)
    return value
