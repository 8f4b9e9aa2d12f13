"""The invented town: whose buildings there are, and what stands in them. No such place, firm or house exists."""

from collections.abc import Iterator
from dataclasses import dataclass

SCHOOLS, COUNCIL, CARE, HOUSING, LETTINGS = "schools", "council", "care", "housing", "lettings"
WORKSHOPS, LEISURE, RESIDENTS, HEALTH = "workshops", "leisure", "residents", "health"

CLIENTS = {
    SCHOOLS: "Tarnholt Schools Trust",
    COUNCIL: "Tarnholt Town Council",
    CARE: "Larkmoor Care Homes",
    HOUSING: "Weirside Housing Society",
    LETTINGS: "Old Granary Lettings",
    WORKSHOPS: "Cooper's Yard Workshops",
    LEISURE: "Tarnholt Leisure",
    RESIDENTS: "Long Row Residents",
    HEALTH: "Orchard Rise Practices",
}
STREETS = ("Weir Lane", "Mill Brow", "Long Row", "Orchard Rise", "Cooper's Yard", "Chapel Bank", "Granary Walk")
WITH_TENANTS = frozenset({HOUSING, LETTINGS, RESIDENTS})


@dataclass(frozen=True)
class Place:
    """A building: whose, its name, and the kinds of its appliances by the key of their sheet."""

    client: str
    name: str
    kinds: tuple[str, ...]
    flats: bool = False

    def appliances(self) -> Iterator[tuple[str, str, str]]:
        """Kind, name and room of each: numbered where there are several of a sort."""
        nouns = ["Water heater" if kind in ("water", "propane") else "Boiler" for kind in self.kinds]
        for n, (kind, noun) in enumerate(zip(self.kinds, nouns, strict=True)):
            if self.flats:
                yield kind, f"Flat {n + 1} boiler", "kitchen"
                continue
            alike = nouns.count(noun)
            name = noun if alike == 1 else f"{noun} {nouns[: n + 1].count(noun)}"
            yield kind, name, ("kitchen" if len(self.kinds) == 1 else "plant room")


# Who owns it, what it is called, and the kind of each appliance in it.
HOUSES = (
    (SCHOOLS, "Orchard Primary School", "block block water"),
    (SCHOOLS, "Hilltop Primary School", "block block"),
    (SCHOOLS, "Weir Lane Primary School", "oil oil"),
    (SCHOOLS, "Lower School", "plant plant water"),
    (SCHOOLS, "Upper School", "plant plant plant linkage water"),
    (SCHOOLS, "School Sports Hall", "block water"),
    (SCHOOLS, "Music School", "block"),
    (SCHOOLS, "Nursery", "house house"),
    (COUNCIL, "Town Hall", "plant plant plant"),
    (COUNCIL, "Library", "block block"),
    (COUNCIL, "Swimming Pool", "linkage linkage plant plant water water"),
    (COUNCIL, "Depot", "open propane"),
    (COUNCIL, "Museum", "plant plant"),
    (COUNCIL, "Fire Station", "block block"),
    (CARE, "Orchard House", "plant plant water water"),
    (CARE, "Long Meadow", "plant plant plant water"),
    (CARE, "The Willows", "block block block water"),
    (CARE, "Hillside", "oil oil water"),
    (CARE, "The Old Vicarage", "open open open"),
    (WORKSHOPS, "Unit 1", "linkage"),
    (WORKSHOPS, "Unit 2, joinery", "linkage open"),
    (WORKSHOPS, "Unit 3, printers", "plant plant"),
    (WORKSHOPS, "Unit 4, bakery", "oil open"),
    (WORKSHOPS, "Unit 5, paint shop", "plant plant"),
    (WORKSHOPS, "Unit 6, nursery garden", "propane propane propane"),
    (WORKSHOPS, "Unit 7, laundry", "linkage plant"),
    (LEISURE, "Boat House", "propane propane"),
    (LEISURE, "Hotel by the Weir", "plant plant plant plant water"),
    (LEISURE, "Theatre", "plant plant linkage"),
    (LEISURE, "Climbing Hall", "open open"),
    (LEISURE, "Riding School", "propane oil"),
    (RESIDENTS, "Tower House", "plant plant plant plant plant"),
    (RESIDENTS, "The Square", "block block"),
    (HEALTH, "Health Centre", "block block water"),
    (HEALTH, "Church Hall", "open open"),
    (HEALTH, "Hospice", "plant plant plant water water"),
    (HEALTH, "Dental Surgery", "house"),
    (HEALTH, "Day Centre", "oil water"),
)
COTTAGES = "house open house oil house propane house open house house water open house house open house"


def _rows() -> Iterator[tuple[str, str, str]]:
    yield from HOUSES
    yield from ((LETTINGS, f"Cottage {n}", kind) for n, kind in enumerate(COTTAGES.split(), start=1))
    yield from ((LETTINGS, name, "house water") for name in ("Lock House", "Granary House"))


FLATS = (
    (HOUSING, "Weir Court", "house", 9),
    (HOUSING, "Mill Court", "house", 8),
    (HOUSING, "Stable Yard", "house", 4),
    (HOUSING, "Chapel Flats", "house", 6),
    (HOUSING, "Garden Flats", "open", 6),
    (HOUSING, "Long Row, odd numbers", "open", 5),
    (RESIDENTS, "Park Row", "house", 7),
    (RESIDENTS, "Station Flats", "open", 5),
)
PLACES = (
    *(Place(client, name, tuple(kinds.split())) for client, name, kinds in _rows()),
    *(Place(client, name, (kind,) * count, flats=True) for client, name, kind, count in FLATS),
)
