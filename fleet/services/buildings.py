"""Change a building and the gas that comes to it; its appliances' figures rest on what stands here."""

from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.models import Building, GasSupply
from fleet.services import jobs
from fleet.services.register import change_entry, create_entry


@transaction.atomic
def change_building(*, building: Building, version: int, changes: dict[str, Any], now: datetime) -> Building:
    """Change it and look at its appliances again. Raises Conflict when it changed meanwhile."""
    changed = change_entry(entry=building, version=version, changes=changes)
    _look_again(building, now)
    return changed


@transaction.atomic
def add_gas_supply(*, values: dict[str, Any], now: datetime) -> GasSupply:
    """Another gas from a day on: values has building, since, fuel, composition, source.

    What was read before that day keeps its gas, and so does every record. Raises FleetError `invalid`.
    """
    supply = create_entry(model=GasSupply, values=values)
    _look_again(supply.building, now)
    return supply


@transaction.atomic
def change_gas_supply(*, supply: GasSupply, version: int, changes: dict[str, Any], now: datetime) -> GasSupply:
    """Repair an entry, as where the gas came on another day. Raises Conflict when it changed meanwhile."""
    changed = change_entry(entry=supply, version=version, changes=changes)
    _look_again(changed.building, now)
    return changed


def _look_again(building: Building, now: datetime) -> None:
    for appliance_id in building.appliances.values_list("id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
