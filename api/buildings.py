"""Buildings: where the appliances stand."""

from typing import Any

from api.doors import EntryDoor, EntryListDoor
from api.fields import Number, Reference
from api.filters import EXTERNAL_REFERENCE, by_id
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.combustion import FUELS
from fleet.intake.fields import Text, Word
from fleet.models import Building
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.services.buildings import change_building


class BuildingIn(EntryIn):
    client = Reference(visible_clients)
    name = Text(200)
    address = Text(300)
    latitude = Number(-90, 90, required=False, allow_null=True)
    longitude = Number(-180, 180, required=False, allow_null=True)
    altitude_m = Number(-450, 6000, required=False)
    time_zone = Text(64)
    fuel = Word(choices=list(FUELS), required=False)
    access_notes = Text(2000, required=False)


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
