"""Limit sets: a law's, a standard's, a contract's or the trade's limits, in versions, reviewed by a named person; what
a new version would change, beforehand. Assignments: a person's recorded decision that a set applies to a client, a
building or an appliance. The contractor's own levels at which firing ends."""

import uuid
from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from api.consequences import CompareDoor, PreviewOut, VersionsDoor
from api.doors import ActDoor, EntryDoor, EntryListDoor, MakeDoor, RecordedDoor
from api.exchange import ExportDoor, LimitSetFileOut
from api.fields import Reference
from api.filters import EXTERNAL_REFERENCE, by_id, yes_no
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.coded import Coded, coded
from fleet.intake.fields import LEFT_OUT, DayOf, Id, Shape, Text, Whole
from fleet.intake.limit_sets import KEY, LimitSetIn, ReviewIn, read_limit_set
from fleet.intake.register import StopLevelsIn
from fleet.models import LimitSet, LimitSetAssignment, LimitSetVersion, StopLevels
from fleet.presentation.contents import limit_set_differences
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.consequences import Preview, preview_limit_set
from fleet.queries.register import visible_appliances
from fleet.queries.sheets import all_limit_sets, all_stop_levels, visible_assignments
from fleet.services.exchange import LIMIT_SET_FILE
from fleet.services.limit_sets import (
    add_limit_set_version,
    assign_limit_set,
    change_assignment,
    change_limit_set,
    copy_limit_set,
    review_limit_set,
    set_stop_levels,
)


class NamedLimitSetIn(EntryIn):
    key: Annotated[str, Text(80, pattern=KEY)]
    name: Annotated[str, Text(200)]


class LimitSetChange(NamedLimitSetIn):
    retired_on: Annotated[
        date | None, DayOf(null=True, help="From then on it is assigned nowhere more; null takes it back.")
    ] = LEFT_OUT


class LimitSetOut(EntryOut):
    row, columns = LimitSet, "key name retired_on"
    current_number = serializers.IntegerField(source="current.number", default=None, allow_null=True)
    reviewed_by = serializers.CharField(
        source="current.reviewed_by", default="", help_text="Empty while nobody has reviewed what counts today."
    )


class NewLimitSetVersion(Shape):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT
    content: LimitSetIn


class Review(ReviewIn):
    number: Annotated[int, Whole(1, 1000000, help="Which version was checked: the newest.")]


class LimitSetVersionOut(RowOut):
    row, columns = LimitSetVersion, "id limit_set number evidence reviewed_by reviewed_on review_source record"
    content = serializers.DictField()


class LimitSets(EntryListDoor):
    """All limit sets."""

    subject, query, shape_in, shape_out = "limit_sets", all_limit_sets, NamedLimitSetIn, LimitSetOut
    filters = (EXTERNAL_REFERENCE, yes_no("retired", Q(retired_on__isnull=False), "Those assigned nowhere any more."))


class OneLimitSet(EntryDoor):
    """One limit set. Its key stays. Retired, it is assigned nowhere any more; where it is, it goes on."""

    subject, query = "limit_sets", all_limit_sets
    shape_in, shape_out, fixed = LimitSetChange, LimitSetOut, ("id", "key")

    def change(self, entry: LimitSet, version: int, changes: dict[str, Any]) -> LimitSet:
        return change_limit_set(limit_set=entry, version=version, changes=changes, now=clock.now())


class CopyLimitSet(MakeDoor):
    """A new set under its own key and name with what this one says today, for a person to review anew.

    Make the copy: 201; the same id again 200; with another key or name 409.
    """

    subject, query, shape_in, shape_out = "limit_sets", all_limit_sets, NamedLimitSetIn, LimitSetOut

    def create(self, values: dict[str, Any]) -> LimitSet:
        return copy_limit_set(limit_set=self.whole, values=values, actor=self.viewer, now=clock.now())


class ExportLimitSet(ExportDoor):
    """What the set says today, as a file that another installation takes."""

    subject, query, shape_out, file, word = "limit_sets", all_limit_sets, LimitSetFileOut, LIMIT_SET_FILE, "set"

    def besides(self, entry: LimitSet, current: LimitSetVersion) -> dict[str, Any]:
        return {"key": entry.key, "review": _review(current) if current.is_reviewed else None}


def _review(version: LimitSetVersion) -> dict[str, str]:
    return {"by": version.reviewed_by, "on": str(version.reviewed_on), "source": version.review_source}


