"""Appliances taken on and changed; sheets made, copied and retired, and their versions, after which each appliance that
has the sheet is looked at again."""

import uuid
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from fleet.assess.judging.cards import assignments_of
from fleet.assess.projections import sheet_version_rows
from fleet.assess.refusals import refuse_days_without_visit, refuse_overtaken, refuse_retiring_ahead
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.models import Appliance, ModelSheet, SheetVersion, User
from fleet.models.register import new_id
from fleet.services import jobs, required_checks
from fleet.services.records import append_record, put_rows
from fleet.services.register import add_kept, change_entry, change_kept, create_entry

SOURCE_LENGTH = 300


@transaction.atomic
def make_sheet(*, values: dict[str, Any], content: dict[str, Any], actor: User, now: datetime) -> ModelSheet:
    """A new sheet with `content` as its first version. Raises FleetError `invalid`, Conflict `reference_taken`."""
    sheet = create_entry(model=ModelSheet, values=values)
    add_sheet_version(sheet=sheet, content=content, actor=actor, now=now, id=new_id())
    return sheet


def copy_sheet(*, sheet: ModelSheet, values: dict[str, Any], actor: User, now: datetime) -> ModelSheet:
    """A new sheet with what `sheet` says today; its source says where it was copied from."""
    current = sheet.current
    if current is None:
        raise FleetError("nothing_to_copy", "The sheet has no version yet.")
    source = f"Copied from {sheet.name} v{current.number}. {current.content['source']}"[:SOURCE_LENGTH]
    return make_sheet(values=values, content=current.content | {"source": source.strip()}, actor=actor, now=now)


def change_sheet(*, sheet: ModelSheet, version: int, changes: dict[str, Any], now: datetime) -> ModelSheet:
    """Change its entry, or retire it from a day on. Raises Conflict when it changed meanwhile."""
    refuse_retiring_ahead(changes.get("retired_on"), now)
    return change_entry(entry=sheet, version=version, changes=changes)


@transaction.atomic
def add_sheet_version(
    *,
    sheet: ModelSheet,
    content: dict[str, Any],
    actor: User,
    now: datetime,
    id: uuid.UUID,
    based_on: int | None = None,
) -> SheetVersion:
    """The next version of `sheet`; `content` is a checked sheet. Its appliances' forecasts are made anew.

    based_on : the number of the version that the content was made from, 0 for none. Raises Conflict when another one
    came meanwhile.
    """
    ModelSheet.objects.select_for_update().get(id=sheet.id)
    newest = sheet.versions.order_by("-number").first()
    number = newest.number + 1 if newest else 1
    refuse_overtaken(based_on, number - 1)
    full = {"id": str(id), "sheet": str(sheet.id), "number": number, "content": content}
    record = append_record(kind="sheet_version", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=sheet_version_rows(full, record.id))
    for appliance_id in sheet.appliances.values_list("id", flat=True):
        jobs.request_job(kind="refresh_appliance", key=str(appliance_id), due_at=now)
    return SheetVersion.objects.get(id=id)


@transaction.atomic
def take_on_appliance(*, values: dict[str, Any], actor: User, now: datetime) -> Appliance:
    """A new appliance; the limit sets assigned to its building or client put their required checks on it at once."""
    _refuse_retired(values.get("sheet"))
    appliance = add_kept(model=Appliance, values=values, actor=actor, now=now)
    for assignment in assignments_of(appliance).filter(until__isnull=True):
        required_checks.open_required_checks(assignment=assignment, actor=actor, now=now)
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    _look_again_on_flues({appliance.flue_group_id}, appliance, now)
    return appliance


@transaction.atomic
def change_appliance(
    *, appliance: Appliance, version: int, changes: dict[str, Any], actor: User, now: datetime
) -> Appliance:
    """Change its entry and calculate anew what follows from it. Raises Conflict when it changed meanwhile.

    Where it turns out not to have left, or later, the required checks that ended with it stand again. An appliance that
    had been put in its place replaces it no more, and keeps its own required checks until it leaves itself: nobody has
    said that it did.
    """
    sheet = changes.get("sheet")
    if sheet is not None and sheet.id != appliance.sheet_id:
        _refuse_retired(sheet)
    if begins := changes.get("in_service_from"):
        before = Q(local_date__gte=appliance.in_service_from, local_date__lt=begins)
        refuse_days_without_visit(appliance, "in_service_from", before)
    if ends := changes.get("in_service_to"):
        refuse_days_without_visit(appliance, "in_service_to", Q(local_date__gt=ends))
    left, flue = appliance.in_service_to, appliance.flue_group_id
    changed = change_kept(entry=appliance, version=version, changes=changes, actor=actor, now=now)
    stays = changed.in_service_to is None or (left is not None and changed.in_service_to > left)
    if left is not None and stays and changed.in_service_on(changed.building.today(now)):
        required_checks.reopen_required_checks(appliance=changed, now=now)
    if left is not None and changed.in_service_to is None:
        Appliance.objects.filter(replaces=changed).update(replaces=None, version=F("version") + 1)
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    _look_again_on_flues({flue, changed.flue_group_id}, changed, now)
    return changed


def _look_again_on_flues(flues: set[uuid.UUID | None], appliance: Appliance, now: datetime) -> None:
    """A rule may go by what else is on the flue: what shares it now, or did until now, is calculated anew."""
    sharing = Appliance.objects.filter(flue_group__in=flues - {None}).exclude(id=appliance.id)
    if keys := [str(each) for each in sharing.values_list("id", flat=True)]:
        jobs.request_jobs(kind="refresh_appliance", keys=keys, due_at=now)


def _refuse_retired(sheet: ModelSheet | None) -> None:
    if sheet is not None and sheet.retired_on is not None:
        errors = {"sheet": coded("sheet_retired", name=sheet.name, retired_on=sheet.retired_on)}
        raise FleetError("invalid", "The sheet is retired.", errors=errors)
