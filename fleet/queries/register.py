"""The register as a viewer may see it: contractor, people, analysers, appliances with their sheets, flues and gas."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, Q, QuerySet

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
    Reading,
    Revisit,
    Role,
    SheetVersion,
    User,
    Visit,
)
from fleet.models.access import may_see
from fleet.queries.access import visible_clients

CALIBRATION_ENDS_SOON = timedelta(days=30)


def visible_people(viewer: User) -> QuerySet[Person]:
    """Colleagues know one another, and the auditors of clients that they may see; an auditor knows those who stand on
    records of such clients, or are to come."""
    known = Person.objects.select_related("user").prefetch_related("qualifications")
    if not may_see(viewer, "people"):
        return known.none()
    mine = visible_clients(viewer)
    signed = Visit.objects.filter(appliance__building__client__in=mine, signed_by__isnull=False).values("signed_by")
    if may_see(viewer, "contact_details"):
        of_others = User.objects.filter(role=Role.AUDITOR, sees_all_clients=False).exclude(clients__in=mine)
        return known.filter(~Q(user__in=of_others) | Q(id__in=signed))
    measured = Reading.objects.filter(visit__appliance__building__client__in=mine, person__isnull=False)
    expected = Revisit.objects.filter(appliance__building__client__in=mine, technician__isnull=False)
    on_record = Q(id__in=signed) | Q(id__in=measured.values("person")) | Q(id__in=expected.values("technician"))
    return known.filter(on_record | Q(user=viewer))


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
