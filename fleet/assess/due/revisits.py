"""What one attendance can serve, who can't go on the day that is set, and what its occupier knows."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from fleet.coded import Coded, coded
from fleet.models import Building, OccupierNotice, Revisit, Role, User
from fleet.models.people import fuel_kind


def technician_doubts(revisit: Revisit) -> tuple[Coded, ...]:
    """Why whoever is named may not be able to do the work on that day, or not know of it; by the register of now."""
    person, day = revisit.technician, revisit.day
    if person is None or day is None:
        return ()
    kind = fuel_kind(revisit.appliance.burns_on(day).name)
    doubts = []
    if person.role != Role.TECHNICIAN:
        doubts.append(coded("no_technician", name=person.name))
    if not person.is_qualified(kind, day):
        doubts.append(coded("not_qualified", name=person.name, kind=kind, day=day))
    if person.user and not _sees(person.user, revisit.appliance.building):
        doubts.append(coded("not_in_calendar", name=person.name))
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


def standing_notice(revisit: Revisit, today: date) -> OccupierNotice | None:
    """The newest notice, while its day is still to come."""
    newest = OccupierNotice.objects.filter(appliance=revisit.appliance_id).order_by("-recorded_at", "-id").first()
    return newest if newest and newest.day >= today else None
