"""Which required checks appliances are under, which a limit set puts on them, and which of these are missing."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from fleet.assess.appliances import with_places
from fleet.assess.due.set_rules import SetRule, set_rules
from fleet.models import Appliance, Building, LimitSetAssignment, LimitSetVersion, RequiredCheck
from fleet.models.appliances import not_gone


def standing_of(appliance: Appliance) -> QuerySet[RequiredCheck]:
    """Its required checks that have not ended."""
    return RequiredCheck.objects.filter(appliance=appliance, until__isnull=True)


def own_required_checks(appliance: Appliance) -> QuerySet[RequiredCheck]:
    """Its contract's and manufacturer's required checks that stand: those that no limit set puts on it."""
    return standing_of(appliance).filter(assignment__isnull=True, source__in=("contract", "manufacturer"))


def in_force_on(
    required_checks: Iterable[RequiredCheck], days: dict[uuid.UUID, date]
) -> list[tuple[RequiredCheck, date]]:
    """The required checks that stood on their appliance's day, each with it."""
    dated = ((each, days[each.appliance_id]) for each in required_checks)
    return [(each, day) for each, day in dated if each.since <= day and (each.until is None or each.until >= day)]


def required_checks_of(appliance_ids: Iterable[uuid.UUID]) -> QuerySet[RequiredCheck]:
    """All required checks that these appliances are or were under, with the facts that their rules ask for."""
    related = RequiredCheck.objects.filter(appliance__in=set(appliance_ids)).select_related(
        "appliance__building__client", "appliance__sheet"
    )
    return related.prefetch_related("appliance__sheet__versions", "appliance__building__gas_supplies")


def with_facts(required_checks: QuerySet[RequiredCheck]) -> list[RequiredCheck]:
    """The same of many required checks at once: a query a table, and what many appliances have in common made once."""
    found = list(required_checks)
    return _each_with(found, with_places(Appliance.objects.filter(id__in={each.appliance_id for each in found})))


def required_checks_standing(appliances: Iterable[Appliance]) -> list[RequiredCheck]:
    """Those of these appliances that have not ended, each with the appliance as given: nothing of it is read again."""
    known = list(appliances)
    standing = RequiredCheck.objects.filter(appliance__in=[each.id for each in known], until__isnull=True)
    return _each_with(list(standing), known)


def _each_with(required_checks: list[RequiredCheck], appliances: Iterable[Appliance]) -> list[RequiredCheck]:
    known = {each.id: each for each in appliances}
    for required_check in required_checks:
        required_check.appliance = known[required_check.appliance_id]
    return required_checks


def appliances_reached(assignment: LimitSetAssignment, day: date) -> QuerySet[Appliance]:
    """In the assignment's place, and not gone on this day."""
    known = Appliance.objects.filter(not_gone(day))
    if assignment.appliance_id:
        return known.filter(id=assignment.appliance_id)
    if assignment.building_id:
        return known.filter(building=assignment.building_id)
    return known.filter(building__client=assignment.client_id)


def beginning(assignment: LimitSetAssignment, appliance: Appliance, rule: SetRule) -> RequiredCheck:
    """The required check that the assignment puts on the appliance, not stored; nobody has decided it yet."""
    return RequiredCheck(
        appliance=appliance,
        assignment=assignment,
        part=rule.part,
        name=rule.name,
        source="limit_set",
        rule=rule.rule,
        rule_since=assignment.since,
        required_fields=rule.required_fields,
        since=assignment.since,
        why=assignment.why,
    )


def day_at(assignment: LimitSetAssignment, now: datetime) -> date:
    """The day that it is in the assignment's place: of a client's buildings the earliest, without any the office's."""
    if building := assignment.building or (assignment.appliance and assignment.appliance.building):
        return building.today(now)
    zones = Building.objects.filter(client=assignment.client_id).order_by().values_list("time_zone", flat=True)
    days = (now.astimezone(ZoneInfo(each)).date() for each in set(zones))
    return min(days, default=timezone.localtime(now).date())


# From an assignment to the appliances that it reaches, by its place.
REACHED = ("appliance", "building__appliances", "client__buildings__appliances")


@dataclass(frozen=True)
class Missing:
    """The rule of the set assigned there asks for a required check of this appliance, and none stands."""

    assignment_id: uuid.UUID
    appliance_id: uuid.UUID
    rule: SetRule


def missing_required_checks(*, now: datetime) -> list[Missing]:
    """Of all assignments that stand and all appliances that may not have left; what a person ended is not missing."""
    by_part: dict[str, dict[uuid.UUID, SetRule]] = defaultdict(dict)
    for version in _newest_assigned():
        for rule in set_rules(version.limit_set, version.content):
            by_part[rule.part][version.limit_set_id] = rule
    return [
        Missing(assignment_id, appliance_id, rules[limit_set_id])
        for part, rules in by_part.items()
        for path in REACHED
        for assignment_id, limit_set_id, appliance_id in _without(part, rules, path, now)
    ]


def _newest_assigned() -> list[LimitSetVersion]:
    """The newest version of each set that applies somewhere."""
    assigned = LimitSetAssignment.objects.filter(until__isnull=True)
    newest = LimitSetVersion.objects.filter(limit_set=OuterRef("limit_set")).order_by("-number").values("id")[:1]
    known = LimitSetVersion.objects.filter(id=Subquery(newest), limit_set__in=assigned.values("limit_set"))
    return list(known.select_related("limit_set"))


def _without(
    part: str, rules: dict[uuid.UUID, SetRule], path: str, now: datetime
) -> list[tuple[uuid.UUID, uuid.UUID, uuid.UUID]]:
    """Assignment, its set, and an appliance that has no required check of this part by it."""
    earliest_anywhere = now.date() - timedelta(days=1)
    assigned = LimitSetAssignment.objects.filter(
        not_gone(earliest_anywhere, f"{path}__"), **{f"{path}__isnull": False}, until__isnull=True, limit_set__in=rules
    ).annotate(reached=F(path))
    stands = Q(until__isnull=True) | Q(ended_why=RequiredCheck.Ended.BY_HAND)
    there = RequiredCheck.objects.filter(stands, assignment=OuterRef("id"), appliance=OuterRef("reached"), part=part)
    found = assigned.filter(~Exists(there)).order_by("id", "reached")
    return list(found.values_list("id", "limit_set_id", "reached"))
