"""Buildings and clients, as a viewer may see them: each at a glance, and one with all that stands in it."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, IntegerField, OuterRef, QuerySet, Subquery

from fleet.assess.appliances import by_appliance
from fleet.assess.refusals import found
from fleet.models import Appliance, Building, Flag, FlueGroup, Revisit, User, Visit
from fleet.models.appliances import not_gone
from fleet.models.revisits import late_on
from fleet.queries.access import visible_clients
from fleet.queries.register import visible_appliances, visible_flue_groups


@dataclass(frozen=True)
class ApplianceState:
    """An appliance as it stands: newest visit, open flags with the gravest kinds first, and its revisit."""

    appliance: Appliance
    last: Visit | None
    flags: tuple[Flag, ...]
    revisit: Revisit | None


@dataclass(frozen=True)
class BuildingFacts:
    building: Building
    appliances: tuple[ApplianceState, ...]
    flue_groups: tuple[FlueGroup, ...]


def visible_buildings(viewer: User) -> QuerySet[Building]:
    known = Building.objects.filter(client__in=visible_clients(viewer))
    return known.select_related("client").prefetch_related("gas_supplies")


def buildings_at_a_glance(viewer: User, day: date) -> QuerySet[Building]:
    """Each with `appliance_count` (not gone on this day), `flag_count` (open), `next_revisit` or None, and `is_late`
    where one of its appliances is."""
    flags = Flag.objects.filter(appliance__building=OuterRef("pk"), closed_at__isnull=True)
    standing = Appliance.objects.filter(not_gone(day), building=OuterRef("pk"))
    revisits = Revisit.objects.filter(appliance__building=OuterRef("pk")).order_by("latest", "id")
    return visible_buildings(viewer).annotate(
        appliance_count=_count(standing, "building"),
        flag_count=_count(flags, "appliance__building"),
        next_revisit=Subquery(revisits.values("latest")[:1]),
        is_late=Exists(revisits.filter(late_on(day))),
    )


def building_for(viewer: User, building_id: uuid.UUID) -> BuildingFacts:
    """Raises NotFound where the viewer may not see it."""
    building = found(visible_buildings(viewer), building_id, "There is no such building that you may see.")
    appliances = list(visible_appliances(viewer).filter(building=building).order_by("name", "id"))
    last, flags = _last_visits(appliances), _open_flags(appliances)
    revisits = {each.appliance_id: each for each in Revisit.objects.filter(appliance__in=appliances)}
    states = (
        ApplianceState(each, last.get(each.id), tuple(flags[each.id]), revisits.get(each.id)) for each in appliances
    )
    groups = visible_flue_groups(viewer).filter(building=building).prefetch_related("appliances")
    return BuildingFacts(building, tuple(states), tuple(groups))


def _count(rows: QuerySet[Appliance] | QuerySet[Flag], by: str) -> Subquery:
    # Counted in a query of its own: joined, appliances and flags would multiply each other.
    counted = rows.order_by().values(by).annotate(count=Count("pk")).values("count")
    return Subquery(counted, output_field=IntegerField())


def _last_visits(appliances: Iterable[Appliance]) -> dict[uuid.UUID, Visit]:
    visits = Visit.objects.filter(appliance__in=appliances).select_related("judgement", "signed_by")
    plain = visits.defer("judgement__card", "judgement__derived")
    return {each.appliance_id: each for each in plain.order_by("local_date", "id")}


_GRAVEST_FIRST = [Flag.Kind.UNSAFE, Flag.Kind.STOP, Flag.Kind.OUTSIDE, Flag.Kind.DRIFT]


def _open_flags(appliances: Iterable[Appliance]) -> dict[uuid.UUID, list[Flag]]:
    standing = Flag.objects.filter(appliance__in=appliances, closed_at__isnull=True).order_by("opened_at", "id")
    return by_appliance(sorted(standing, key=lambda flag: _GRAVEST_FIRST.index(Flag.Kind(flag.kind))))
