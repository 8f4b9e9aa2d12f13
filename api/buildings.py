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
from fleet.combustion import FUELS
from fleet.combustion.gases import SPECIES
from fleet.intake.fields import LEFT_OUT, DayOf, DecimalText, Number, Text, Word, shape_of
from fleet.models import Building, GasSupply
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_gas_supplies
from fleet.services.register import add_gas_supply, change_building, change_gas_supply


class BuildingIn(EntryIn):
    client: Annotated[Any, Reference(visible_clients)]
    name: Annotated[str, Text(200)]
    address: Annotated[str, Text(300)]
    latitude: Annotated[float | None, Number(-90, 90, null=True)] = LEFT_OUT
    longitude: Annotated[float | None, Number(-180, 180, null=True)] = LEFT_OUT
    altitude_m: Annotated[float, Number(-450, 6000)] = LEFT_OUT
    time_zone: Annotated[str, Text(64)]
    fuel: Annotated[str, Word(list(FUELS))] = LEFT_OUT
    access_notes: Annotated[str, Text(2000, blank=True)] = LEFT_OUT


class BuildingOut(EntryOut):
    row, columns = Building, "client name address latitude longitude altitude_m time_zone fuel access_notes"


class Buildings(EntryListDoor):
    """Buildings of the clients that you may see."""

    subject, query, shape_in, shape_out = "buildings", visible_buildings, BuildingIn, BuildingOut
    filters = (by_id("client", "client", visible_clients), EXTERNAL_REFERENCE)


class OneBuilding(EntryDoor):
    """One building. It stays with its client."""

    subject, query, shape_in, shape_out = "buildings", visible_buildings, BuildingIn, BuildingOut
    fixed = ("id", "client")

    def change(self, entry: Building, version: int, changes: dict[str, Any]) -> Building:
        return change_building(building=entry, version=version, changes=changes, now=clock.now())


Composition = shape_of("Composition", dict.fromkeys(SPECIES, Annotated[str, DecimalText(0, 1)]))


class GasSupplyIn(EntryIn):
    building: Annotated[Any, Reference(visible_buildings)]
    since: Annotated[date, DayOf(help="The first day on which this gas burns there.")]
    fuel: Annotated[str, Text(40, help="One of the fuels by name, or a name of its own for a gas by composition.")]
    composition: Composition = LEFT_OUT
    source: Annotated[str, Text(300, help="Who said so.")]


class GasSupplyOut(EntryOut):
    row, columns = GasSupply, "building since fuel source"
    composition = serializers.DictField(child=serializers.CharField())


class GasSupplies(EntryListDoor):
    """Gas supplies of the buildings that you may see. Before the first of them a building has its own fuel."""

    subject, query, shape_in, shape_out = "gas_supplies", visible_gas_supplies, GasSupplyIn, GasSupplyOut
    filters = (*of_building("building"), EXTERNAL_REFERENCE)

    def create(self, values: dict[str, Any]) -> GasSupply:
        return add_gas_supply(values=values, now=clock.now())


class OneGasSupply(EntryDoor):
    """One gas supply. It stays in its building."""

    subject, query, shape_in, shape_out = "gas_supplies", visible_gas_supplies, GasSupplyIn, GasSupplyOut
    fixed = ("id", "building")

    def change(self, entry: GasSupply, version: int, changes: dict[str, Any]) -> GasSupply:
        return change_gas_supply(supply=entry, version=version, changes=changes, now=clock.now())
