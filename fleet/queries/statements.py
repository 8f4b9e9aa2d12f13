"""The statement for a client or a building over a period: one query behind its page, its PDF and its CSV.

Simple but true: what was recorded, by what was known on a day. It says "as recorded" and never that anything is safe.
"""

import uuid
from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

from django.db.models import Q, QuerySet

from fleet.errors import FleetError, NotFound
from fleet.models import (
    Appliance,
    Building,
    Client,
    Contractor,
    Defect,
    Duty,
    Flag,
    LimitSetVersion,
    User,
    Visit,
)
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings

T = TypeVar("T", Duty, Flag, Defect)


@dataclass(frozen=True)
class SetOutcome:
    """Outcome of the last visit by one limit set, sheet or stop lines, in the version it was judged with.

    kind: "limit" for a limit set, "band" or "ceiling" for the maker's sheet, "stop line" for the contractor's own.
    """

    name: str
    version: str
    kind: str
    outcome: str
    evidence: str
    reviewed: bool

    @property
    def on_paper(self) -> str:
        """What may be printed: "within" by a set that nobody has reviewed is withheld; what fired never is."""
        return "withheld" if self.outcome == "within" and not self.reviewed else self.outcome


@dataclass(frozen=True)
class Line:
    """One appliance in service in the period.

    last: the newest visit up to the end of the period; outcomes of it; due: what is next due and which rule bound
    it; late_days: days past due at the end of the period; not_evidence: why the last record is none.
    """

    appliance: Appliance
    last: Visit | None
    visits_in_period: int
    outcomes: tuple[SetOutcome, ...]
    due: date | None
    due_by: str
    late_days: int
    flags: tuple[Flag, ...]
    defects: tuple[Defect, ...]
    not_evidence: tuple[str, ...]

    @property
    def outcome(self) -> str:
        """Of the last record, over all sets: outside, within, withheld (within by an unreviewed set) or not judged."""
        said = {each.on_paper for each in self.outcomes}
        return next((each for each in ("outside", "withheld", "within") if each in said), "not judged")


@dataclass(frozen=True)
class Statement:
    contractor: Contractor
    client: Client
    building: Building | None
    begins: date
    ends: date
    known_on: date
    lines: tuple[Line, ...]
    unreviewed: tuple[str, ...]

    @property
    def late(self) -> tuple[Line, ...]:
        return tuple(each for each in self.lines if each.late_days > 0)

    @property
    def without_record(self) -> tuple[Line, ...]:
        return tuple(each for each in self.lines if each.last is None)


def statement_for(
    viewer: User,
    *,
    client_id: uuid.UUID | None = None,
    building_id: uuid.UUID | None = None,
    begins: date,
    ends: date,
    today: date,
) -> Statement:
    """Exactly one of client and building. Raises NotFound where the viewer may not see it, FleetError `invalid`."""
    if ends < begins:
        errors = {"ends": f"is {ends}; it must not be before the beginning, {begins}"}
        raise FleetError("invalid", "The period ends before it begins.", errors=errors)
    building = visible_buildings(viewer).filter(id=building_id).first() if building_id else None
    if (client_id is None) == (building_id is None):
        raise FleetError("invalid", "Name a client or a building.", errors={"client": "or building: exactly one"})
    client = building.client if building else visible_clients(viewer).filter(id__in=[client_id]).first()
    if client is None:
        raise NotFound("not_found", "There is no such client or building that you may see.")
    lines = _lines(_in_service(client, building, begins, ends), begins, min(ends, today))
    return Statement(
        contractor=Contractor.objects.get(),
        client=client,
        building=building,
        begins=begins,
        ends=ends,
        known_on=today,
        lines=lines,
        unreviewed=tuple(
            sorted({f"{each.name} v{each.version}" for line in lines for each in line.outcomes if not each.reviewed})
        ),
    )


def _in_service(client: Client, building: Building | None, begins: date, ends: date) -> list[Appliance]:
    """The population: in service on at least one day of the period, with or without records."""
    there = Q(in_service_to__isnull=True) | Q(in_service_to__gte=begins)
    known = Appliance.objects.filter(there, building__client=client, in_service_from__lte=ends)
    if building:
        known = known.filter(building=building)
    return list(known.select_related("building", "sheet").order_by("building__name", "name", "id"))


