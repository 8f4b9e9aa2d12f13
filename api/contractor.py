"""The contractor whose installation this is, and its choices."""

from dataclasses import fields
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door
from api.fields import Number, Whole
from api.permissions import MANAGER
from api.versions import version_named
from fleet.combustion import Criterion
from fleet.intake.fields import StrictSerializer, Text
from fleet.queries.contractor import the_contractor
from fleet.services.contractor import change_contractor

SteadinessIn = type(
    "SteadinessIn",
    (StrictSerializer,),
    {each.name: Number(0.001, 86_400, required=False) for each in fields(Criterion)},
)


class ContractorIn(StrictSerializer):
    name = Text(200)
    address = Text(300, required=False)
    emergency_numbers = serializers.ListField(child=Text(100), min_length=1, max_length=10)
    accepted_chance = Number(0.0001, 0.9999)
    flag_at = Number(0.0001, 0.9999)
    extra_visits_a_week = Whole(0, 1000)
    outside_within_days = Whole(0, 365)
    steadiness = SteadinessIn(required=False, help_text="What a series must keep to be steady; {} for the defaults.")


class ContractorOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    address = serializers.CharField()
    emergency_numbers = serializers.ListField(child=serializers.JSONField())
    accepted_chance = serializers.FloatField(help_text="Accepted chance of being outside at the revisit.")
    flag_at = serializers.FloatField(help_text="Chance before the next planned visit from which drift flags.")
    extra_visits_a_week = serializers.IntegerField()
    outside_within_days = serializers.IntegerField()
    steadiness = serializers.DictField(child=serializers.FloatField())
    is_demo = serializers.BooleanField()
    version = serializers.IntegerField()


class OneContractor(Door):
    """The contractor."""

    writers, shape_in, shape_out, versioned = MANAGER, ContractorIn, ContractorOut, True

    def get(self, request: Request) -> Response:
        return self.shown(the_contractor())

    def patch(self, request: Request) -> Response:
        version = version_named(request)
        return self.shown(change_contractor(version=version, changes=self.taken(partial=True)))
