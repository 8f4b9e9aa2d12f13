"""Flue groups: appliances on one flue. Found unsafe, it concerns them all."""

from api.doors import EntryDoor, EntryListDoor
from api.fields import Reference
from api.filters import EXTERNAL_REFERENCE, of_building
from api.shapes import EntryIn, EntryOut
from fleet.intake.fields import Text
from fleet.models import FlueGroup
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_flue_groups


class FlueGroupIn(EntryIn):
    building = Reference(visible_buildings)
    name = Text(100)


class FlueGroupOut(EntryOut):
    row, columns = FlueGroup, "building name"


class FlueGroups(EntryListDoor):
    """Flue groups of the buildings that you may see."""

    subject, query, shape_in, shape_out = "flue_groups", visible_flue_groups, FlueGroupIn, FlueGroupOut
    filters = (*of_building("building"), EXTERNAL_REFERENCE)


class OneFlueGroup(EntryDoor):
    """One flue group. It stays in its building."""

    subject, query, shape_in, shape_out = "flue_groups", visible_flue_groups, FlueGroupIn, FlueGroupOut
    fixed = ("id", "building")
