"""Revisits as a viewer may see them, who goes, what is odd about those that are set, and what one attendance serves."""

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from fleet.errors import NotFound
from fleet.models import Building, NoAccess, OccupierNotice, Person, Revisit, Role, User
from fleet.models.people import fuel_kind
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.people import visible_people

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


def needed_earlier(viewer: User) -> QuerySet[Revisit]:
    """Set for a day, and a reason has come up that ends before it."""
    return visible_revisits(viewer).filter(day__isnull=False, latest__lt=F("day")).order_by("latest", "id")


def passed_by(viewer: User, today: date) -> QuerySet[Revisit]:
    """Set for a day that is over, and nobody got to the appliance."""
    return visible_revisits(viewer).filter(day__lt=today).order_by("day", "id")


def nobody_named(viewer: User, today: date) -> QuerySet[Revisit]:
    """Set for a day to come, and nobody is named to go; the soonest first."""
    return visible_revisits(viewer).filter(day__gte=today, technician__isnull=True).order_by("day", "id")


def named_in_doubt(viewer: User, today: date, until: date) -> Iterator[Revisit]:
    """Set for a day up to `until`, and something speaks against who is named; the soonest first."""
    named = visible_revisits(viewer).filter(day__range=(today, until), technician__isnull=False)
    return (each for each in named.order_by("day", "id") if technician_doubts(each))


def often_without_access(viewer: User) -> QuerySet[Revisit]:
    return visible_revisits(viewer).filter(no_access__gte=MANY_ATTEMPTS).order_by("-no_access", "id")


def beyond_words(revisit: Revisit, a_week: int) -> str:
    """Which risk is accepted by not coming for drift; empty where an extra visit is made or none is asked for."""
    if revisit.extra != Revisit.Extra.BEYOND or revisit.accepted_until is None:
        return ""
    said = {
        "count": a_week,
        "chance": one_in(revisit.accepted_risk or 0.0),
        "day": f"{revisit.accepted_until:%Y-%m-%d}",
    }
    return _("Beyond the %(count)d extra visits a week; accepted risk: %(chance)s before %(day)s.") % said


def one_in(chance: float) -> str:
    """
    >>> one_in(0.25), one_in(0.1), one_in(0.7), one_in(0.0)
    ('one chance in 4', 'one chance in 10', '70 chances in 100', 'less than one chance in 100')
    """
    if chance < 0.01:
        return _("less than one chance in 100")
    if chance > 0.5:
        return _("%d chances in 100") % round(100 * chance)
    return _("one chance in %d") % round(1 / chance)


def set_words(revisit: Revisit, today: date) -> str:
    """What a person has set, and what is odd about it by now; empty for a mere proposal."""
    if revisit.day is None:
        return ""
    said = {"state": revisit.get_state_display().capitalize(), "day": f"{revisit.day:%Y-%m-%d}"}
    said["latest"] = f"{revisit.latest:%Y-%m-%d}"
    if revisit.has_passed(today):
        return _("%(state)s for %(day)s; the day is over and nobody got to it.") % said
    if revisit.needed_before_its_day and revisit.latest < today:
        return _("%(state)s for %(day)s, though needed by %(latest)s, which is over.") % said
    if revisit.needed_before_its_day:
        return _("%(state)s for %(day)s, now needed by %(latest)s.") % said
    return _("%(state)s for %(day)s.") % said


def who_words(revisit: Revisit) -> str:
    """Who goes on the day that is set, and what speaks against it; empty for a mere proposal."""
    if revisit.day is None:
        return ""
    if revisit.technician is None:
        return _("Nobody is named to go.")
    return " ".join((_("%s goes.") % revisit.technician.name, *technician_doubts(revisit)))


def technician_doubts(revisit: Revisit) -> tuple[str, ...]:
    """Why whoever is named may not be able to do the work on that day, or not know of it; by the register of now."""
    person, day = revisit.technician, revisit.day
    if person is None or day is None:
        return ()
    kind = fuel_kind(revisit.appliance.burns_on(day).name)
    said = {"name": person.name, "kind": kind, "day": f"{day:%Y-%m-%d}"}
    doubts = []
    if person.role != Role.TECHNICIAN:
        doubts.append(_("%(name)s is no technician of the register any more.") % said)
    if not person.is_qualified(kind, day):
        doubts.append(_("%(name)s has no qualification for %(kind)s in force on %(day)s.") % said)
    if person.user and not _sees(person.user, revisit.appliance.building):
        doubts.append(_("The account of %(name)s may not see this client, so the day is not in their calendar.") % said)
    return tuple(doubts)


def _sees(user: User, building: Building) -> bool:
    """As `visible_clients` has it, from what was read with the revisits."""
    return user.is_active and (user.sees_all_clients or building.client_id in {each.id for each in user.clients.all()})


# ---- one attendance for several ----


@dataclass(frozen=True)
class Together:
    """Proposals of one building that one attendance can serve, and the days that are left to it.

    begins, ends : from today on; a day in between costs no anniversary and is late for none that isn't late already.
    """

    revisits: tuple[Revisit, ...]
    begins: date
    ends: date

    @property
    def words(self) -> str:
        said = {"begins": f"{self.begins:%Y-%m-%d}", "ends": f"{self.ends:%Y-%m-%d}"}
        if len(self.revisits) == 1:
            one_day, several = _("By itself on %(ends)s."), _("By itself from %(begins)s to %(ends)s.")
        else:
            one_day = _("Together on %(ends)s; costs no anniversary.")
            several = _("Together from %(begins)s to %(ends)s; costs no anniversary.")
        return (one_day if self.begins == self.ends else several) % said


def served_together(revisits: Iterable[Revisit], today: date) -> list[Together]:
    """The fewest attendances for these proposals, by their windows; the soonest last day first.

    A window is from the day on which coming costs no anniversary to the last day; the day that is set where one is;
    today where that is over. The proposal that ends first takes with it all that are open by then: of intervals no
    other choice needs fewer points (interval stabbing, by earliest right end).
    """
    windows = sorted(((*_window(each, today), each) for each in revisits), key=lambda each: (each[1], str(each[2].id)))
    groups: list[Together] = []
    while windows:
        ends = windows[0][1]
        served = [each for each in windows if each[0] <= ends]
        windows = [each for each in windows if each[0] > ends]
        groups.append(Together(tuple(each[2] for each in served), max(each[0] for each in served), ends))
    return groups


def _window(revisit: Revisit, today: date) -> tuple[date, date]:
    if revisit.day is not None:
        day = max(revisit.day, today)
        return day, day
    return max(revisit.earliest, today), max(revisit.latest, today)


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
    building = visible_buildings(viewer).filter(id=building_id).first()
    if building is None:
        raise NotFound("not_found", "There is no such building that you may see.")
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
