"""What needs attention, and why: the start page's one query."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import QuerySet, prefetch_related_objects

from fleet.assess.foresight.forecast_accuracy import AnalyserOff
from fleet.models import Analyser, Defect, Delivery, Flag, Forecast, Person, Question, Revisit, User
from fleet.queries.access import visible_clients
from fleet.queries.follow_ups import open_questions, overdue_defects, overdue_deliveries
from fleet.queries.forecasts import analysers_off, visible_forecasts
from fleet.queries.jobs import failed_jobs
from fleet.queries.records import unreadable_records
from fleet.queries.register import visible_analysers, visible_people
from fleet.queries.revisits import MANY_ATTEMPTS, OF_WHO_GOES, named_in_doubt, nobody_named
from fleet.queries.visits import visible_corrections

DUE_WITHIN = timedelta(days=21)
RUNS_OUT_WITHIN = timedelta(days=42)
MOST_LATE = 20
MOST_UNNAMED = 20


@dataclass(frozen=True)
class Row:
    """One appliance with its reason; forecast where the reason is drift, revisit where it has one."""

    flag: Flag | None
    revisit: Revisit | None
    forecast: Forecast | None = None


@dataclass(frozen=True)
class Expiring:
    """A calibration or qualification whose last day is near or past."""

    until: date | None
    what: str
    subject: Analyser | Person


@dataclass(frozen=True)
class Attention:
    """Stop level first, one by one; then outside a limit; then what may be outside; then due by a date.

    needed_earlier : set for a day, needed before it.    passed : the day is over and nobody got there.
    no_access : tried often since the last visit.    unnamed : set for a day to come and nobody is named, the first of
    `unnamed_count`.    in_doubt : whoever is named for one of the next weeks is not qualified for it.
    corrections : those that take something back and wait for somebody else.
    extra_this_week, beyond : drift cases with an extra visit this week, and those beyond them.
    analysers_off : to be checked, for their readings lie to one side.
    """

    today: date
    unsafe: tuple[Flag, ...]
    outside: tuple[Row, ...]
    drifting: tuple[Row, ...]
    due: tuple[Row, ...]
    expiring: tuple[Expiring, ...]
    questions: tuple[Question, ...]
    corrections: int
    unreadable_records: int
    from_assumptions: int
    analysers_off: tuple[AnalyserOff, ...]
    needed_earlier: tuple[Revisit, ...]
    passed: tuple[Revisit, ...]
    no_access: tuple[Revisit, ...]
    unnamed: tuple[Revisit, ...]
    unnamed_count: int
    in_doubt: tuple[Revisit, ...]
    extra_this_week: int
    beyond: int
    late_deliveries: tuple[Delivery, ...]
    late_defects: tuple[Defect, ...]
    failed_work: int

    @property
    def is_quiet(self) -> bool:
        return not (self.unsafe or self.outside or self.drifting or self.due)


def attention_for(
    viewer: User, today: date, *, due_within: timedelta = DUE_WITHIN, client_id: UUID | None = None
) -> Attention:
    """Everything for the start page. `client_id` narrows the lists to one client; never what is at stop level."""
    flags = _open_flags(viewer)
    chosen = [each for each in flags if client_id in (None, each.appliance.building.client_id)]
    outside = [each for each in chosen if each.kind == Flag.Kind.OUTSIDE]
    drifting = [each for each in chosen if each.kind == Flag.Kind.DRIFT]
    revisits = {each.appliance_id: each for each in _revisits(viewer, client_id)}
    prefetch_related_objects([each for each in revisits.values() if each.is_set], *OF_WHO_GOES)
    flagged, monday = {each.appliance_id for each in flags}, today - timedelta(days=today.weekday())
    soon = [
        each for each in revisits.values() if each.latest <= today + due_within and each.appliance_id not in flagged
    ]
    unnamed, in_doubt = nobody_named(viewer, today), named_in_doubt(viewer, today, today + RUNS_OUT_WITHIN)
    if client_id:
        unnamed = unnamed.filter(appliance__building__client=client_id)
        in_doubt = (each for each in in_doubt if each.appliance.building.client_id == client_id)
    return Attention(
        today=today,
        unsafe=tuple(each for each in flags if each.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP)),
        outside=_rows(outside, revisits, {}),
        drifting=_rows(drifting, revisits, _forecasts_of(viewer, drifting)),
        due=tuple(Row(None, each) for each in sorted(soon, key=lambda each: each.latest)),
        expiring=_expiring(viewer, today),
        questions=tuple(open_questions(viewer)[:50]),
        corrections=visible_corrections(viewer).filter(ended_at__isnull=True).count(),
        unreadable_records=unreadable_records(viewer).count(),
        from_assumptions=visible_forecasts(viewer).filter(basis="assumptions", lower__isnull=False).count(),
        analysers_off=analysers_off(viewer),
        needed_earlier=_of(revisits, lambda each: each.needed_before_its_day),
        passed=_of(revisits, lambda each: each.has_passed(today)),
        no_access=_of(revisits, lambda each: each.no_access >= MANY_ATTEMPTS),
        unnamed=tuple(unnamed[:MOST_UNNAMED]),
        unnamed_count=unnamed.count(),
        in_doubt=tuple(in_doubt),
        extra_this_week=sum(each.extra_week == monday for each in revisits.values()),
        beyond=sum(each.extra == Revisit.Extra.BEYOND for each in revisits.values()),
        late_deliveries=tuple(overdue_deliveries(viewer, today)[:MOST_LATE]),
        late_defects=tuple(overdue_defects(viewer, today)[:MOST_LATE]),
        failed_work=failed_jobs(viewer).count(),
    )


def _of(revisits: dict[UUID, Revisit], concerns: Callable[[Revisit], bool]) -> tuple[Revisit, ...]:
    """Those that are odd in one way, the soonest last day first."""
    return tuple(sorted(filter(concerns, revisits.values()), key=lambda each: each.latest))


def _open_flags(viewer: User) -> list[Flag]:
    """One flag a reason; an appliance outside a limit in several ways keeps them all, worst first."""
    mine = Flag.objects.filter(appliance__building__client__in=visible_clients(viewer), closed_at__isnull=True)
    related = mine.select_related("appliance__building__client", "visit__judgement", "acknowledged_by")
    return list(related.order_by("opened_at", "id"))


def _revisits(viewer: User, client_id: UUID | None) -> QuerySet[Revisit]:
    mine = Revisit.objects.filter(appliance__building__client__in=visible_clients(viewer))
    chosen = mine.filter(appliance__building__client=client_id) if client_id else mine
    return chosen.select_related("appliance__building__client", "set_by")


def _forecasts_of(viewer: User, flags: list[Flag]) -> dict[tuple[UUID, str], Forecast]:
    """The forecasts of gases that these flags are about: course and series are long, so nobody else's are read."""
    about = visible_forecasts(viewer).filter(appliance__in=[each.appliance_id for each in flags], lower__isnull=False)
    return {(each.appliance_id, f"{each.rate} {each.quantity}"): each for each in about}