class LimitSetVersions(VersionsDoor):
    """A set's versions; the newest counts today. Recorded, never edited; a new one is unreviewed."""

    subject, query, shape_in, shape_out = "limit_sets", all_limit_sets, NewLimitSetVersion, LimitSetVersionOut
    kind, of = "limit_set_version", "limit_set"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> LimitSetVersion:
        return add_limit_set_version(
            limit_set=self.whole,
            content=read_limit_set(content["content"]),
            actor=self.viewer,
            now=clock.now(),
            id=id,
            based_on=self.based_on,
        )


class PreviewLimitSet(ActDoor):
    """What would change if this content became the set's next version. Nothing is written.

    Judge the newest visit of every appliance under the set again, as if it had been read today, and calculate
    when its checks would fall due.
    """

    subject, query, shape_in, shape_out = "limit_sets", all_limit_sets, LimitSetIn, PreviewOut

    def taken(self, *, partial: bool = False) -> dict[str, Any]:
        return read_limit_set(self.body())

    def act(self, thing: LimitSet, version: int, said: dict[str, Any]) -> Preview:
        return preview_limit_set(limit_set=thing, content=said, viewer=self.viewer, day=clock.today())


class CompareLimitSet(CompareDoor):
    """What two versions of a limit set say differently, in words."""

    query, differences, word = all_limit_sets, limit_set_differences, "set"


class LimitSetReview(ActDoor):
    """A named person has checked the newest version against its source: the same content, as a reviewed version.

    Record who checked it, by which source, on which day; that day must have come.
    """

    subject, query, shape_in, shape_out = "limit_sets", all_limit_sets, Review, LimitSetVersionOut

    def act(self, thing: LimitSet, version: int, said: dict[str, Any]) -> LimitSetVersion:
        number = said.pop("number")
        return review_limit_set(limit_set=thing, review=said, number=number, actor=self.viewer, now=clock.now())


class NewStopLevels(StopLevelsIn):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT


class StopLevelsOut(RowOut):
    row = StopLevels
    columns = "id co_ppm_air_free ambient_co_ppm ambient_co_rise_ppm co_rising_above_ppm spillage_min evidence record"
    number = serializers.IntegerField(help_text="The highest is in force.")


class AllStopLevels(RecordedDoor):
    """Every version of the stop levels. Recorded, never edited."""

    subject, query, kind = "stop_levels", all_stop_levels, "stop_levels"
    shape_in, shape_out = NewStopLevels, StopLevelsOut

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> StopLevels:
        return set_stop_levels(content=content, actor=self.viewer, now=clock.now(), id=id)


PLACES = ("client", "building", "appliance")


class AssignmentIn(Shape):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT
    limit_set: Annotated[Any, Reference(all_limit_sets)]
    client: Annotated[Any, Reference(visible_clients)] = LEFT_OUT
    building: Annotated[Any, Reference(visible_buildings)] = LEFT_OUT
    appliance: Annotated[Any, Reference(visible_appliances)] = LEFT_OUT
    since: Annotated[date, DayOf()]
    why: Annotated[str, Text(500)]

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        given = [name for name in PLACES if getattr(self, name) is not None]
        if len(given) != 1:
            yield "client", coded("one_of_places", given=" and ".join(given) or None)


class AssignmentChange(Shape):
    why: Annotated[str, Text(500)]
    until: Annotated[date, DayOf()]


class AssignmentOut(RowOut):
    row = LimitSetAssignment
    columns = "id limit_set client building appliance since until why decided_by decided_at version"


class Assignments(EntryListDoor):
    """Assignments to the places that you may see; with one, the set's required checks begin."""

    subject, query, shape_in, shape_out = "assignments", visible_assignments, AssignmentIn, AssignmentOut
    filters = (
        by_id("client", "client", visible_clients),
        by_id("building", "building", visible_buildings),
        by_id("appliance", "appliance", visible_appliances),
        by_id("limit_set", "limit_set", all_limit_sets),
        yes_no("open", Q(until__isnull=True), "Still in force."),
    )

    def rows(self) -> QuerySet[LimitSetAssignment]:
        return super().rows().select_related("decided_by")

    def create(self, values: dict[str, Any]) -> LimitSetAssignment:
        return assign_limit_set(values=values, actor=self.viewer, now=clock.now())


class OneAssignment(EntryDoor):
    """One assignment: its reason can be changed, and it can be ended; its required checks end with it."""

    subject, query, shape_in, shape_out = "assignments", visible_assignments, AssignmentChange, AssignmentOut

    def change(self, entry: LimitSetAssignment, version: int, changes: dict[str, Any]) -> LimitSetAssignment:
        return change_assignment(assignment=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())
