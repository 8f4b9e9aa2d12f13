"""Limit sets made, copied, retired; their versions and review, where they apply, and the contractor's stop levels."""

import uuid
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fleet.assess.due import required_checks as due_required_checks
from fleet.assess.due.record_fields import required_fields_of
from fleet.assess.projections import limit_set_version_rows, stop_levels_rows
from fleet.assess.refusals import refuse_ahead, refuse_overtaken, refuse_retiring_ahead
from fleet.coded import coded, wrong
from fleet.errors import FleetError
from fleet.models import LimitSet, LimitSetAssignment, LimitSetVersion, StopLevels, User
from fleet.models.register import new_id
from fleet.services import required_checks
from fleet.services.records import append_record, put_rows
from fleet.services.register import add_kept, change_entry, change_kept, create_entry


@transaction.atomic
def add_limit_set_version(
    *,
    limit_set: LimitSet,
    content: dict[str, Any],
    actor: User,
    now: datetime,
    id: uuid.UUID,
    review: dict[str, str] | None = None,
    based_on: int | None = None,
) -> LimitSetVersion:
    """The next version of the set. `review` names who checked it, on which day and by which source.

    The next due date of what is under the set follows this version; what was judged keeps the version of its day.
    based_on : the number of the version that the content was made from, 0 for none. Raises Conflict when another one
    came meanwhile.
    """
    _refuse_review_ahead(review, now)
    LimitSet.objects.select_for_update().get(id=limit_set.id)
    newest = limit_set.versions.order_by("-number").first()
    refuse_overtaken(based_on, newest.number if newest else 0)
    full = {
        "id": str(id),
        "limit_set": str(limit_set.id),
        "number": newest.number + 1 if newest else 1,
        "content": content,
        "review": review or {},
    }
    record = append_record(kind="limit_set_version", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=limit_set_version_rows(full, record.id))
    for assignment in limit_set.assignments.filter(until__isnull=True):
        required_checks.follow_set(assignment=assignment, actor=actor, now=now)
    return LimitSetVersion.objects.get(id=id)


def _refuse_review_ahead(review: dict[str, str] | None, now: datetime) -> None:
    today = timezone.localtime(now).date()  # the office's
    if review and date.fromisoformat(review["on"]) > today:
        errors = {"on": wrong("not_ahead", date.fromisoformat(review["on"]), today_on=today)}
        raise FleetError("invalid", "The review lies ahead.", errors=errors)


@transaction.atomic
def make_limit_set(*, values: dict[str, Any], content: dict[str, Any], actor: User, now: datetime) -> LimitSet:
    """A new set with `content` as its first version, which nobody has reviewed. Raises FleetError `invalid`."""
    limit_set = create_entry(model=LimitSet, values=values)
    add_limit_set_version(limit_set=limit_set, content=content, actor=actor, now=now, id=new_id())
    return limit_set


def copy_limit_set(*, limit_set: LimitSet, values: dict[str, Any], actor: User, now: datetime) -> LimitSet:
    """A new set under its own key and name with what `limit_set` says today; a person must review it anew."""
    current = limit_set.current
    if current is None:
        raise FleetError("nothing_to_copy", "The set has no version yet.")
    notes = [current.content.get("notes", ""), f"Copied from {limit_set.name} v{current.number}."]
    content = current.content | {"id": values["key"], "name": values["name"], "notes": "\n".join(filter(None, notes))}
    if required_fields := required_fields_of(limit_set.key, current.content):
        content |= {
            "required_fields": required_fields
        }  # a shipped set has its own by its key, which the copy doesn't have
    return make_limit_set(values=values, content=content, actor=actor, now=now)


def change_limit_set(*, limit_set: LimitSet, version: int, changes: dict[str, Any], now: datetime) -> LimitSet:
    """Change its entry, or retire it from a day on. Raises Conflict when it changed meanwhile."""
    refuse_retiring_ahead(changes.get("retired_on"), now)
    return change_entry(entry=limit_set, version=version, changes=changes)


def review_limit_set(
    *, limit_set: LimitSet, review: dict[str, str], actor: User, now: datetime, number: int | None = None
) -> LimitSetVersion:
    """A named person has checked the newest version: the same content again, as a reviewed version.

    number : which version was checked. Raises Conflict where it isn't the newest, FleetError for a day to come.
    """
    newest = limit_set.versions.order_by("-number").first()
    if newest is None:
        raise FleetError("nothing_to_review", "The set has no version yet.")
    return add_limit_set_version(
        limit_set=limit_set, content=newest.content, actor=actor, now=now, id=new_id(), review=review, based_on=number
    )


@transaction.atomic
def assign_limit_set(*, values: dict[str, Any], actor: User, now: datetime) -> LimitSetAssignment:
    """A person's decision that the set applies: values has limit_set, one place, since, why. Required checks follow."""
    if (retired_on := values["limit_set"].retired_on) is not None:
        errors = {"limit_set": coded("set_retired", name=values["limit_set"].name, retired_on=retired_on)}
        raise FleetError("invalid", "The set is retired.", errors=errors)
    LimitSet.objects.select_for_update().get(id=values["limit_set"].id)  # a version made meanwhile must see it
    decided = values | {"decided_by": actor, "decided_at": now}
    assignment = add_kept(model=LimitSetAssignment, values=decided, actor=actor, now=now)
    required_checks.open_required_checks(assignment=assignment, actor=actor, now=now)
    return assignment


@transaction.atomic
def change_assignment(
    *, assignment: LimitSetAssignment, version: int, changes: dict[str, Any], actor: User, now: datetime
) -> LimitSetAssignment:
    """Change its reason, or end it on a day: its required checks end with it. Raises Conflict when it changed
    meanwhile.
    """
    refuse_ahead(changes.get("until"), due_required_checks.day_at(assignment, now))
    changed = change_kept(entry=assignment, version=version, changes=changes, actor=actor, now=now)
    if changed.until:
        required_checks.end_required_checks(assignment=changed, until=changed.until, now=now)
    return changed


@transaction.atomic
def set_stop_levels(*, content: dict[str, Any], actor: User, now: datetime, id: uuid.UUID) -> StopLevels:
    """The contractor's lines from now on; the five figures and their evidence must all be given."""
    newest = StopLevels.objects.order_by("-number").first()
    number = newest.number + 1 if newest else 1
    full = {"id": str(id), "number": number, **content}
    record = append_record(kind="stop_levels", subject=id, content=full, actor=actor, now=now)
    put_rows(rows=stop_levels_rows(full, record.id))
    return StopLevels.objects.get(id=id)
