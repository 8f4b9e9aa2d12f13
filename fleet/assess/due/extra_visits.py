"""The contractor's extra visits: which drift cases get one, and which stay listed with their risk accepted."""

import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Max

from fleet.models import NoAccess, Revisit

WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Case:
    """A revisit that would be made for drift alone, by a day.    urgency : the more urgent goes first."""

    id: uuid.UUID
    building: uuid.UUID
    urgency: float
    by: date


@dataclass(frozen=True)
class Allotment:
    """is_within : somebody comes by its day.    week : the Monday of the extra visit; None where none is needed."""

    is_within: bool
    week: date | None


def allot(
    cases: Iterable[Case], coming: Mapping[uuid.UUID, Sequence[date]], a_week: int, today: date
) -> dict[uuid.UUID, Allotment]:
    """Which cases are served by `a_week` extra visits in each week from today's on.

    coming: by building the days by which somebody comes anyway. A case whose building is visited by its day needs no
    extra visit; one extra visit serves all cases of its building that end in its week or later. The most urgent goes
    first and takes the latest week with room that isn't after its day, so that earlier weeks stay free for those that
    end earlier: of unit jobs with last days no other choice of weeks serves a more urgent set (Cormen et al.,
    Introduction to Algorithms, "A task-scheduling problem as a matroid").
    """
    this_week, room, going = monday(today), _Room(a_week), defaultdict[uuid.UUID, list[date]](list)
    allotted = {}
    for case in sorted(cases, key=lambda each: (-each.urgency, each.by, str(each.id))):
        last_week = max(monday(case.by), this_week)
        if any(day <= case.by for day in coming.get(case.building, ())) or any(
            week <= last_week for week in going[case.building]
        ):
            allotted[case.id] = Allotment(is_within=True, week=None)
            continue
        week = room.take((last_week - this_week) // WEEK)
        if week is not None:
            going[case.building].append(this_week + week * WEEK)
        allotted[case.id] = Allotment(week is not None, None if week is None else this_week + week * WEEK)
    return allotted


def monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


class _Room:
    """Weeks with room, by number from 0; full ones lead to the last week before them that isn't."""

    def __init__(self, a_week: int) -> None:
        self.a_week, self.taken = a_week, Counter[int]()
        self.before: dict[int, int] = {}

    def take(self, last: int) -> int | None:
        """The latest week with room that is no later than `last`, with a place taken in it; None where all are full."""
        week, passed = last, []
        while week >= 0 and (week in self.before or self.taken[week] >= self.a_week):
            passed.append(week)
            week = self.before.get(week, week - 1)
        self.before.update(dict.fromkeys(passed, week))
        if week < 0:
            return None
        self.taken[week] += 1
        return week


# ---- in the database ----


def cases_standing() -> list[Case]:
    """Every proposal that would be made for drift alone."""
    rows = Revisit.objects.filter(drift_by__isnull=False).order_by()
    found = rows.values_list("id", "appliance__building", "urgency", "drift_by")
    return [Case(id, building, urgency, by) for id, building, urgency, by in found if by]


def coming_to(buildings: Iterable[uuid.UUID]) -> dict[uuid.UUID, list[date]]:
    """By building the last days of what isn't rationed, and the days that are set."""
    coming: dict[uuid.UUID, list[date]] = defaultdict(list)
    rows = Revisit.objects.filter(appliance__building__in=set(buildings)).order_by()
    for building, *days in rows.values_list("appliance__building", "otherwise_by", "day"):
        coming[building] += filter(None, days)
    return coming


def last_attempts(appliance_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, date]:
    """The day of each one's newest attempt without access."""
    tried = NoAccess.objects.filter(appliance__in=list(appliance_ids)).order_by()
    return dict(tried.values_list("appliance").annotate(last=Max("local_date")))
