"""What limit sets and interval rules ask about appliances, each read with what its work is calculated from."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from typing import TypeVar

from django.db.models import Model, Prefetch

from fleet.intervals.dates import years_between
from fleet.limits import fuel_class
from fleet.models import Appliance, Building, GasSupply, ModelSheet, SheetVersion

SHARD = 200
Row = TypeVar("Row", bound=Model)


def by_appliance(rows: Iterable[Row]) -> dict[uuid.UUID, list[Row]]:
    """The rows of each appliance in their order; an empty list for one that has none."""
    gathered: dict[uuid.UUID, list[Row]] = defaultdict(list)
    for each in rows:
        gathered[each.appliance_id].append(each)  # type: ignore[attr-defined]  # every such table has its appliance
    return gathered


def with_places(appliances: Iterable[Appliance]) -> list[Appliance]:
    """The same with what their work is calculated from: building, client, gas, sheet and its versions, read once."""
    found = list(appliances)
    gases = Prefetch("gas_supplies", GasSupply.objects.order_by("since"))
    places = Building.objects.select_related("client").prefetch_related(gases)
    buildings = places.in_bulk({each.building_id for each in found})
    sheet_ids = {each.sheet_id for each in found if each.sheet_id}
    versions = Prefetch("versions", SheetVersion.objects.order_by("number"))
    sheets = ModelSheet.objects.prefetch_related(versions).in_bulk(sheet_ids)
    for each in found:
        each.building = buildings[each.building_id]
        each.sheet = sheets[each.sheet_id] if each.sheet_id else None
    return found


def facts_of(appliance: Appliance, day: date | None = None) -> dict[str, object]:
    """What limit sets and interval rules ask about an appliance: its own facts, then those of its sheet.

    day: the day on which its age is asked for; without one there is no `age_years`.
    """
    return facts_in_common(appliance, day) | facts_of_its_own(appliance, day)


def facts_in_common(appliance: Appliance, day: date | None) -> dict[str, object]:
    """Those that its kind, its fuel or building and its sheet tell: the same for whatever has all of these alike."""
    version = appliance.sheet.current if appliance.sheet else None
    sheet = version.content if version else {}
    burnt = appliance.burns_on(day or date.max).fuel
    known: dict[str, object] = {"fuel": fuel_class(burnt), "appliance": appliance.kind}
    for name in ("condensing", "control"):
        if name in sheet:
            known[name] = sheet[name]
    if "control" in sheet:
        known["self_calibrating"] = sheet["control"] == "self_adapting"
    if "rated_output_kw" in sheet:
        known["output_kw"] = float(sheet["rated_output_kw"])
    return known


def facts_of_its_own(appliance: Appliance, day: date | None) -> dict[str, object]:
    """When it was installed, its age on the day, and what was recorded of it alone, which goes before all else.

    Where no other day of installation is recorded it is the one on which it came into service.
    """
    came = appliance.in_service_from
    own: dict[str, object] = {"installation_on": came}
    if day is not None:
        own["age_years"] = years_between(came, day)
    return own | {name.lower(): value for name, value in appliance.facts.items()}


def everybody_in_shards() -> Iterator[list[Appliance]]:
    """All appliances in the order of their ids, so many at a time that nobody waits long for their transaction."""
    ids = list(Appliance.objects.order_by("id").values_list("id", flat=True))
    for some in (ids[n : n + SHARD] for n in range(0, len(ids), SHARD)):
        yield shard_of(some[0], some[-1])


def shard_of(first: uuid.UUID, last: uuid.UUID) -> list[Appliance]:
    """The appliances from one id to another, both included, with what refreshing reads of them."""
    return with_places(Appliance.objects.filter(id__gte=first, id__lte=last).order_by("id"))
