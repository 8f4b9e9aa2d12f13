"""Out of use: from when to when an appliance stood still. Recorded, never edited."""

import uuid

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.fields import Id
from api.recorded import post_recorded
from api.shapes import RowOut
from fleet import clock
from fleet.intake.errors import without_decimals
from fleet.intake.fields import Day, StrictSerializer, Text
from fleet.models import Appliance, OutOfUse
from fleet.queries.register import visible_appliances, visible_out_of_use
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use


class OutOfUseIn(StrictSerializer):
    id = Id(required=False)
    begins = Day(help_text="The first day on which it stood still.")
    why = Text(300)
    said_by = Text(200, help_text="Who said so.")
    proof = Text(300, required=False, help_text="What shows it: a letter, a picture, a meter reading.")


class RestartIn(StrictSerializer):
    ends = Day(help_text="The day on which it was started again; that day it is in use.")
    restart_said_by = Text(200)
    restart_proof = Text(300, required=False)


class OutOfUseOut(RowOut):
    row, columns = OutOfUse, "id appliance begins why said_by proof restart_said_by restart_proof record"
    ends = serializers.DateField(allow_null=True, help_text="The day of the restart; null while it stands still.")


class OutOfUsePeriods(ListDoor):
    """When an appliance was out of use. While it is, its required checks are suspended."""

    subject, shape_in, shape_out, makes = "out_of_use", OutOfUseIn, OutOfUseOut, True

    def rows(self) -> QuerySet[OutOfUse]:
        return self.appliance().out_of_use.all()

    def appliance(self) -> Appliance:
        appliance: Appliance = found(visible_appliances(self.viewer), self.kwargs["id"])
        return appliance

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """It stands still from that day: 201; the same id with the same content again 200; with other content 409."""
        appliance = self.appliance()
        return post_recorded(
            self,
            kind="out_of_use",
            model=OutOfUse,
            belongs={"appliance": str(appliance.id)},
            add=lambda new_id, content: begin_out_of_use(
                appliance=appliance, content=content, actor=self.viewer, now=clock.now(), id=new_id
            ),
        )


class EndOutOfUse(Door):
    """It was started again: its required checks go on. Where it fell due meanwhile, it is due on that day or as the
    set says.
    """

    subject, shape_in, shape_out = "out_of_use", RestartIn, OutOfUseOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Recorded once; 409 where its restart is recorded already."""
        out_of_use = found(visible_out_of_use(self.viewer), id)
        content = without_decimals(self.taken())
        return self.shown(end_out_of_use(out_of_use=out_of_use, content=content, actor=self.viewer, now=clock.now()))
