"""Gas conversions of an appliance: recorded, never edited; a test on the new gas falls due."""

import uuid
from typing import Annotated, Any

from api.doors import RecordedDoor
from api.fields import Reference
from api.shapes import RowOut
from fleet import clock
from fleet.combustion import FUELS
from fleet.intake.fields import LEFT_OUT, Day, Id, Shape, Text, Whole, Word
from fleet.models import GasConversion, ModelSheet
from fleet.queries.register import all_sheets, visible_appliances
from fleet.services.gas_conversions import convert_appliance

DAYS_MAX = 366


class GasConversionIn(Shape):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT
    converted_on: Annotated[str, Day(proven_by="done_by")]
    to_fuel: Annotated[str, Word(list(FUELS))]
    kit: Annotated[str, Text(200, help="Which kit, with its number.")]
    label: Annotated[str, Text(200, help="What the label on the appliance says now, and where it is.")]
    analyser_fuel: Annotated[str, Word(list(FUELS), help="What the analyser is to be set to from now on.")]
    sheet: Annotated[Any, Reference(all_sheets, null=True, help="For the new gas; null: readings have no target.")]
    done_by: Annotated[str, Text(200)]
    test_within_days: Annotated[int, Whole(0, DAYS_MAX, help="Within how many days it is to be tested on the new gas.")]
    appliance_version: Annotated[int, Whole(1, 10**9, help="The appliance's version that you read.")]


class GasConversionOut(RowOut):
    row = GasConversion
    columns = (
        "id appliance converted_on from_fuel to_fuel kit label analyser_fuel sheet done_by test_within_days record"
    )


class GasConversions(RecordedDoor):
    """Gas conversions of an appliance. What was read before keeps its gas."""

    subject, query, shape_in, shape_out = "gas_conversions", visible_appliances, GasConversionIn, GasConversionOut
    kind, of, parts = "gas_conversion", "appliance", "gas_conversions"

    def taken(self, *, partial: bool = False) -> dict[str, Any]:
        values = super().taken(partial=partial)
        self.sheet: ModelSheet | None = values.pop("sheet")
        self.version: int = values.pop("appliance_version")
        return values

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> GasConversion:
        return convert_appliance(
            appliance=self.whole,
            version=self.version,
            content=content,
            sheet=self.sheet,
            actor=self.viewer,
            now=clock.now(),
            id=id,
        )
