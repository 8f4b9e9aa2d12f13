"""What if it were done on this day: what a check would do to every required check of an appliance, or of a building."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import with_facts
from fleet.errors import FleetError, NotFound
from fleet.intervals import WhatIf, what_if
from fleet.models import Appliance, Building, RequiredCheck, User
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_appliances
from fleet.queries.required_checks import standing_required_checks

FURTHEST = timedelta(days=3660)


@dataclass(frozen=True)
class Supposed:
    """A required check, as it would stand on the day, and what a check that counts for it would do."""

    required_check: RequiredCheck
    answer: WhatIf


@dataclass(frozen=True)
class Supposition:
    """Every required check that will stand on `day`, soonest first. today: the building's; appliance: where one was
    asked for.
    """

    building: Building
    appliance: Appliance | None
    today: date
    day: date
    required_checks: tuple[Supposed, ...]


def what_if_appliance(viewer: User, appliance_id: uuid.UUID, day: date | None, now: datetime) -> Supposition:
    """Were it checked on `day`, today where none is given. NotFound; FleetError `invalid` for a day not asked about."""
    appliance = visible_appliances(viewer).filter(id=appliance_id).first()
    if appliance is None:
        raise NotFound("not_found", "There is no such appliance that you may see.")
    return _suppose(viewer, appliance.building, appliance, day, now)


def what_if_building(viewer: User, building_id: uuid.UUID, day: date | None, now: datetime) -> Supposition:
    """Were everything in it checked on `day`; raises as for one appliance."""
    building = visible_buildings(viewer).filter(id=building_id).first()
    if building is None:
        raise NotFound("not_found", "There is no such building that you may see.")
    return _suppose(viewer, building, None, day, now)


def _suppose(
    viewer: User, building: Building, appliance: Appliance | None, day: date | None, now: datetime
) -> Supposition:
    today = now.astimezone(ZoneInfo(building.time_zone)).date()
    asked = day or today
    if not today <= asked <= today + FURTHEST:
        errors = {"day": f"is {asked}; it must be from {today}, today there, to {today + FURTHEST}"}
        raise FleetError("invalid", "That day can't be asked about.", errors=errors)
    standing = _standing(viewer, building, appliance, asked)
    supposed = [_supposed(each, asked) for each in calculate((required_check, asked) for required_check in standing)]
    return Supposition(building, appliance, today, asked, tuple(sorted(supposed, key=_soonest)))


def _standing(viewer: User, building: Building, appliance: Appliance | None, day: date) -> list[RequiredCheck]:
    required_checks = standing_required_checks(viewer, day).filter(appliance__building=building, since__lte=day)
    return with_facts(required_checks.filter(appliance=appliance) if appliance else required_checks)


def _supposed(calculated: Calculated, day: date) -> Supposed:
    required_check = calculated.required_check
    start = max(required_check.since, required_check.appliance.in_service_from)
    answer = what_if(
        required_check.rule, calculated.history, day, start=start, facts=calculated.facts, before=calculated.due
    )
    return Supposed(required_check, answer)


def _soonest(supposed: Supposed) -> tuple[date, str, str]:
    return supposed.answer.before.due or date.max, supposed.required_check.name, str(supposed.required_check.id)
