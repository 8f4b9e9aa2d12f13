"""An appliance replaced by another, which begins with clocks of its own."""

from typing import Any

from rest_framework import serializers

from api.appliances import ApplianceOut, PlateIn
from api.doors import MakeDoor
from api.fields import DayOf, ExternalReference, Id, Whole
from fleet import clock
from fleet.intake.fields import StrictSerializer
from fleet.models import Appliance
from fleet.queries.register import visible_appliances
from fleet.services.replacements import replace_appliance

TAKEN_OVER_MAX = 100


class NewApplianceIn(PlateIn):
    """The new one. Building, flue and first day are told from the old one."""

    external_reference = ExternalReference()


class ReplacementIn(StrictSerializer):
    id = Id(required=False, help_text="Of the new appliance; the same again makes no second.")
    day = DayOf(help_text="The old one's last day and the new one's first.")
    appliance_version = Whole(1, 10**9, help_text="The old appliance's version that you read.")
    appliance = NewApplianceIn()
    assignments = serializers.ListField(
        child=Id(), required=False, max_length=TAKEN_OVER_MAX,
        help_text="Of what was assigned to the old one alone, what the new one is to be under too.",
    )  # fmt: skip
    required_checks = serializers.ListField(
        child=Id(), required=False, max_length=TAKEN_OVER_MAX,
        help_text=(
            "Of the old one's own required checks (contract, manufacturer), those that the new one is to have too."
        ),
    )  # fmt: skip


class Replacement(MakeDoor):
    """The old one leaves with its required checks; the new one inherits no reading, no drift, and only what is named
    here.

    Replace it: 201 with the new appliance; the same id again 200.
    """

    subject, query, shape_in, shape_out = "replacements", visible_appliances, ReplacementIn, ApplianceOut

    def values(self) -> dict[str, Any]:
        self.said = super().values()
        new_id = {"id": self.said["id"]} if "id" in self.said else {}
        return new_id | self.said["appliance"] | {"replaces": self.whole}

    def create(self, values: dict[str, Any]) -> Appliance:
        return replace_appliance(
            old=self.whole,
            version=self.said["appliance_version"],
            day=self.said["day"],
            values={name: value for name, value in values.items() if name != "replaces"},
            assignments=self.said.get("assignments", []),
            kept_required_checks=self.said.get("required_checks", []),
            actor=self.viewer,
            now=clock.now(),
        )
