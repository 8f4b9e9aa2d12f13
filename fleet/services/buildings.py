"""Change a building; what its appliances' figures rest on (fuel, altitude, time zone) stands here."""

from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.models import Building
from fleet.services import jobs
from fleet.services.register import change_entry


@transaction.atomic
def change_building(*, building: Building, version: int, changes: dict[str, Any], now: datetime) -> Building:
    """Change it and look at its appliances again. Raises Conflict when it changed meanwhile."""
    changed = change_entry(building, version=version, changes=changes)
    for appliance_id in building.appliances.values_list("id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
    return changed
