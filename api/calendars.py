"""Calendar links: secret places from which a calendar program reads a technician's or a client's days."""

import uuid

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.fields import Reference
from api.filters import yes_no
from api.shapes import RowOut
from api.versions import etag, version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer
from fleet.models import CalendarLink
from fleet.presentation import addresses
from fleet.queries.calendars import calendar_clients, may_have_calendar, visible_addresses
from fleet.services.calendars import make_address, renew_address, revoke_address


class CalendarLinkIn(StrictSerializer):
    """Either a person or a client."""

    user = Reference(may_have_calendar, required=False, allow_null=True)
    client = Reference(calendar_clients, required=False, allow_null=True)


class CalendarLinkOut(RowOut):
    row, columns = CalendarLink, "id client made_by made_at revoked_at revoked_by version"
    user = serializers.UUIDField(source="user_id", allow_null=True)


class NewCalendarLinkOut(CalendarLinkOut):
    address = serializers.CharField(help_text="Shown this once. Whoever has it reads the calendar without logging in.")


def with_address(made: tuple[CalendarLink, str], status: int) -> Response:
    entry, secret = made
    address = addresses.whole(addresses.calendar_feed(secret))
    entry.address = address  # type: ignore[attr-defined]  # for this one answer
    headers = {"Cache-Control": "no-store", "ETag": etag(entry.version)}
    return Response(NewCalendarLinkOut(entry).data, status=status, headers=headers)


class CalendarLinks(ListDoor):
    """Your own; in the office also those of technicians and of clients. A technician's has the days that name them:
    where another is named, the event is cancelled in the one and stands in the other. Somebody's in the office has all
    days that are set, and who goes; a client's what is proposed and set, and the last days of its required checks.

    iCalendar (RFC 5545), asked for as often as the program likes, at most 60 times an hour; ETag and If-None-Match save
    the rest."""

    subject, shape_in, shape_out, shape_made, makes = (
        "calendars",
        CalendarLinkIn,
        CalendarLinkOut,
        NewCalendarLinkOut,
        True,
    )
    filters = (yes_no("open", Q(revoked_at__isnull=True), "Not revoked."),)

    def rows(self) -> QuerySet[CalendarLink]:
        return visible_addresses(self.viewer)

    def post(self, request: Request) -> Response:
        """A new address. A retry makes another; revoke the one that you don't use."""
        given = self.taken()
        made = make_address(user=given.get("user"), client=given.get("client"), actor=self.viewer, now=clock.now())
        return with_address(made, 201)


class OneCalendarLink(Door):
    """One address, without its secret."""

    subject, shape_out = "calendars", CalendarLinkOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(visible_addresses(self.viewer), id))


class RenewCalendarLink(Door):
    """Another secret for the same calendar; the one before opens nothing any more."""

    subject, shape_out, versioned = "calendars", NewCalendarLinkOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        address = found(visible_addresses(self.viewer), id)
        return with_address(renew_address(address=address, version=version_named(request)), 200)


class RevokeCalendarLink(Door):
    """It opens nothing from now on."""

    subject, shape_out, versioned = "calendars", CalendarLinkOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        address = found(visible_addresses(self.viewer), id)
        version = version_named(request)
        revoked = revoke_address(address=address, version=version, actor=self.viewer, now=clock.now())
        return self.shown(revoked)
