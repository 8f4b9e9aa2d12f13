"""The contractor's own lines at which firing ends: always some, in versions."""

import uuid
from typing import Any

from rest_framework import serializers

from api.doors import RecordedDoor
from api.fields import Id
from api.shapes import RowOut
from fleet import clock
from fleet.intake.register import StopLevelsIn
from fleet.models import StopLevels
from fleet.queries.sheets import all_stop_levels
from fleet.services.limit_sets import set_stop_levels


class NewStopLevels(StopLevelsIn):
    id = Id(required=False)


class StopLevelsOut(RowOut):
    row = StopLevels
    columns = "id co_ppm_air_free ambient_co_ppm ambient_co_rise_ppm co_rising_above_ppm spillage_min evidence record"
    number = serializers.IntegerField(help_text="The highest is in force.")


class AllStopLevels(RecordedDoor):
    """Every version of the stop levels. Recorded, never edited."""

    subject, query, kind = "stop_levels", all_stop_levels, "stop_levels"
    shape_in, shape_out = NewStopLevels, StopLevelsOut

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> StopLevels:
        return set_stop_levels(content=content, actor=self.viewer, now=clock.now(), id=id)
