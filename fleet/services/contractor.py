"""Begin an installation: the contractor, its stop levels, the limit sets that ship, and the first manager."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction
from pydantic import ValidationError

from fleet.assess import planning_settings
from fleet.coded import coded
from fleet.errors import Conflict, FleetError
from fleet.intake.fields import errors_of, partial_of
from fleet.intake.register import ContractorIn
from fleet.models import Contractor, LimitSet, Role, User
from fleet.models.register import new_id
from fleet.services import jobs, limit_sets
from fleet.services.access import create_user
from fleet.services.audit import note_change
from fleet.services.register import change_entry, create_entry

SHIPPED_LIMIT_SETS = Path(__file__).resolve().parents[2] / "fixtures" / "reference" / "limit_sets.json"
FIRST_STOP_LEVELS = {
    "co_ppm_air_free": "400",
    "ambient_co_ppm": "35",
    "ambient_co_rise_ppm": "5",
    "co_rising_above_ppm": "100",
    "spillage_min": "5",
    "evidence": (
        "First stop levels, to be confirmed by the contractor: 400 ppm air-free is the criterion of ASHRAE "
        "Fundamentals ch. 28; 35 ppm in the room is the NIOSH 10-hour limit; a rise of 5 ppm is our own caution; above "
        "100 ppm and rising is common trade practice; 5 min of spillage is published residential practice for a cold "
        "vent, unverified."
    ),
}


@transaction.atomic
def begin_installation(*, name: str, address: str, emergency_numbers: list[str], is_demo: bool, now: datetime) -> User:
    """The contractor's row, first stop levels and the shipped limit sets. Returns the installation's own user.

    That user can't log in: it stands as the actor of what the installation brought with it.
    """
    if Contractor.objects.exists():
        raise Conflict("already_begun", "This installation has its contractor already.")
    Contractor.objects.create(name=name, address=address, emergency_numbers=emergency_numbers, is_demo=is_demo)
    installation = User(username="installation", role=Role.MANAGER, is_active=False, last_name="Set-up of the service")
    installation.set_unusable_password()
    installation.save()
    limit_sets.set_stop_levels(content=FIRST_STOP_LEVELS, actor=installation, now=now, id=new_id())
    _ship_limit_sets(installation, now)
    return installation


@transaction.atomic
def begin_with_manager(
    *,
    contractor: str,
    emergency_numbers: list[str],
    username: str,
    person: str,
    password: str,
    now: datetime,
    email: str = "",
) -> User:
    """An installation of one's own and its first manager, whole or not at all. Raises as the two do, and FleetError
    `invalid` for what can't be the contractor's."""
    said = {"name": contractor, "emergency_numbers": emergency_numbers}
    try:
        partial_of(ContractorIn).model_validate({name: each for name, each in said.items() if each})
    except ValidationError as bad:
        errors = errors_of(bad, ContractorIn)
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors) from bad
    begin_installation(name=contractor, address="", emergency_numbers=emergency_numbers, is_demo=False, now=now)
    user = create_user(username=username, password=password, role=Role.MANAGER, name=person, email=email)
    note_change(user=user, actor=None, now=now, code="began")
    return user


def _ship_limit_sets(actor: User, now: datetime) -> None:
    shipped = json.loads(SHIPPED_LIMIT_SETS.read_text(), parse_float=str)
    for each in shipped["profiles"]:
        if each["kind"] == "target":
            continue  # the manufacturer's targets stand on the sheets
        limit_set = create_entry(model=LimitSet, values={"key": each["id"].replace(".", "-"), "name": each["name"]})
        limit_sets.add_limit_set_version(limit_set=limit_set, content=each, actor=actor, now=now, id=new_id())


@transaction.atomic
def change_contractor(*, version: int, changes: dict[str, Any], shown: str, now: datetime) -> Contractor:
    """Change the contractor and its settings. What has consequences is only taken as a preview has shown it.

    shown: of that preview; empty where nothing changes that has consequences. Everybody is then refreshed by a job.
    Raises Conflict `not_shown`, or `changed_meanwhile` when it changed meanwhile; FleetError `invalid`.
    """
    contractor = Contractor.objects.get()
    if contractor.version != version:
        raise Conflict(
            "changed_meanwhile", "It is no longer at version %(version)s; read it again.", figures={"version": version}
        )
    tuned = planning_settings.tuned(contractor, changes)
    if tuned and shown != planning_settings.digest_of(version, tuned):
        errors = dict.fromkeys(tuned, coded("preview_first"))
        raise Conflict("not_shown", "What these settings would change has not been shown.", errors=errors)
    changed = change_entry(entry=contractor, version=version, changes=changes)
    if tuned:
        jobs.request_job(kind="refresh_everybody", key=f"planning settings {changed.version}", due_at=now)
    return changed
