"""Revisits as a viewer may see them, who goes, what is odd about those that are set, and what one attendance serves."""

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q, QuerySet

from fleet.assess.due.revisits import Together, served_together, technician_doubts
from fleet.assess.refusals import found
from fleet.models import Building, NoAccess, OccupierNotice, Person, Revisit, Role, User
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_people

# So many attempts without access are evidence of reasonable steps (common practice).
MANY_ATTEMPTS = 3
# What `who_words` asks of the person, and of the gas on the day.
OF_WHO_GOES = ("technician__qualifications", "technician__user__clients", "appliance__building__gas_supplies")


def visible_revisits(viewer: User) -> QuerySet[Revisit]:
    mine = Revisit.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "set_by", "technician__user").prefetch_related(*OF_WHO_GOES)


def technicians(viewer: User) -> QuerySet[Person]:
    """Who can be named to go."""
    return visible_people(viewer).filter(role=Role.TECHNICIAN).order_by("name", "id")


def nobody_named(viewer: User, today: date) -> QuerySet[Revisit]:
    """Set for a day to come, and nobody is named to go; the soonest first."""
    return visible_revisits(viewer).filter(day__gte=today, technician__isnull=True).order_by("day", "id")


def named_in_doubt(viewer: User, today: date, until: date) -> Iterator[Revisit]:
    """Set for a day up to `until`, and something speaks against who is named; the soonest first."""
    named = visible_revisits(viewer).filter(day__range=(today, until), technician__isnull=False)
    return (each for each in named.order_by("day", "id") if technician_doubts(each))


@dataclass(frozen=True)
class BuildingRevisits:
    """A building's proposals by attendance, the attempts without access, and what occupiers know."""

    building: Building
    today: date
    groups: Sequence[Together]
    attempts: Sequence[NoAccess]
    notices: Sequence[OccupierNotice]


def revisits_of_building(viewer: User, building_id: uuid.UUID, now: datetime) -> BuildingRevisits:
    """On the day that it is at the building. Raises NotFound where the viewer may not see it."""
    building = found(visible_buildings(viewer), building_id, "There is no such building that you may see.")
    today, mine = building.today(now), Q(appliance__building=building)
    attempts = NoAccess.objects.filter(mine).select_related("appliance", "by").prefetch_related("files")
    told = OccupierNotice.objects.filter(mine, day__gte=today).select_related("appliance", "by")
    return BuildingRevisits(
        building,
        today,
        served_together(visible_revisits(viewer).filter(mine), today),
        tuple(attempts[:50]),
        tuple(told[:50]),
    )
