"""The register as a viewer may see it: contractor, people, analysers, appliances with their sheets, flues and gas."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, QuerySet

from fleet.errors import NotFound
from fleet.models import (
    Analyser,
    Appliance,
    Calibration,
    Contractor,
    FlueGroup,
    GasSupply,
    ModelSheet,
    OutOfUse,
    Person,
    SheetVersion,
    User,
)
from fleet.queries.access import visible_clients

CALIBRATION_ENDS_SOON = timedelta(days=30)


def visible_people(viewer: User) -> QuerySet[Person]:
    if not viewer.is_active:
        return Person.objects.none()
    return Person.objects.select_related("user").prefetch_related("qualifications")


def visible_analysers(viewer: User) -> QuerySet[Analyser]:
    if not viewer.is_active:
        return Analyser.objects.none()
    return Analyser.objects.prefetch_related("calibrations")


@dataclass(frozen=True)
class AnalyserState:
    """An analyser on a day. newest: its newest calibration up to then, None where none is on record.

    code: in_calibration, ends_soon (within CALIBRATION_ENDS_SOON), lapsed, not_passed, none_on_record.
    """

    analyser: Analyser
    newest: Calibration | None
    code: str

    @classmethod
    def on(cls, day: date, analyser: Analyser) -> "AnalyserState":
        newest = analyser.newest_calibration(day)
        if newest is None:
            return cls(analyser, None, "none_on_record")
        if analyser.calibration_on(day) is None:
            return cls(analyser, newest, "lapsed" if newest.passed else "not_passed")
        ends_soon = newest.valid_to - day <= CALIBRATION_ENDS_SOON
        return cls(analyser, newest, "ends_soon" if ends_soon else "in_calibration")


def analyser_states(viewer: User, day: date) -> list[AnalyserState]:
    return [AnalyserState.on(day, each) for each in visible_analysers(viewer)]


def visible_gas_supplies(viewer: User) -> QuerySet[GasSupply]:
    return GasSupply.objects.filter(building__client__in=visible_clients(viewer)).select_related("building")


def visible_out_of_use(viewer: User) -> QuerySet[OutOfUse]:
    mine = OutOfUse.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")


def the_contractor(viewer: User) -> Contractor:
    """Name, numbers and choices, read by everybody who is logged in. Raises NotFound for anybody else."""
    if not viewer.is_active:
        raise NotFound("not_found", "There is no such contractor that you may see.")
    return Contractor.objects.get()


def visible_appliances(viewer: User) -> QuerySet[Appliance]:
    return (
        Appliance.objects.filter(building__client__in=visible_clients(viewer))
        .select_related("building__client", "sheet", "flue_group")
        .prefetch_related(
            Prefetch("sheet__versions", SheetVersion.objects.order_by("number")),
            Prefetch("building__gas_supplies", GasSupply.objects.order_by("since")),
        )
    )


def visible_flue_groups(viewer: User) -> QuerySet[FlueGroup]:
    return FlueGroup.objects.filter(building__client__in=visible_clients(viewer)).select_related("building")


def all_sheets(viewer: User) -> QuerySet[ModelSheet]:
    """Sheets are the contractor's knowledge, not a client's: everybody who is logged in reads them."""
    if not viewer.is_active:
        return ModelSheet.objects.none()
    return ModelSheet.objects.prefetch_related(Prefetch("versions", SheetVersion.objects.order_by("number")))
