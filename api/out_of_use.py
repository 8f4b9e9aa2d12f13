"""Out of use: from when to when an appliance stood still. Recorded, never edited."""

import uuid
from typing import Annotated, Any

from rest_framework import serializers

from api.doors import ActDoor, RecordedDoor
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, Day, Id, Shape, Text, without_decimals
from fleet.models import OutOfUse
from fleet.queries.register import visible_appliances, visible_out_of_use
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use


class OutOfUseIn(Shape):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT
    begins: Annotated[str, Day(proven_by="said_by", help="The first day on which it stood still.")]
    why: Annotated[str, Text(300)]
    said_by: Annotated[str, Text(200, help="Who said so.")]
    proof: Annotated[str, Text(300, blank=True, help="What shows it: a letter, a picture, a meter reading.")] = LEFT_OUT


class RestartIn(Shape):
    ends: Annotated[
        str, Day(proven_by="restart_said_by", help="The day on which it was started again; that day it is in use.")
    ]
    restart_said_by: Annotated[str, Text(200)]
    restart_proof: Annotated[str, Text(300, blank=True)] = LEFT_OUT


class OutOfUseOut(RowOut):
    row, columns = OutOfUse, "id appliance begins why said_by proof restart_said_by restart_proof record"
    ends = serializers.DateField(allow_null=True, help_text="The day of the restart; null while it stands still.")


class OutOfUsePeriods(RecordedDoor):
    """When an appliance was out of use. While it is, its required checks are suspended."""

    subject, query, shape_in, shape_out = "out_of_use", visible_appliances, OutOfUseIn, OutOfUseOut
    kind, of, parts = "out_of_use", "appliance", "out_of_use"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> OutOfUse:
        return begin_out_of_use(appliance=self.whole, content=content, actor=self.viewer, now=clock.now(), id=id)


class EndOutOfUse(ActDoor):
    """It was started again: its required checks go on. Where it fell due meanwhile, it is due on that day or as the
    set says.

    Recorded once; 409 where its restart is recorded already.
    """

    subject, query, shape_in, shape_out = "out_of_use", visible_out_of_use, RestartIn, OutOfUseOut

    def act(self, thing: OutOfUse, version: int, said: dict[str, Any]) -> OutOfUse:
        content = without_decimals(said)
        return end_out_of_use(out_of_use=thing, content=content, actor=self.viewer, now=clock.now())
