"""Out of use: from when to when an appliance stood still. Recorded, never edited."""

import uuid
from typing import Any

from rest_framework import serializers

from api.doors import ActDoor, RecordedDoor
from api.fields import Id
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import Day, StrictSerializer, Text, without_decimals
from fleet.models import OutOfUse
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
