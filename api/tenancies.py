"""Tenancies: from which day somebody new lives with an appliance; a set may say that they must have its record."""

from datetime import date
from typing import Annotated, Any

from django.db.models import Q

from api.doors import EntryDoor, EntryListDoor
from api.fields import Reference
from api.filters import EXTERNAL_REFERENCE, by_id, of_building, yes_no
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, DayOf, Text
from fleet.models import Tenancy
from fleet.queries.buildings import visible_buildings
from fleet.queries.follow_ups import visible_tenancies
from fleet.queries.register import visible_appliances
from fleet.services.tenancies import begin_tenancy, change_tenancy


class TenancyIn(EntryIn):
    building: Annotated[Any, Reference(visible_buildings)]
    appliance: Annotated[
        Any, Reference(visible_appliances, null=True, help="Left out: every appliance of the building.")
    ] = LEFT_OUT
    begins: Annotated[date, DayOf(proven_by="source", help="The day on which somebody new moves in.")]
    source: Annotated[str, Text(300, help="Who said so. The tenant's name is not asked for.")]
    called_off: Annotated[str, Text(300, blank=True, help="Why it does not begin after all; empty where it does.")] = (
        LEFT_OUT
    )


class TenancyOut(EntryOut):
    row, columns = Tenancy, "building appliance begins source called_off"


class Tenancies(EntryListDoor):
    """Tenancies in the buildings that you may see. Who moves in must have the record first, where a set says so."""

    subject, query, shape_in, shape_out = "tenancies", visible_tenancies, TenancyIn, TenancyOut
    filters = (
        *of_building("building"),
        by_id("appliance", "appliance", visible_appliances),
        yes_no("called_off", ~Q(called_off=""), "It did not begin after all."),
        EXTERNAL_REFERENCE,
    )

    def create(self, values: dict[str, Any]) -> Tenancy:
        return begin_tenancy(values=values, now=clock.now())[0]


class OneTenancy(EntryDoor):
    """One tenancy. It stays in its place."""

    subject, query, shape_in, shape_out = "tenancies", visible_tenancies, TenancyIn, TenancyOut
    fixed = ("id", "building", "appliance")

    def change(self, entry: Tenancy, version: int, changes: dict[str, Any]) -> Tenancy:
        return change_tenancy(tenancy=entry, version=version, changes=changes, now=clock.now())
