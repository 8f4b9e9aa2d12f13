"""The invented town: whose buildings there are, and what stands in them. No such place, firm or house exists."""

import json
from collections.abc import Iterator
from dataclasses import dataclass

from fleet.demo.sheets import DATA

SCHOOLS, HOUSING, LETTINGS, RESIDENTS = "schools", "housing", "lettings", "residents"
WITH_TENANTS = frozenset({HOUSING, LETTINGS, RESIDENTS})


@dataclass(frozen=True)
class Place:
    """A building: whose, its name, and the kinds of its appliances by the key of their sheet."""

    client: str
    name: str
    kinds: list[str]
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


_TOWN = json.loads((DATA / "town.json").read_text())
CLIENTS: dict[str, str] = _TOWN["clients"]
STREETS: list[str] = _TOWN["streets"]
AGREEMENTS: dict[str, dict[str, object]] = _TOWN["agreements"]
PLACES = [Place(**row | {"kinds": row["kinds"].split()}) for row in _TOWN["places"]]
