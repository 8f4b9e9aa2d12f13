"""The statement for a client or a building over a period: one query behind its page, its PDF and its CSV.

Simple but true: what was recorded, by what was known on a day. It says "as recorded" and never that anything is safe.
"""

import uuid
from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.db.models import Q

from fleet.assess.appliances import by_appliance
from fleet.assess.due.due_dates import Calculated, calculate
from fleet.assess.due.required_checks import in_force_on, required_checks_of
from fleet.assess.judging.evidence import no_evidence
from fleet.assess.judging.outcomes import outcome_by_source
from fleet.assess.statements import Idle, Line, SetOutcome, Statement
from fleet.coded import coded, wrong
from fleet.errors import FleetError, NotFound
from fleet.limits import Verdict
from fleet.models import Appliance, Building, Client, Contractor, Defect, Flag, LimitSetVersion, OutOfUse, User, Visit
from fleet.models.follow_ups import STILL_OPEN
from fleet.presentation.due_dates import no_evidence_words, not_counted_words, undecided_words
from fleet.presentation.questions import oddity_words
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.follow_ups import visible_no_access
from fleet.queries.records import changes_since


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
        errors = {"ends": wrong("not_before", ends, first_on=begins)}
        raise FleetError("invalid", "The period ends before it begins.", errors=errors)
    building = visible_buildings(viewer).filter(id=building_id).first() if building_id else None
    if (client_id is None) == (building_id is None):
        raise FleetError("invalid", "Name a client or a building.", errors={"client": coded("client_or_building")})
    client = building.client if building else visible_clients(viewer).filter(id__in=[client_id]).first()
    if client is None:
        raise NotFound("not_found", "There is no such client or building that you may see.")
    lines = _lines(viewer, _in_service(client, building, begins, ends), begins, min(ends, today))
    return Statement(
        contractor=Contractor.objects.get(),
        client=client,
        building=building,
        begins=begins,
        ends=ends,
        known_on=today,
        lines=lines,
        changes=tuple(changes_since(viewer, client, building, begins)),
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


def _lines(viewer: User, appliances: list[Appliance], begins: date, ends: date) -> tuple[Line, ...]:
    """One line an appliance; what they are made of is read for all of them at once."""
    last, counts = _last_visits(appliances, begins, ends)
    days = {each.id: min(ends, each.in_service_to or ends) for each in appliances}
    required_checks = _required_checks(days)
    flags = by_appliance(Flag.objects.filter(appliance__in=appliances, closed_at__isnull=True))
    defects = by_appliance(Defect.objects.filter(STILL_OPEN, appliance__in=appliances))
    tried = visible_no_access(viewer).filter(appliance__in=appliances, local_date__range=(begins, ends))
    attempts = by_appliance(tried.order_by("at", "id"))
    reviewed = _reviewed_versions()
    idle = _idle(appliances, begins, days)
    return tuple(
        Line(
            appliance=each,
            last=(visit := last.get(each.id)),
            visits_in_period=counts[each.id],
            outcomes=_outcomes(visit, reviewed) if visit else (),
            flags=tuple(flags[each.id]),
            defects=tuple(defects[each.id]),
            not_evidence=tuple(oddity_words(*each) for each in no_evidence(visit)) if visit else (),
            idle=(stood := tuple(idle[each.id])),
            idle_at_end=bool(stood) and stood[-1].last == days[each.id],
            idle_throughout=_covers(stood, max(begins, each.in_service_from), days[each.id]),
            attempts=tuple(attempts[each.id]),
            **_next_due(required_checks[each.id], days[each.id]),
        )
        for each in appliances
    )


def _next_due(required_checks: list[Calculated], day: date) -> dict[str, Any]:
    """The earliest date that is certain, and the required checks that have none."""
    certain = ((each.due.due, each) for each in required_checks if each.due.due and not each.due.cannot_tell)
    due, first = min(certain, key=lambda pair: pair[0], default=(None, None))
    return {
        "due": due,
        "due_by": first.required_check.name if first else "",
        "late_days": max((day - due).days, 0) if due else 0,
        "due_doubt": no_evidence_words(first.no_evidence) if first else "",
        "undecided": tuple(filter(None, map(_undecided, required_checks))),
        "not_counted": tuple(
            f"{each.required_check.name}: {not_counted_words(each.tried.day, each.not_counted)}"
            for each in required_checks
            if each.tried
        ),
    }


def _undecided(made: Calculated) -> str:
    return undecided_words(made.required_check.name, made.due.due, made.due.cannot_tell)


def _idle(appliances: list[Appliance], begins: date, days: dict[uuid.UUID, date]) -> dict[uuid.UUID, list[Idle]]:
    """The days out of use of each, from the beginning of the period to its last day that counts, in order."""
    gathered: dict[uuid.UUID, list[Idle]] = defaultdict(list)
    for each in OutOfUse.objects.filter(appliance__in=appliances).order_by("begins"):
        restart = each.ends or date.max
        idle = Idle(max(each.begins, begins), min(restart - timedelta(days=1), days[each.appliance_id]))
        if idle.first <= idle.last:
            gathered[each.appliance_id].append(idle)
    return gathered


def _covers(idle: Sequence[Idle], first: date, last: date) -> bool:
    """Whether it stood still on every one of these days."""
    stood = sum((each.last - max(each.first, first)).days + 1 for each in idle)
    return stood >= (last - first).days + 1


def _required_checks(days: dict[uuid.UUID, date]) -> dict[uuid.UUID, list[Calculated]]:
    """The required checks that stood on each appliance's day, by the checks up to then: later ones change nothing."""
    gathered: dict[uuid.UUID, list[Calculated]] = defaultdict(list)
    for each in calculate(in_force_on(required_checks_of(days), days)):
        gathered[each.required_check.appliance_id].append(each)
    return gathered


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
    visits = (
        Visit.objects.filter(id__in=newest.values())
        .select_related("judgement", "record")
        .prefetch_related("readings__analyser__calibrations", "readings__person__qualifications")
    )
    plain = visits.defer("judgement__card", "judgement__derived", "record__content")
    return {each.appliance_id: each for each in plain}, counts


def _outcomes(visit: Visit, reviewed: set[tuple[str, str]]) -> tuple[SetOutcome, ...]:
    """By set and version, from the verdicts that stand for how the appliance was left.

    A set that applied and had nothing to judge is listed as not judged, never left out.
    """
    rows, readings = visit.judgement.said, list(visit.readings.all())
    by_set: dict[tuple[str, str], list[Verdict]] = defaultdict(list)
    for each in rows:
        by_set[each.set_name, each.set_version].append(each)
    return tuple(
        SetOutcome(
            name=name,
            version=version,
            kind=mine[0].kind,
            outcome=outcome_by_source(mine, readings, visit.judgement.turned_out.before_work),
            evidence=mine[0].evidence,
            reviewed=mine[0].kind != "limit" or (name, version) in reviewed,
        )
        for (name, version), mine in sorted(by_set.items(), key=lambda each: (not each[0][0], each[0]))
    )


def _reviewed_versions() -> set[tuple[str, str]]:
    """A set counts as reviewed when this version was, or a later one with the same content."""
    versions = LimitSetVersion.objects.select_related("limit_set")
    by_content = {(each.limit_set_id, str(each.content)) for each in versions if each.is_reviewed}
    return {
        (each.limit_set.name, str(each.number))
        for each in versions
        if (each.limit_set_id, str(each.content)) in by_content
    }
