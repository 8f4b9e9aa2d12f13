"""Calendar links as somebody may see them, and the events of one: dated things of a technician or of a client."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Q, QuerySet

from fleet.models import CalendarLink, Client, RequiredCheck, Revisit, Role, User
from fleet.models.access import may_see
from fleet.models.appliances import not_gone
from fleet.presentation.calendars import CalendarEvent, required_check_event, revisit_event
from fleet.presentation.revisits import who_words
from fleet.queries.access import visible_clients
from fleet.queries.revisits import visible_revisits


@dataclass(frozen=True)
class ShownEvent:
    """An event as an address shows it: its content, how often it has changed, and whether it is called off."""

    uid: str
    sequence: int
    changed_at: datetime
    is_cancelled: bool
    content: dict[str, Any]


def visible_addresses(viewer: User) -> QuerySet[CalendarLink]:
    """One's own; in the office also those of technicians, and those of the clients that one may see."""
    known = CalendarLink.objects.select_related("user", "client", "made_by", "revoked_by")
    if not may_see(viewer, "calendars"):
        return known.none()
    mine = Q(user=viewer)
    if may_see(viewer, "calendars_of_others"):
        mine |= Q(user__in=may_have_calendar(viewer)) | Q(client__in=visible_clients(viewer))
    return known.filter(mine).order_by("id")


def may_have_calendar(viewer: User) -> QuerySet[User]:
    """For whom somebody may make an address: oneself, from the office each technician of the same clients."""
    known = User.objects.filter(is_active=True)
    if not may_see(viewer, "calendars"):
        return known.none()
    if not may_see(viewer, "calendars_of_others"):
        return known.filter(id=viewer.id)
    technicians = Q(role=Role.TECHNICIAN)
    if not viewer.sees_all_clients:
        # One who also goes to clients that the viewer may not see would show their days.
        elsewhere = User.objects.filter(clients__in=Client.objects.exclude(id__in=visible_clients(viewer)))
        technicians &= Q(sees_all_clients=False, clients__in=visible_clients(viewer)) & ~Q(id__in=elsewhere)
    return known.filter(technicians | Q(id=viewer.id)).distinct().order_by("last_name", "username", "id")


def calendar_clients(viewer: User) -> QuerySet[Client]:
    """For which clients somebody may make an address."""
    return visible_clients(viewer) if may_see(viewer, "calendars_of_others") else Client.objects.none()


def address_for(secret_sha256: str) -> CalendarLink | None:
    """The address that this secret opens; None where it is unknown or revoked, or its person has left: one look-up."""
    standing = CalendarLink.objects.filter(revoked_at__isnull=True, secret_sha256=secret_sha256)
    return standing.filter(Q(user__isnull=True) | Q(user__is_active=True)).select_related("user", "client").first()


def events_for(address: CalendarLink, today: date) -> list[CalendarEvent]:
    """A client's feed has what is proposed and set for its appliances, and its required checks. A technician's has the
    days that name them, somebody's in the office all days that are set; both of the clients that they may see."""
    if address.client_id:
        revisits = Revisit.objects.filter(appliance__building__client=address.client_id)
        required_checks = RequiredCheck.objects.filter(
            not_gone(today, "appliance__"), appliance__building__client=address.client_id,
            until__isnull=True, due__isnull=False, cannot_tell=[],
        )  # fmt: skip
        found = [
            *(revisit_event(each) for each in revisits.select_related("appliance__building")),
            *(required_check_event(each) for each in required_checks.select_related("appliance__building")),
        ]
    else:
        assert address.user is not None  # by constraint of one or of the other
        # Whoever made the address may see less than the technician does by now.
        mine = visible_revisits(address.user).filter(appliance__building__client__in=visible_clients(address.made_by))
        if not may_see(address.user, "calendars_of_others"):
            mine = mine.filter(technician__user=address.user)
        found = [revisit_event(each, who_words(each)) for each in mine.filter(day__isnull=False)]
    return sorted(found, key=lambda each: (each.first, each.uid))
