"""The decision table by which an appliance's readings of a day are judged: for the phone before they are taken."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import FloatField

from fleet.combustion import FUELS
from fleet.limits import card
from fleet.models import Analyser, Appliance, LimitSetVersion, SheetVersion, StopLines
from fleet.queries.limits import limit_set_versions_on, stop_lines_on
from fleet.queries.versions import version_of_day


@dataclass(frozen=True)
class VersionedCard:
    """The table and the versions it was compiled from."""

    table: dict[str, Any]
    sheet: SheetVersion | None
    limit_sets: tuple[LimitSetVersion, ...]
    stop_lines: StopLines


def card_for(appliance: Appliance, day: date, analyser: Analyser | None = None, *, fuel: str = "") -> VersionedCard:
    """Sheet, attached limit sets and stop lines as they were in force on that day, and analyser, in one table.

    fuel: what burnt at the visit, where that is not what the appliance burns today.
    """
    sheet = _sheet_on(appliance, day)
    limit_sets = limit_set_versions_on(appliance, day)
    stop_lines = stop_lines_on(day, appliance.building.time_zone)
    table = card(
        _sheet(sheet),
        [_limit_set(each) for each in limit_sets],
        _analyser(analyser),
        fuel=FUELS[fuel or appliance.burns],
        stop_lines=_stop_lines(stop_lines),
        facts=_facts(appliance, sheet),
    )
    return VersionedCard(table, sheet, tuple(limit_sets), stop_lines)


def _sheet_on(appliance: Appliance, day: date) -> SheetVersion | None:
    if appliance.sheet_id is None:
        return None
    versions = SheetVersion.objects.filter(sheet=appliance.sheet_id).select_related("sheet", "record")
    return version_of_day(versions.defer("record__content"), day, appliance.building.time_zone)


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


def _analyser(analyser: Analyser | None) -> dict[str, Any] | None:
    if analyser is None:
        return None
    names = ("name", "measures", "co2", "accuracy")
    return {"id": str(analyser.id)} | {name: getattr(analyser, name) for name in names}
