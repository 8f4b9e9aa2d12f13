"""The decision table by which an appliance's readings of a day are judged, and the versions that were in force then."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import FloatField, Q, QuerySet

from fleet.limits import Band, Card, band, card
from fleet.models import (
    Analyser,
    Appliance,
    LimitSetAssignment,
    LimitSetVersion,
    Record,
    SheetVersion,
    StopLevels,
    Visit,
)


@dataclass(frozen=True)
class VersionedCard:
    """The table and the versions it was compiled from."""

    table: Card
    sheet: SheetVersion | None
    limit_sets: tuple[LimitSetVersion, ...]
    stop_levels: StopLevels


def card_for(
    appliance: Appliance,
    day: date,
    analyser: Analyser | None = None,
    *,
    visit: Visit | None = None,
    instead: SheetVersion | LimitSetVersion | None = None,
) -> VersionedCard:
    """Sheet, assigned limit sets and stop levels as they were in force on that day, and analyser, in one table.

    visit: whose record says what burnt and which sheet the appliance had, where that is not so today. instead: a
    version, also one that isn't stored, in the place of the day's version of the same sheet or set.
    """
    sheet = _sheet_on(appliance, day, visit)
    if isinstance(instead, SheetVersion):
        sheet = instead
    limit_sets = limit_set_versions_on(appliance, day)
    if isinstance(instead, LimitSetVersion):
        limit_sets = [instead if each.limit_set_id == instead.limit_set_id else each for each in limit_sets]
    stop_levels = stop_levels_on(day, appliance.building.time_zone)
    table = card(
        _sheet(sheet),
        [_limit_set(each) for each in limit_sets],
        _analyser(analyser, day),
        fuel=visit.burnt if visit else appliance.burns_on(day).fuel,
        stop_levels=_stop_levels(stop_levels),
        facts=_facts(appliance, sheet),
    )
    return VersionedCard(table, sheet, tuple(limit_sets), stop_levels)


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
    return dict(version.content) | {"id": str(version.sheet_id), "version": version.number, "name": version.sheet.name}


def _limit_set(version: LimitSetVersion) -> dict[str, Any]:
    return dict(version.content) | {
        "id": version.limit_set.key,
        "version": version.number,
        "name": version.limit_set.name,
        "status": "reviewed" if version.is_reviewed else "unreviewed",
        "reviewed_by": version.reviewed_by,
    }


def _stop_levels(levels: StopLevels) -> dict[str, Any]:
    """Every figure that they hold. They are the contractor's own, whatever source speaks for them."""
    names = [each.name for each in StopLevels._meta.fields if isinstance(each, FloatField)]
    figures = {name: getattr(levels, name) for name in names}
    return {"id": "stop-levels", "version": levels.number, "evidence": "own"} | figures


def _analyser(analyser: Analyser | None, day: date) -> dict[str, Any] | None:
    """What it measures, and how well: its stated accuracy counts while a calibration is in force."""
    if analyser is None:
        return None
    named = {name: getattr(analyser, name) for name in ("name", "measures", "co2")}
    return {"id": str(analyser.id), **named, "accuracy": analyser.accuracy if analyser.calibration_on(day) else {}}


@dataclass(frozen=True)
class Target:
    """A target of a sheet, in O2 or CO2; casing "open", "closed" or "any"."""

    quantity: str
    rate: str
    casing: str
    band: Band


def targets_of(sheet: Mapping[str, Any], rate: str | None = None) -> list[Target]:
    """Of one rate, or of all."""
    return [_target(**each) for each in sheet.get("targets", ()) if rate in (None, each["rate"])]


def _target(
    *, quantity: str, rate: str, tolerance_basis: str, casing: str = "any", tolerance: Any = None, **figures: Any
) -> Target:
    value, ends = figures.get("value"), {end: figures.get(end) for end in ("lower", "upper")}
    return Target(quantity, rate, casing, band(value, tolerance, basis=tolerance_basis, **ends))


def target_of(sheet: Mapping[str, Any], rate: str) -> Target | None:
    """The sheet's target at this rate; with the casing closed where it has both states."""
    return min(targets_of(sheet, rate), key=lambda each: each.casing == "open", default=None)


def sheet_content(sheet: SheetVersion | None) -> dict[str, Any]:
    """What the sheet asks for; nothing where there is none."""
    return dict(sheet.content) if sheet else {}


Version = TypeVar("Version", SheetVersion, LimitSetVersion, StopLevels)


def version_of_day(versions: Iterable[Version], day: date, time_zone: str) -> Version | None:
    """The newest version that had come in by that day at the building; the earliest where none had.

    None had where old paper is entered: the first version is what was known of that time. The versions' records
    must be at hand, or each asks the database for its own.
    """
    zone = ZoneInfo(time_zone)
    known = sorted(versions, key=lambda each: each.number)
    in_force = [each for each in known if each.record.received_at.astimezone(zone).date() <= day]
    return next(iter(in_force[-1:] or known[:1]), None)


def assignments_of(appliance: Appliance) -> QuerySet[LimitSetAssignment]:
    """Every assignment that reaches the appliance: its own, its building's, its client's."""
    building = appliance.building
    place = Q(appliance=appliance) | Q(building=building) | Q(client=building.client_id)
    return LimitSetAssignment.objects.filter(place).select_related("limit_set")


def limit_set_versions_on(appliance: Appliance, day: date) -> list[LimitSetVersion]:
    """Of each set that is assigned on that day, the version in force then, by the set's key."""
    in_force = assignments_of(appliance).filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
    versions: dict[UUID, list[LimitSetVersion]] = defaultdict(list)
    assigned = LimitSetVersion.objects.filter(limit_set__in=in_force.values("limit_set"))
    for each in assigned.select_related("limit_set", "record").defer("record__content"):
        versions[each.limit_set_id].append(each)
    of_day = [version_of_day(each, day, appliance.building.time_zone) for each in versions.values()]
    return sorted((each for each in of_day if each), key=lambda each: each.limit_set.key)


def stop_levels_on(day: date, time_zone: str) -> StopLevels:
    """The contractor's lines in force on that day. There always are some: the installation begins with them."""
    known = StopLevels.objects.select_related("record").defer("record__content")
    lines = version_of_day(known, day, time_zone)
    if lines is None:
        raise StopLevels.DoesNotExist
    return lines


def assignments_in_force(day: date) -> QuerySet[LimitSetAssignment]:
    return LimitSetAssignment.objects.filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)
