"""The contractor's own lines at which firing ends: always some, in versions."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import ListDoor
from api.fields import Id
from api.recorded import post_recorded
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


class AllStopLevels(ListDoor):
    """Every version of the stop levels. Recorded, never edited."""

    subject, shape_in, shape_out, makes = "stop_levels", NewStopLevels, StopLevelsOut, True

    def rows(self) -> QuerySet[StopLevels]:
        return all_stop_levels(self.viewer)

    def post(self, request: Request) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409."""
        return post_recorded(
            self,
            kind="stop_levels",
            model=StopLevels,
            belongs={},
            add=lambda new_id, content: set_stop_levels(content=content, actor=self.viewer, now=clock.now(), id=new_id),
        )
