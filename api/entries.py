"""What every entry of the register has at the door: its id, another program's reference, its version."""

from typing import Any

from rest_framework import serializers

from api.fields import ExternalReference, Id
from fleet.intake.fields import StrictSerializer


class EntryIn(StrictSerializer):
    id = Id(required=False, help_text="Made by the caller so that a retry makes no second; else made here.")
    external_reference = ExternalReference()


class EntryOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    external_reference = serializers.CharField(allow_null=True)
    version = serializers.IntegerField()
