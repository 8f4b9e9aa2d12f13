"""The decision table by which an appliance's readings of a day are judged, and the fields of the record that a visit is
to fill: for the phone before anything is read."""

import json
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import FloatField
from django.utils.translation import gettext as _

from fleet.limits import card
from fleet.models import Analyser, Appliance, Flag, LimitSetVersion, Record, SheetVersion, StopLines, Visit
from fleet.queries.answers import answered_by_register
from fleet.queries.appliances import facts_of
from fleet.queries.limits import limit_set_versions_on, stop_lines_on
from fleet.queries.record_fields import asked_of
from fleet.queries.versions import version_of_day


@dataclass(frozen=True)
class VersionedCard:
    """The table and the versions it was compiled from."""

    table: dict[str, Any]
    sheet: SheetVersion | None
    limit_sets: tuple[LimitSetVersion, ...]
    stop_lines: StopLines


def card_for(
    appliance: Appliance,
    day: date,
    analyser: Analyser | None = None,
    *,
    visit: Visit | None = None,
    instead: SheetVersion | LimitSetVersion | None = None,
) -> VersionedCard:
    """Sheet, attached limit sets and stop lines as they were in force on that day, and analyser, in one table.

    visit: whose record says what burnt and which sheet the appliance had, where that is not so today. instead: a
    version, also one that isn't stored, in the place of the day's version of the same sheet or set.
    """
    sheet = _sheet_on(appliance, day, visit)
    if isinstance(instead, SheetVersion):
        sheet = instead
    limit_sets = limit_set_versions_on(appliance, day)
    if isinstance(instead, LimitSetVersion):
        limit_sets = [instead if each.limit_set_id == instead.limit_set_id else each for each in limit_sets]
    stop_lines = stop_lines_on(day, appliance.building.time_zone)
    table = card(
        _sheet(sheet),
        [_limit_set(each) for each in limit_sets],
        _analyser(analyser, day),
        fuel=visit.burnt if visit else appliance.burns_on(day).fuel,
        stop_lines=_stop_lines(stop_lines),
        facts=_facts(appliance, sheet),
    )
    return VersionedCard(table, sheet, tuple(limit_sets), stop_lines)


def _sheet_on(appliance: Appliance, day: date, visit: Visit | None) -> SheetVersion | None:
    sheet_id = appliance.sheet_id if visit is None else visit.sheet_id or _unnamed(visit, appliance)
    if sheet_id is None:
        return None
    versions = SheetVersion.objects.filter(sheet=sheet_id).select_related("sheet", "record")
    return version_of_day(versions.defer("record__content"), day, appliance.building.time_zone)


def _unnamed(visit: Visit, appliance: Appliance) -> UUID | None:
    """Of a visit whose record names no sheet: the appliance's, if records didn't name it yet; else it had none."""
    recorded = visit.record_id and Record.objects.filter(id=visit.record_id).values_list("content", flat=True).first()
    return None if recorded and "sheet" in json.loads(bytes(recorded))["site"] else appliance.sheet_id


def _facts(appliance: Appliance, sheet: SheetVersion | None) -> dict[str, object]:
    """What limits ask besides fuel and control, which the table takes from the fuel that burnt and the day's sheet."""
    output_kw = sheet.content.get("rated_output_kw") if sheet else None
    from_sheet = {} if output_kw is None else {"output_kw": float(output_kw)}
    return {"appliance": appliance.kind, **from_sheet, **appliance.facts}


def _sheet(version: SheetVersion | None) -> dict[str, Any] | None:
    if version is None:
        return None
    return dict(version.content) | {
        "id": str(version.sheet_id),
        "version": version.number,
        "name": version.sheet.name,
    }


def _limit_set(version: LimitSetVersion) -> dict[str, Any]:
    return dict(version.content) | {
        "id": version.limit_set.key,
        "version": version.number,
        "name": version.limit_set.name,
        "status": "reviewed" if version.is_reviewed else "unreviewed",
        "reviewed_by": version.reviewed_by,
    }


def _stop_lines(lines: StopLines) -> dict[str, Any]:
    """Every figure that the lines hold. They are the contractor's own, whatever source speaks for them."""
    names = [each.name for each in StopLines._meta.fields if isinstance(each, FloatField)]
    figures = {name: getattr(lines, name) for name in names}
    return {"id": "stop-lines", "version": lines.number, "evidence": "own"} | figures


def _analyser(analyser: Analyser | None, day: date) -> dict[str, Any] | None:
    """What it measures, and how well: its stated accuracy counts while a calibration is in force."""
    if analyser is None:
        return None
    named = {name: getattr(analyser, name) for name in ("name", "measures", "co2")}
    return {"id": str(analyser.id), **named, "accuracy": analyser.accuracy if analyser.calibration_on(day) else {}}


# ---- what the record is to hold ----


@dataclass(frozen=True)
class AskedField:
    """A field of the record that duties of the appliance ask for.

    mandatory_for, conditional_for: names of these duties; the latter ask for it only where `condition` holds.
    answered: the register answers it already. declared: nothing else in a visit answers it but the technician's own
    word, under this name. fires: reading it needs the burner to fire. how: what answers it.
    """

    name: str
    words: str
    mandatory_for: tuple[str, ...]
    conditional_for: tuple[str, ...]
    condition: str
    answered: bool
    declared: bool
    fires: bool
    how: str


@dataclass(frozen=True)
class Asked:
    """The union of the fields that the standing duties ask for. left_out: why those that need firing are not there."""

    fields: tuple[AskedField, ...]
    left_out: str


def asked_of_visit(appliance: Appliance, day: date) -> Asked:
    """What a visit of that day is to fill, so that each duty which is not yet done or suspended can be discharged.

    An appliance that was stopped for safety is not to be fired again: nothing is asked for that needs it.
    """
    standing = appliance.duties.filter(until__isnull=True, since__lte=day, suspended_since__isnull=True)
    open_ones = standing.exclude(regime="").exclude(due__isnull=True, cannot_tell="")
    needs = {each.name: each.regime for each in open_ones.order_by("due", "id")}
    stopped = _is_stopped(appliance)
    register, facts = answered_by_register(appliance), facts_of(appliance, day)
    fields = tuple(
        AskedField(
            name=each.name,
            words=each.words,
            mandatory_for=tuple(always),
            conditional_for=tuple(sometimes),
            condition=each.condition_words if sometimes else "",
            answered=each.name in register,
            declared=each.may_be_declared,
            fires=each.fires,
            how=each.how,
        )
        for each, always, sometimes in asked_of(needs)
        if not (stopped and each.fires)
        if always or "fact" not in each.condition or facts.get(each.condition["fact"]) is not False
    )
    return Asked(fields, _("Stopped for safety: nothing is asked for that needs it to fire.") if stopped else "")


def _is_stopped(appliance: Appliance) -> bool:
    """Called unsafe or left at a stop level, and nobody has closed that."""
    standing = appliance.flags.filter(kind__in=(Flag.Kind.UNSAFE, Flag.Kind.STOP), closed_at__isnull=True)
    return any(not each.figures.get("put_right") for each in standing)
