"""What needs attention, and why: stop level first, then outside a limit, then drift, then due by a date."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door
from api.flags import FlagOut
from api.forecasts import ForecastOut
from api.marks import MarkOut
from api.revisits import RevisitOut
from fleet import clock
from fleet.queries.attention import attention_for


class AttentionRowOut(serializers.Serializer[Any]):
    flag = FlagOut(allow_null=True)
    revisit = RevisitOut(allow_null=True)
    forecast = ForecastOut(allow_null=True)


class RunningOutOut(serializers.Serializer[Any]):
    """A calibration or qualification whose last day is near or past; None where there never was one."""

    until = serializers.DateField(allow_null=True)
    what = serializers.CharField()
    subject = serializers.UUIDField(source="subject.id")
    name = serializers.CharField(source="subject.name")


class AttentionOut(serializers.Serializer[Any]):
    today = serializers.DateField()
    is_quiet = serializers.BooleanField()
    unsafe = FlagOut(many=True)
    outside = AttentionRowOut(many=True)
    drifting = AttentionRowOut(many=True)
    due = AttentionRowOut(many=True)
    running_out = RunningOutOut(many=True)
    marks = MarkOut(many=True, help_text="The oldest 50 that are open.")
    held = serializers.IntegerField(help_text="Messages kept for mending.")
    from_assumptions = serializers.IntegerField(help_text="Forecasts that don't yet rest on a fit.")


class AttentionNow(Door):
    """Today's attention over the clients that you may see."""

    shape_out = AttentionOut

    def get(self, request: Request) -> Response:
        return self.shown(attention_for(self.viewer, clock.today()))
