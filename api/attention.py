"""What needs attention, and why: stop level first, then outside a limit, then drift, then due by a date."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.alerts import AlertOut
from api.defects import DefectOut
from api.deliveries import DeliveryOut
from api.doors import Door
from api.flags import FlagOut
from api.forecasts import AnalyserOffOut, ForecastOut
from api.questions import QuestionOut
from api.revisits import RevisitOut
from fleet import clock
from fleet.assess.due.alerts import alerted_about
from fleet.queries.attention import Attention, attention_for


class AttentionRowOut(serializers.Serializer[Any]):
    flag = FlagOut(allow_null=True)
    revisit = RevisitOut(allow_null=True)
    forecast = ForecastOut(allow_null=True)


class ExpiringOut(serializers.Serializer[Any]):
    """A calibration or qualification whose last day is near or past; None where there never was one."""

    until = serializers.DateField(allow_null=True)
    what = serializers.CharField()
    subject = serializers.UUIDField(source="subject.id")
    name = serializers.CharField(source="subject.name")


class AttentionOut(serializers.Serializer[Any]):
    today = serializers.DateField()
    is_quiet = serializers.BooleanField()
    unsafe = FlagOut(many=True)
    told = serializers.SerializerMethodField(help_text="Alerts of what is unsafe, sent and planned, by due time.")
    outside = AttentionRowOut(many=True)
    drifting = AttentionRowOut(many=True)
    due = AttentionRowOut(many=True)
    expiring = ExpiringOut(many=True)
    questions = QuestionOut(many=True, help_text="The oldest 50 that are open.")
    corrections = serializers.IntegerField(help_text="Corrections that wait for somebody else to confirm them.")
    unreadable_records = serializers.IntegerField(help_text="Messages kept to be corrected.")
    from_assumptions = serializers.IntegerField(help_text="Forecasts that don't yet rest on a fit.")
    analysers_off = AnalyserOffOut(many=True, help_text="To be checked: their readings lie to one side.")
    needed_earlier = RevisitOut(many=True, help_text="Set for a day, and needed before it.")
    passed = RevisitOut(many=True, help_text="The day that was set is over, and nobody got there.")
    no_access = RevisitOut(many=True, help_text="Tried often since the last visit.")
    unnamed = RevisitOut(many=True, help_text="Set for a day to come, nobody named to go: the 20 that are soonest.")
    unnamed_count = serializers.IntegerField(help_text="How many there are of those in all.")
    in_doubt = RevisitOut(
        many=True, help_text="Within six weeks, and whoever is named is not qualified for the day, or can't see it."
    )
    extra_this_week = serializers.IntegerField(help_text="Drift cases that take an extra visit this week.")
    beyond = serializers.IntegerField(help_text="Drift cases beyond the extra visits, their risk accepted.")
    late_deliveries = DeliveryOut(many=True, help_text="The 20 that are overdue longest.")
    late_defects = DefectOut(many=True, help_text="The 20 that are overdue longest.")
    failed_work = serializers.IntegerField(help_text="Background work that has failed; told to managers.")

    @extend_schema_field(AlertOut(many=True))
    def get_told(self, facts: Attention) -> list[dict[str, Any]]:
        about = alerted_about(facts.unsafe).values()
        alerts = [each for one in about for each in (*one.told, *one.failing, *one.following)]
        shown: list[dict[str, Any]] = AlertOut(sorted(alerts, key=lambda each: (each.due_at, each.id)), many=True).data
        return shown


class AttentionNow(Door):
    """Today's attention over the clients that you may see."""

    subject, shape_out = "attention", AttentionOut

    def get(self, request: Request) -> Response:
        return self.shown(attention_for(self.viewer, clock.today()))
