"""The decision table by which an appliance's readings of a day are judged: for the phone before they are taken."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.combustion import FUELS
from fleet.limits import card
from fleet.models import Analyser, Appliance, LimitSetVersion, SheetVersion, StopLines
from fleet.queries.appliances import facts_of
from fleet.queries.limits import limit_set_versions_on, stop_lines_in_force


@dataclass(frozen=True)
class VersionedCard:
    """The table and the versions it was compiled from."""

    table: dict[str, Any]
    sheet: SheetVersion | None
    limit_sets: tuple[LimitSetVersion, ...]
    stop_lines: StopLines


def card_for(appliance: Appliance, day: date, analyser: Analyser | None = None, *, fuel: str = "") -> VersionedCard:
    """Sheet, limit sets attached on that day, stop lines in force and analyser, compiled into one table.

    fuel: what burnt at the visit, where that is not what the appliance burns today.
    """
    sheet = appliance.sheet.current if appliance.sheet else None
    limit_sets = limit_set_versions_on(appliance, day)
    stop_lines = stop_lines_in_force()
    table = card(
        _sheet(sheet),
        [_limit_set(each) for each in limit_sets],
        _analyser(analyser),
        fuel=FUELS[fuel or appliance.burns],
        stop_lines=_stop_lines(stop_lines),
        facts=facts_of(appliance),
    )
    return VersionedCard(table, sheet, tuple(limit_sets), stop_lines)


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
    names = ("co_ppm_air_free", "ambient_co_ppm", "ambient_co_rise_ppm", "co_rising_above_ppm")
    figures = {name: getattr(lines, name) for name in names}
    return {"id": "stop-lines", "version": lines.number, "evidence": "own"} | figures


def _analyser(analyser: Analyser | None) -> dict[str, Any] | None:
    if analyser is None:
        return None
    names = ("name", "measures", "co2", "accuracy")
    return {"id": str(analyser.id)} | {name: getattr(analyser, name) for name in names}
