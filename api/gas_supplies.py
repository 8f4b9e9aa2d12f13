"""Gas supplies: from which day another gas comes to a building. Records keep the gas that they name."""

from typing import Any

from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor
from api.fields import DayOf, Reference
from api.filters import EXTERNAL_REFERENCE, of_building
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.combustion.gases import SPECIES
from fleet.intake.fields import DecimalText, StrictSerializer, Text
from fleet.models import GasSupply
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_gas_supplies
from fleet.services.buildings import add_gas_supply, change_gas_supply

Composition = type(
    "Composition", (StrictSerializer,), {name: DecimalText(low=0, high=1, required=False) for name in SPECIES}
)


class GasSupplyIn(EntryIn):
    building = Reference(visible_buildings)
    since = DayOf(help_text="The first day on which this gas burns there.")
    fuel = Text(40, help_text="One of the fuels by name, or a name of its own for a gas by composition.")
    composition = Composition(required=False, help_text="Mole fractions by species, together 1; empty for one by name.")
    source = Text(300, help_text="Who said so.")


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
