"""An appliance replaced by another, which begins with clocks of its own."""

import uuid
from datetime import date
from typing import Annotated, Any

from api.appliances import ApplianceOut, PlateIn
from api.doors import MakeDoor
from api.fields import ExternalReference
from fleet import clock
from fleet.intake.fields import LEFT_OUT, DayOf, Id, Many, Shape, Whole
from fleet.models import Appliance
from fleet.queries.register import visible_appliances
from fleet.services.replacements import replace_appliance

TAKEN_OVER_MAX = 100


class NewApplianceIn(PlateIn):
    """The new one. Building, flue and first day are told from the old one."""

    external_reference: ExternalReference = LEFT_OUT


class ReplacementIn(Shape):
    id: Annotated[uuid.UUID, Id(help="Of the new appliance; the same again makes no second.")] = LEFT_OUT
    day: Annotated[date, DayOf(help="The old one's last day and the new one's first.")]
    appliance_version: Annotated[int, Whole(1, 10**9, help="The old appliance's version that you read.")]
    appliance: NewApplianceIn
    assignments: Annotated[
        list[Annotated[uuid.UUID, Id()]],
        Many(0, TAKEN_OVER_MAX, help="Of what was assigned to the old one alone, what the new one is to be under too."),
    ] = LEFT_OUT
    required_checks: Annotated[
        list[Annotated[uuid.UUID, Id()]],
        Many(
            0,
            TAKEN_OVER_MAX,
            help="Of the old one's own required checks (contract, manufacturer), those that the new one gets too.",
        ),
    ] = LEFT_OUT


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
