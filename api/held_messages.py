"""Messages that could not be read, kept as they came until a person has mended them or put them aside."""

import uuid
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.filters import yes_no
from api.versions import version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import HeldMessage
from fleet.queries.records import all_held_messages
from fleet.services.visits import settle_held_message


class HeldMessageOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    errors = serializers.DictField(child=serializers.CharField())
    actor = serializers.CharField(help_text="Who sent it.")
    received_at = serializers.DateTimeField()
    settled_at = serializers.DateTimeField(allow_null=True)
    settled_by = serializers.CharField(allow_null=True)
    settled_how = serializers.CharField()
    version = serializers.IntegerField()


class WholeHeldMessageOut(HeldMessageOut):
    body = serializers.SerializerMethodField()
    body_hex = serializers.SerializerMethodField()

    def get_body(self, held: HeldMessage) -> str:
        """As text, with what isn't UTF-8 replaced."""
        return bytes(held.body).decode("utf-8", "replace")

    def get_body_hex(self, held: HeldMessage) -> str:
        """The bytes as they came."""
        return bytes(held.body).hex()


class SettleHeldIn(StrictSerializer):
    how = Text(300)


class HeldMessages(ListDoor):
    """For people who see all clients: whose client a message is of can't be known."""

    subject, shape_out = "held_messages", HeldMessageOut
    filters = (yes_no("open", Q(settled_at__isnull=True), "Not settled."),)

    def rows(self) -> QuerySet[HeldMessage]:
        return all_held_messages(self.viewer).defer("body")


class OneHeldMessage(Door):
    """One message with its body. Mend it and POST it as a visit, then settle it here."""

    subject, shape_out = "held_messages", WholeHeldMessageOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(all_held_messages(self.viewer), id))


class SettleHeldMessage(Door):
    """It was mended, or put aside for a reason. Its body is kept."""

    subject, shape_in, shape_out, versioned = "held_messages", SettleHeldIn, HeldMessageOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        held = found(all_held_messages(self.viewer), id)
        version, how = version_named(request), self.taken()["how"]
        return self.shown(settle_held_message(held=held, version=version, how=how, actor=self.viewer, now=clock.now()))
