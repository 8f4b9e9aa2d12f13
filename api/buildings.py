"""Buildings: where the appliances stand; from which day another gas comes to them.

Records keep the gas that they name.
"""

from datetime import date
from typing import Annotated, Any

from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor
from api.fields import Reference
from api.filters import EXTERNAL_REFERENCE, by_id, of_building
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.combustion.gases import SPECIES
from fleet.intake.fields import LEFT_OUT, DayOf, DecimalText, Part, Text, shape_of
from fleet.intake.register import PlaceIn
from fleet.models import Building, GasSupply
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_gas_supplies
from fleet.services.register import add_gas_supply, add_kept, change_building, change_gas_supply


class BuildingIn(EntryIn, PlaceIn):
    client: Annotated[Any, Reference(visible_clients)]


class BuildingOut(EntryOut):
    """How to get in is for those who go there: an auditor doesn't see it."""

    row, told_by = Building, BuildingIn
    columns = "client name address latitude longitude altitude_m time_zone fuel access_notes"


class Buildings(EntryListDoor):
    """Buildings of the clients that you may see."""

    subject, query, shape_in, shape_out = "buildings", visible_buildings, BuildingIn, BuildingOut
    filters = (by_id("client", "client", visible_clients), EXTERNAL_REFERENCE)

    def create(self, values: dict[str, Any]) -> Building:
        return add_kept(model=Building, values=values, actor=self.viewer, now=clock.now())


class OneBuilding(EntryDoor):
    """One building. It stays with its client."""

    subject, query, shape_in, shape_out = "buildings", visible_buildings, BuildingIn, BuildingOut
    fixed = ("id", "client")

    def change(self, entry: Building, version: int, changes: dict[str, Any]) -> Building:
        return change_building(building=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())


Composition = shape_of("Composition", dict.fromkeys(SPECIES, Annotated[str, DecimalText(0, 1)]))


class GasSupplyIn(EntryIn):
    building: Annotated[Any, Reference(visible_buildings)]
    since: Annotated[date, DayOf(proven_by="source", help="The first day on which this gas burns there.")]
    fuel: Annotated[
        str,
        Text(40, proven_by="source", help="One of the fuels by name, or a name of its own for a gas by composition."),
    ]
    composition: Annotated[Composition, Part(proven_by="source")] = LEFT_OUT
    source: Annotated[str, Text(300, help="Who said so.")]


class GasSupplyOut(EntryOut):
    row, columns = GasSupply, "building since fuel source"
    composition = serializers.DictField(child=serializers.CharField())


class GasSupplies(EntryListDoor):
    """Gas supplies of the buildings that you may see. Before the first of them a building has its own fuel."""

    subject, query, shape_in, shape_out = "gas_supplies", visible_gas_supplies, GasSupplyIn, GasSupplyOut
    filters = (*of_building("building"), EXTERNAL_REFERENCE)

    def create(self, values: dict[str, Any]) -> GasSupply:
        return add_gas_supply(values=values, actor=self.viewer, now=clock.now())


class OneGasSupply(EntryDoor):
    """One gas supply. It stays in its building."""

    subject, query, shape_in, shape_out = "gas_supplies", visible_gas_supplies, GasSupplyIn, GasSupplyOut
    fixed = ("id", "building")

    def change(self, entry: GasSupply, version: int, changes: dict[str, Any]) -> GasSupply:
        return change_gas_supply(supply=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())
