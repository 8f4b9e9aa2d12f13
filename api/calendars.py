"""Calendar links: secret places from which a calendar program reads a technician's or a client's days."""

import uuid
from typing import Annotated, Any

from django.db.models import Q
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import NO_STORE, ActDoor, Door, ListDoor, OneDoor, version_named
from api.fields import Reference
from api.filters import yes_no
from api.people import refuse_token, refuse_unless_shown
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, Shape
from fleet.models import CalendarLink
from fleet.presentation import addresses
from fleet.queries.calendars import calendar_clients, may_have_calendar, visible_addresses
from fleet.services.calendars import make_address, renew_address, revoke_address


class CalendarLinkIn(Shape):
    """Either a person or a client."""

    user: Annotated[Any, Reference(may_have_calendar, null=True)] = LEFT_OUT
    client: Annotated[Any, Reference(calendar_clients, null=True)] = LEFT_OUT


class CalendarLinkOut(RowOut):
    row, columns = CalendarLink, "id client made_by made_at revoked_at revoked_by version"
    user = serializers.UUIDField(source="user_id", allow_null=True)


class NewCalendarLinkOut(CalendarLinkOut):
    address = serializers.CharField(help_text="Shown this once. Whoever has it reads the calendar without logging in.")


def with_address(door: Door, made: tuple[Any, str], status: int) -> Response:
    entry, secret = made
    entry.address = addresses.whole(addresses.calendar_feed(secret))  # for this one answer
    return door.shown(entry, status, shape=NewCalendarLinkOut, **NO_STORE)


class CalendarLinks(ListDoor):
    """Your own; in the office also those of technicians and of clients. A technician's has the days that name them:
    where another is named, the event is cancelled in the one and stands in the other. Somebody's in the office has all
    days that are set, and who goes; a client's what is proposed and set, and the last days of its required checks.

    Made and renewed by one who is logged in and has shown in the last five minutes that it is them, not by a token: a
    link outlives it, and shows all that its owner may see.

    iCalendar (RFC 5545), asked for as often as the program likes, at most 60 times an hour; ETag and If-None-Match save
    the rest."""

    subject, query = "calendars", visible_addresses
    shape_in, shape_out, shape_made, makes = CalendarLinkIn, CalendarLinkOut, NewCalendarLinkOut, True
    filters = (yes_no("open", Q(revoked_at__isnull=True), "Not revoked."),)

    def post(self, request: Request) -> Response:
        """A new address. A retry makes another; revoke the one that you don't use."""
        refuse_token(request)
        given = self.taken()
        refuse_unless_shown(request)
        made = make_address(user=given.get("user"), client=given.get("client"), actor=self.viewer, now=clock.now())
        return with_address(self, made, 201)


class OneCalendarLink(OneDoor):
    """One address, without its secret."""

    subject, query, shape_out = "calendars", visible_addresses, CalendarLinkOut


class RenewCalendarLink(Door):
    """Another secret for the same calendar; the one before opens nothing any more."""

    subject, query, shape_out, versioned = "calendars", visible_addresses, NewCalendarLinkOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        refuse_token(request)
        link, version = self.one(), version_named(request)
        refuse_unless_shown(request)
        made = renew_address(address=link, version=version, actor=self.viewer, now=clock.now())
        return with_address(self, made, 200)


class RevokeCalendarLink(ActDoor):
    """It opens nothing from now on."""

    subject, query, shape_out, versioned = "calendars", visible_addresses, CalendarLinkOut, True

    def act(self, thing: CalendarLink, version: int, said: dict[str, Any]) -> CalendarLink:
        return revoke_address(address=thing, version=version, actor=self.viewer, now=clock.now())
