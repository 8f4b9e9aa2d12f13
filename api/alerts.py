"""Alerts: who is told about a flag and when, who is on call, and how you want your own daily summary."""

import uuid
from typing import Annotated, Any

from django.db.models import Q
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, OneDoor, version_named
from api.fields import Reference, Said
from api.filters import by_id, yes_no
from api.people import refuse_token, refuse_unless_shown
from api.shapes import RowOut
from fleet import clock
from fleet.assess.due.alerts import alert_settings_of
from fleet.intake.fields import LEFT_OUT, Email, Shape, Text, Whole, YesNo
from fleet.models import Alert, AlertSettings, OnCall
from fleet.presentation.alerts import alert_failure_words, not_needed_words
from fleet.queries.alerts import may_be_on_call, on_call_list, visible_alerts
from fleet.queries.follow_ups import visible_flags
from fleet.services.alerts import change_on_call, change_own_alerts, put_on_call, take_off_call


class AlertOut(RowOut):
    row, columns = Alert, "id flag way due_at tries"
    user = serializers.UUIDField(source="user_id")
    name = serializers.CharField(source="user")
    round = serializers.IntegerField(help_text="0 is the first run through the list; each later one tells everybody.")
    sent_at = serializers.DateTimeField(allow_null=True, help_text="When the mail server took it; null: not yet.")
    failure = Said(alert_failure_words)
    not_needed = Said(not_needed_words, help_text="Why it was not sent, where it needn't be.")


class Alerts(ListDoor):
    """Who was told about an unsafe or stop-level flag and when, and who is next. Oldest plan first.

    Told at least once: a message may come twice, and its Message-ID says that it is the same.
    """

    subject, query, shape_out = "alerts", visible_alerts, AlertOut
    filters = (
        by_id("flag", "flag", visible_flags),
        yes_no("open", Q(sent_at__isnull=True, not_needed=""), "Still to be sent."),
    )


class OnCallIn(Shape):
    user: Annotated[Any, Reference(may_be_on_call)]
    after_minutes: Annotated[int, Whole(0, 240)]


class OnCallChange(Shape):
    after_minutes: Annotated[int, Whole(0, 240)]


class OnCallOut(RowOut):
    row, columns = OnCall, "id version"
    user = serializers.UUIDField(source="user_id")
    name = serializers.CharField(source="user")
    after_minutes = serializers.IntegerField(help_text="After the first who can be told, who is told at once.")


class OnCallList(ListDoor):
    """Who is told about unsafe and stop level, in which order; managers who are not on it are told a quarter of an hour
    after the last. Without a list, dispatchers and managers are told at once."""

    subject, query, shape_in, shape_out, makes = "on_call", on_call_list, OnCallIn, OnCallOut, True

    def post(self, request: Request) -> Response:
        """Put somebody on the list."""
        return self.shown(put_on_call(values=self.taken(), now=clock.now()), 201)


class OnCallEntry(OneDoor):
    """Somebody's place on the list."""

    subject, query, shape_in, shape_out, versioned = "on_call", on_call_list, OnCallChange, OnCallOut, True

    def patch(self, request: Request, id: uuid.UUID) -> Response:
        entry = self.one()
        version, minutes = version_named(request), self.taken()["after_minutes"]
        return self.shown(change_on_call(entry=entry, version=version, after_minutes=minutes))

    def delete(self, request: Request, id: uuid.UUID) -> Response:
        """Off the list."""
        take_off_call(entry=self.one(), version=version_named(request))
        return Response(status=204)


class OwnAlertsIn(Shape):
    email: Annotated[str, Email(blank=True)] = LEFT_OUT
    daily_summary: Annotated[bool, YesNo(under="daily_summary")] = LEFT_OUT
    hour: Annotated[int, Whole(0, 23)] = LEFT_OUT
    time_zone: Annotated[str, Text(64, blank=True)] = LEFT_OUT


class OwnAlertsOut(RowOut):
    row, columns, told_by = AlertSettings, "daily_summary daily_summary_sent_at version", OwnAlertsIn
    email = serializers.CharField(source="user.email", help_text="Where you are told; empty: nowhere.")
    hour = serializers.IntegerField(help_text="From which hour of your own day the daily summary is sent.")
    time_zone = serializers.CharField(help_text="Whose day that is; empty: the office's.")


class OwnAlerts(Door):
    """Your own address, and the daily summary: sent to dispatchers and managers, and only where something is new.
    The address is changed by one who is logged in, not a token, and has shown in the last five minutes that it is
    them."""

    subject, shape_in, shape_out, versioned = "own_alerts", OwnAlertsIn, OwnAlertsOut, True

    def get(self, request: Request) -> Response:
        return self.shown(alert_settings_of(self.viewer))

    def patch(self, request: Request) -> Response:
        version, changes = version_named(request), self.taken(partial=True)
        if "email" in changes:
            refuse_token(request)  # a forgotten password's link goes there
        if changes.get("email", self.viewer.email) != self.viewer.email:
            refuse_unless_shown(request)
        changed: AlertSettings = change_own_alerts(user=self.viewer, version=version, changes=changes, now=clock.now())
        return self.shown(changed)