def _lines(appliances: list[Appliance], begins: date, ends: date) -> tuple[Line, ...]:
    """One line an appliance; what they are made of is read for all of them at once."""
    last, counts = _last_visits(appliances, begins, ends)
    duties = _by_appliance(_duties(appliances, ends))
    flags = _by_appliance(Flag.objects.filter(appliance__in=appliances, closed_at__isnull=True))
    defects = _by_appliance(Defect.objects.filter(appliance__in=appliances, done=False, closed_by__isnull=True))
    reviewed = _reviewed_versions()
    return tuple(
        _line(
            each,
            last.get(each.id),
            counts[each.id],
            next(iter(duties[each.id]), None),
            tuple(flags[each.id]),
            tuple(defects[each.id]),
            ends,
            reviewed,
        )
        for each in appliances
    )


def _line(
    appliance: Appliance,
    last: Visit | None,
    visits_in_period: int,
    duty: Duty | None,
    flags: tuple[Flag, ...],
    defects: tuple[Defect, ...],
    ends: date,
    reviewed: set[tuple[str, str]],
) -> Line:
    return Line(
        appliance=appliance,
        last=last,
        visits_in_period=visits_in_period,
        outcomes=_outcomes(last, reviewed) if last else (),
        due=duty.due if duty else None,
        due_by=duty.name if duty else "",
        late_days=max((ends - duty.due).days, 0) if duty and duty.due and not appliance.in_service_to else 0,
        flags=flags,
        defects=defects,
        not_evidence=tuple(each.sentence for each in last.marks.all() if each.code in NOT_EVIDENCE) if last else (),
    )


def _last_visits(
    appliances: list[Appliance], begins: date, ends: date
) -> tuple[dict[uuid.UUID, Visit], Counter[uuid.UUID]]:
    """The newest test of each up to the end, and how many there were in the period."""
    tested = Visit.objects.filter(appliance__in=appliances, local_date__lte=ends).exclude(
        outcome=Visit.Outcome.NOT_TESTED
    )
    in_order = tested.order_by("local_date", "id").values_list("appliance_id", "id", "local_date")
    newest: dict[uuid.UUID, uuid.UUID] = {}
    counts: Counter[uuid.UUID] = Counter()
    for appliance_id, visit_id, day in in_order:
        newest[appliance_id] = visit_id
        counts[appliance_id] += day >= begins
    visits = Visit.objects.filter(id__in=newest.values()).select_related("judgement").prefetch_related("marks")
    plain = visits.defer("judgement__card", "judgement__derived")
    return {each.appliance_id: each for each in plain}, counts


def _duties(appliances: list[Appliance], ends: date) -> QuerySet[Duty]:
    standing = Q(until__isnull=True) | Q(until__gte=ends)
    known = Duty.objects.filter(standing, appliance__in=appliances, due__isnull=False, cannot_tell="")
    return known.order_by("due", "id")


def _by_appliance(rows: QuerySet[T]) -> dict[uuid.UUID, list[T]]:
    gathered: dict[uuid.UUID, list[T]] = defaultdict(list)
    for each in rows:
        gathered[each.appliance_id].append(each)
    return gathered


# Marks for which a record is no evidence: the instrument or the person was not valid on the day.
NOT_EVIDENCE = ("analyser_not_in_calibration", "analyser_unknown", "person_not_qualified", "person_unknown")


def _outcomes(visit: Visit, reviewed: set[tuple[str, str]]) -> tuple[SetOutcome, ...]:
    """By set and version: outside if anything as left (as found where nothing was read after) is outside.

    A set that applied and had nothing to judge is listed as not judged, never left out.
    """
    rows = visit.judgement.verdicts["verdicts"]
    last = "as left" if any(each["phase"] == "as left" for each in rows) else "as found"
    by_set: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for each in rows:
        by_set[each["set_name"], each["set_version"]].append(each)
    return tuple(
        SetOutcome(
            name=name,
            version=version,
            kind=mine[0]["kind"],
            outcome=_worst([each["outcome"] for each in mine if each["phase"] == last]),
            evidence=mine[0]["evidence"],
            reviewed=mine[0]["kind"] != "limit" or (name, version) in reviewed,
        )
        for (name, version), mine in sorted(by_set.items())
    )


def _worst(outcomes: list[str]) -> str:
    return next((each for each in ("outside", "within", "cannot tell") if each in outcomes), "not judged")


def _reviewed_versions() -> set[tuple[str, str]]:
    """A set counts as reviewed when this version was, or a later one with the same content."""
    versions = LimitSetVersion.objects.select_related("limit_set")
    by_content = {(each.limit_set_id, str(each.content)) for each in versions if each.is_reviewed}
    return {
        (each.limit_set.name, str(each.number))
        for each in versions
        if (each.limit_set_id, str(each.content)) in by_content
    }
