"""Assignments: a person's recorded decision that a limit set applies to a client, a building or an appliance."""

from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor
from api.fields import DayOf, Id, Reference
from api.filters import by_id, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import LimitSetAssignment
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_appliances
from fleet.queries.sheets import all_limit_sets, visible_assignments
from fleet.services.limit_sets import assign_limit_set, change_assignment

PLACES = ("client", "building", "appliance")


class AssignmentIn(StrictSerializer):
    id = Id(required=False)
    limit_set = Reference(all_limit_sets)
    client = Reference(visible_clients, required=False)
    building = Reference(visible_buildings, required=False)
    appliance = Reference(visible_appliances, required=False)
    since = DayOf()
    why = Text(500)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = [name for name in PLACES if name in attrs]
        if len(given) != 1:
            said = f"are {' and '.join(given) or 'missing'}; give exactly one of client, building, appliance"
            raise serializers.ValidationError({"client": said})
        return attrs


class AssignmentChange(StrictSerializer):
    why = Text(500)
    until = DayOf()


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
        return change_assignment(assignment=entry, version=version, changes=changes, now=clock.now())
