"""Deliveries: who must receive the record of a visit by when, how it was sent, and what came back."""

from datetime import datetime
from typing import Annotated, Any

from rest_framework import serializers

from api.doors import ActDoor, ListDoor, OneDoor
from api.fields import CodedRows, Reference, Said
from api.filters import by_day, by_id, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, MomentOf, Shape, Text, Word
from fleet.models import Delivery, Sending
from fleet.presentation.due_dates import date_words
from fleet.queries.follow_ups import OPEN, visible_deliveries
from fleet.queries.records import visible_files
from fleet.queries.visits import visible_visits
from fleet.services.deliveries import fail_delivery, send_delivery


class SendingOut(RowOut):
    row, columns = Sending, "record sent_at how address proof file sent_by failed_at failed_by failed_why"


class DeliveryOut(RowOut):
    row, columns = Delivery, "id visit limit_set recipient due opened_at sent_at version"
    appliance = serializers.UUIDField(source="visit.appliance_id")
    tenancy = serializers.UUIDField(source="tenancy_id", allow_null=True, help_text="The one before which it is due.")
    words = Said(date_words, of="steps", help_text="The arithmetic of the last day.")
    steps = CodedRows(help_text="The same, each step as its code and its figures.")
    overdue = serializers.SerializerMethodField()
    returned_why = Said(date_words, of="returned_why", help_text="Why it has to be sent again.")
    not_needed = Said(
        date_words, of="not_needed", help_text="Why what was tried has not to be sent any more; empty otherwise."
    )
    sendings = SendingOut(source="sendings.all", many=True, help_text="Every attempt, the failed ones too.")

    def get_overdue(self, delivery: Delivery) -> bool:
        return delivery.is_overdue(clock.today(delivery.visit.appliance.building.time_zone))


class SendIn(Shape):
    how: Annotated[str, Word(Sending.How.values)]
    address: Annotated[str, Text(300)]
    sent_at: Annotated[datetime, MomentOf(help="Now, where it is left out.")] = LEFT_OUT
    proof: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    file: Annotated[Any, Reference(visible_files, null=True, help="One of the visit's files.")] = LEFT_OUT


class FailIn(Shape):
    why: Annotated[str, Text(500)]


class Deliveries(ListDoor):
    """Deliveries of the visits that you may see."""

    subject, query, shape_out = "deliveries", visible_deliveries, DeliveryOut
    filters = (
        *of_appliance("visit__appliance"),
        by_id("visit", "visit", visible_visits),
        yes_no("open", OPEN, "Not sent yet, or back in the office."),
        by_day("due_before", "due__lte", "Due by this day or before."),
    )


class OneDelivery(OneDoor):
    """One delivery."""

    subject, query, shape_out = "deliveries", visible_deliveries, DeliveryOut


class SendDelivery(ActDoor):
    """Say that it was sent."""

    subject, query, shape_in, shape_out, versioned = "deliveries", visible_deliveries, SendIn, DeliveryOut, True

    def act(self, thing: Delivery, version: int, said: dict[str, Any]) -> None:
        now = clock.now()
        said = {"sent_at": now, "proof": "", "file": None} | said
        send_delivery(delivery=thing, version=version, **said, actor=self.viewer, now=now)


class FailDelivery(ActDoor):
    """Say that the newest sending failed, with the reason: it is the office's again, also after a correction."""

    subject, query, shape_in, shape_out, versioned = "deliveries", visible_deliveries, FailIn, DeliveryOut, True

    def act(self, thing: Delivery, version: int, said: dict[str, Any]) -> None:
        fail_delivery(delivery=thing, version=version, why=said["why"], actor=self.viewer, now=clock.now())