def _rows(
    flags: list[Flag], revisits: dict[UUID, Revisit], forecasts: dict[tuple[UUID, str], Forecast]
) -> tuple[Row, ...]:
    """The most urgent first among those of one last day."""
    rows = [Row(each, revisits.get(each.appliance_id), forecasts.get((each.appliance_id, each.key))) for each in flags]
    return tuple(sorted(rows, key=_by_day_and_urgency))


def _by_day_and_urgency(row: Row) -> tuple[date, float]:
    return (row.revisit.latest, -row.revisit.urgency) if row.revisit else (date.max, 0.0)


def _calibrated_until(analyser: Analyser, today: date) -> date | None:
    """The last day of the newest calibration; the day on which it failed, if it did."""
    newest = analyser.newest_calibration(today)
    if newest is None:
        return None
    return newest.valid_to if newest.passed else newest.done_on


def _expiring(viewer: User, today: date) -> tuple[Expiring, ...]:
    """Instruments and people whose newest paper ends soon or has ended."""
    ends: list[Expiring] = []
    for analyser in visible_analysers(viewer):
        ends.append(Expiring(_calibrated_until(analyser, today), "calibration", analyser))
    for person in visible_people(viewer).filter(role="technician"):
        last = max((each.valid_to for each in person.qualifications.all()), default=None)
        ends.append(Expiring(last, "qualification", person))
    near = [each for each in ends if each.until is None or each.until <= today + RUNS_OUT_WITHIN]
    return tuple(sorted(near, key=lambda each: each.until or date.min))
