"""The contractor whose installation this is, and its planning settings."""

from dataclasses import fields
from typing import Annotated, Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, version_named
from api.shapes import RowOut
from fleet import clock
from fleet.combustion import Criterion
from fleet.intake import register
from fleet.intake.fields import LEFT_OUT, Number, Shape, Text, Whole, fields_of, shape_of
from fleet.models import Contractor, Defect
from fleet.queries.planning_settings import preview_planning_settings
from fleet.queries.register import the_contractor
from fleet.services.contractor import change_contractor

SteadinessIn = shape_of(
    "SteadinessIn", {each.name: Annotated[float, Number(0.001, 86_400)] for each in fields(Criterion)}
)


RepairWithinIn = shape_of("RepairWithinIn", dict.fromkeys(Defect.Severity.values, Annotated[int, Whole(0, 3650)]))


class PlanningSettingsIn(Shape):
    """The settings that have consequences."""

    accepted_risk: Annotated[float, Number(0.0001, 0.9999)]
    accepted_risk_co: Annotated[float, Number(0.0001, 0.9999)]
    accepted_risk_rise: Annotated[float, Number(0.0001, 0.9999)]
    flag_at: Annotated[float, Number(0.0001, 0.9999)]
    extra_visits_a_week: Annotated[int, Whole(0, 1000)]
    outside_within_days: Annotated[int, Whole(0, 365)]
    repair_within_days: RepairWithinIn


class ContractorIn(PlanningSettingsIn, register.ContractorIn):
    steadiness: SteadinessIn = LEFT_OUT
    shown: Annotated[
        str, Text(64, blank=True, help="Of the preview that showed what these settings change; else 409.")
    ] = LEFT_OUT


class ContractorOut(RowOut):
    """By what it plans is for managers of all clients; name and numbers are for everybody."""

    row, columns = Contractor, "name address extra_visits_a_week outside_within_days is_demo version"
    rights = dict.fromkeys([*fields_of(PlanningSettingsIn), "steadiness"], "planning_settings")
    emergency_numbers = serializers.ListField(child=serializers.CharField())
    accepted_risk = serializers.FloatField(help_text="Accepted risk of being outside at the revisit.")
    accepted_risk_co = serializers.FloatField(help_text="The same of CO; never taken above the other.")
    accepted_risk_rise = serializers.FloatField(help_text="The same of the flue's temperature above the intake air.")
    flag_at = serializers.FloatField(help_text="Chance before the next planned visit from which drift flags.")
    repair_within_days = serializers.DictField(child=serializers.IntegerField())
    steadiness = serializers.DictField(child=serializers.FloatField())


class OneContractor(Door):
    """The contractor. Settings that have consequences are changed only as a preview has shown them."""

    subject, shape_in, shape_out, versioned = "contractor", ContractorIn, ContractorOut, True

    def get(self, request: Request) -> Response:
        return self.shown(the_contractor(self.viewer))

    def patch(self, request: Request) -> Response:
        version, changes = version_named(request), self.taken(partial=True)
        seen = changes.pop("shown", "")
        return self.shown(change_contractor(version=version, changes=changes, shown=seen, now=clock.now()))


class PlanningSettingOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    words = serializers.CharField()
    before = serializers.JSONField()
    after = serializers.JSONField()


class FlagChangeOut(serializers.Serializer[Any]):
    appliance = serializers.UUIDField(source="appliance.id")
    opens = serializers.BooleanField(help_text="false: it closes.")
    sentence = serializers.CharField()


class MoveOut(serializers.Serializer[Any]):
    appliance = serializers.UUIDField(source="appliance.id")
    before = serializers.DateField(allow_null=True)
    after = serializers.DateField(allow_null=True)
    days = serializers.IntegerField(help_text="Later is positive.")
    words = serializers.CharField()


class WeekOut(serializers.Serializer[Any]):
    begins = serializers.DateField()
    before = serializers.IntegerField(help_text="Extra visits by the settings that stand.")
    after = serializers.IntegerField()


class BeyondOut(serializers.Serializer[Any]):
    appliance = serializers.UUIDField(source="appliance.id")
    urgency = serializers.FloatField()
    words = serializers.CharField(help_text="The risk that is accepted by not coming.")


class PlanningPreviewOut(serializers.Serializer[Any]):
    version = serializers.IntegerField(help_text="Name it in If-Match when recording.")
    shown = serializers.CharField(help_text="Give it back when recording these very settings.")
    summary = serializers.CharField()
    settings = PlanningSettingOut(many=True)
    flags = FlagChangeOut(many=True)
    moves = MoveOut(many=True)
    weeks = WeekOut(many=True, help_text="The next twelve.")
    budget_before = serializers.IntegerField()
    budget_after = serializers.IntegerField()
    beyond_before = serializers.IntegerField()
    beyond_after = serializers.IntegerField()
    beyond = BeyondOut(many=True)
    unseen = serializers.IntegerField(help_text="Appliances of clients that you may not see, which change too.")


class PreviewPlanningSettings(Door):
    """What other settings would change: flags, revisits, extra visits and what stays beyond them. Nothing is kept."""

    subject, shape_in, shape_out = "planning_settings", PlanningSettingsIn, PlanningPreviewOut

    def post(self, request: Request) -> Response:
        changes = self.taken(partial=True)
        return self.shown(preview_planning_settings(changes=changes, viewer=self.viewer, now=clock.now()))
