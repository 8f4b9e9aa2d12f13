"""Required checks as a viewer may see them, when each falls due, and what a check on some day would do to each."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import with_facts
from fleet.assess.refusals import found
from fleet.coded import wrong
from fleet.errors import FleetError
from fleet.intervals import WhatIf, what_if
from fleet.models import Appliance, Building, RequiredCheck, User
from fleet.models.appliances import not_gone
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_appliances


def visible_required_checks(viewer: User) -> QuerySet[RequiredCheck]:
    mine = RequiredCheck.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "decided_by")


def standing_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Those that have not ended, of appliances that have not left, with the client they are for."""
    standing = visible_required_checks(viewer).filter(not_gone(day, "appliance__"), until__isnull=True)
    return standing.select_related("appliance__building__client", "decided_by")


def dated_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks whose date is certain: only these can be late."""
    return standing_required_checks(viewer, day).filter(due__isnull=False, cannot_tell=[])


def undecided_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks whose date rests on a fact that nobody has recorded."""
    return standing_required_checks(viewer, day).exclude(cannot_tell=[])


def suspended_required_checks(viewer: User, day: date) -> QuerySet[RequiredCheck]:
    """Standing required checks of appliances that are out of use: nothing is due until their restart."""
    return standing_required_checks(viewer, day).filter(suspended_since__isnull=False).order_by("suspended_since", "id")


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
    appliance = found(visible_appliances(viewer), appliance_id, "There is no such appliance that you may see.")
    return _suppose(viewer, appliance.building, appliance, day, now)


def what_if_building(viewer: User, building_id: uuid.UUID, day: date | None, now: datetime) -> Supposition:
    """Were everything in it checked on `day`; raises as for one appliance."""
    building = found(visible_buildings(viewer), building_id, "There is no such building that you may see.")
    return _suppose(viewer, building, None, day, now)


def _suppose(
    viewer: User, building: Building, appliance: Appliance | None, day: date | None, now: datetime
) -> Supposition:
    today = now.astimezone(ZoneInfo(building.time_zone)).date()
    asked = day or today
    if not today <= asked <= today + FURTHEST:
        errors = {"day": wrong("from_today_to", asked, today_on=today, last_on=today + FURTHEST)}
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
