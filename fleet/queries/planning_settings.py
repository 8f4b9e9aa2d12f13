"""What other settings of the contractor would change, said before anybody records them.

Calculated as a refresh does, from what is known now: once with the settings that stand, once with those of the draft.
"""

import uuid
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from fleet.assess.due.extra_visits import WEEK, Allotment, Case, allot, monday
from fleet.assess.due.follow_ups import last_day_of, open_defects
from fleet.assess.due.proposals import Known, Proposal
from fleet.assess.due.reasons import window_of
from fleet.assess.foresight.forecasts import accepted_risk, under_chance
from fleet.assess.planning_settings import digest_of, tuned
from fleet.models import Appliance, Contractor, Defect, Forecast, LimitSetVersion, RequiredCheck, Retest, Revisit, User
from fleet.models.appliances import not_gone
from fleet.presentation.consequences import NOTHING_CHANGES, SETTINGS, move_words, planning_summary
from fleet.presentation.forecasts import drift_words
from fleet.presentation.revisits import beyond_words, reason_words
from fleet.queries.access import visible_clients

WEEKS = 12
AT_ONCE = 500


@dataclass(frozen=True)
class Setting:
    """One choice, as it stands and as it would be."""

    name: str
    words: str
    before: Any
    after: Any


@dataclass(frozen=True)
class FlagChange:
    appliance: Appliance
    opens: bool
    sentence: str


@dataclass(frozen=True)
class Move:
    """A proposal whose last day moves, comes or goes."""

    appliance: Appliance
    before: date | None
    after: date | None
    sentence: str

    @property
    def days(self) -> int:
        """Later is positive; 0 where there is no day on one side."""
        return (self.after - self.before).days if self.before and self.after else 0

    @property
    def words(self) -> str:
        return move_words(self.before, self.after)


@dataclass(frozen=True)
class Week:
    """Extra visits in the week from this Monday, by the standing settings and by the draft."""

    begins: date
    before: int
    after: int


@dataclass(frozen=True)
class Beyond:
    """A case that stays listed beyond the extra visits, with the risk that is accepted by not coming."""

    appliance: Appliance
    urgency: float
    words: str


@dataclass(frozen=True)
class Preview:
    """What would change. Appliances of clients that the viewer may not see are counted in `unseen`.

    shown : of the version and the settings; they are recorded only with it.
    """

    version: int
    settings: tuple[Setting, ...]
    shown: str
    flags: tuple[FlagChange, ...]
    moves: tuple[Move, ...]
    weeks: tuple[Week, ...]
    budget_before: int
    budget_after: int
    beyond_before: int
    beyond: tuple[Beyond, ...]
    beyond_after: int
    unseen: int

    @property
    def summary(self) -> str:
        opening = sum(each.opens for each in self.flags)
        closing, beyond = len(self.flags) - opening, (self.beyond_before, self.beyond_after)
        return planning_summary(opening, closing, len(self.moves), beyond) if self.settings else str(NOTHING_CHANGES)


def preview_planning_settings(*, changes: Mapping[str, Any], viewer: User, now: datetime) -> Preview:
    """What would change if these became the contractor's settings."""
    standing = Contractor.objects.get()
    changing = tuned(standing, changes)
    draft = copy(standing)
    for name, value in changing.items():
        setattr(draft, name, value)
    settings = [Setting(name, str(SETTINGS[name]), getattr(standing, name), value) for name, value in changing.items()]
    before, after = _told(standing, draft, now) if changing else (_Told(), _Told())
    today = timezone.localtime(now).date()
    rationed = [_rationed(each, contractor, today) for each, contractor in ((before, standing), (after, draft))]
    return _compared(before, after, rationed, draft, settings, _Seen(viewer), standing, today)


# ---- what either would give ----


@dataclass
class _Told:
    """By appliance what its proposal says, before the extra visits are rationed; and the flags by what they are on."""

    proposals: dict[uuid.UUID, tuple[Proposal, Revisit]] = field(default_factory=dict)
    flags: dict[tuple[uuid.UUID, str], tuple[Appliance, str]] = field(default_factory=dict)

    def take(self, proposal: Proposal) -> None:
        for case in proposal.drift_cases():
            if case.is_flagged:
                self.flags[case.appliance_id, case.key] = (proposal.appliance, drift_words(case.figures))
        if proposal.reasons:
            self.proposals[proposal.appliance.id] = (proposal, Revisit(**proposal.values()))


def _told(standing: Contractor, draft: Contractor, now: datetime) -> tuple[_Told, _Told]:
    before, after = _Told(), _Told()
    everybody = list(Appliance.objects.filter(not_gone(now.date())).select_related("building__client"))
    for some in (everybody[n : n + AT_ONCE] for n in range(0, len(everybody), AT_ONCE)):
        days = {each.id: now.astimezone(ZoneInfo(each.building.time_zone)).date() for each in some}
        serving = [each for each in some if each.in_service_on(days[each.id])]
        ids = [each.id for each in serving]
        found = open_defects(ids)
        retests = list(Retest.objects.filter(appliance__in=ids, done_by__isnull=True).select_related("limit_set"))
        known = Known.of(
            ids,
            contractor=standing,
            now=now,
            required_checks=RequiredCheck.objects.filter(appliance__in=ids, until__isnull=True),
            defects=[each for each, _versions in found],
            retests=retests,
        )
        drafted = replace(
            known,
            contractor=draft,
            forecasts={id: [_horizon(each, standing, draft) for each in told] for id, told in known.forecasts.items()},
            defects=_dated(found, draft),
        )
        for appliance in serving:
            before.take(Proposal(appliance, days[appliance.id], known))
            after.take(Proposal(appliance, days[appliance.id], drafted))
    return before, after


def _horizon(forecast: Forecast, standing: Contractor, draft: Contractor) -> Forecast:
    """The forecast with the day on which the draft's accepted risk is used up."""
    accepted = accepted_risk(forecast.quantity, draft)
    is_same = accepted == accepted_risk(forecast.quantity, standing)
    return forecast if is_same else under_chance(forecast, accepted)


def _dated(
    found: Iterable[tuple[Defect, Sequence[LimitSetVersion]]], draft: Contractor
) -> dict[uuid.UUID, list[Defect]]:
    dated: dict[uuid.UUID, list[Defect]] = {}
    for each, versions in found:
        defect = copy(each)
        defect.due, defect.steps = last_day_of(each, versions, draft.repair_within_days)
        dated.setdefault(defect.appliance_id, []).append(defect)
    return dated


def _rationed(told: _Told, contractor: Contractor, today: date) -> dict[uuid.UUID, Allotment]:
    """Which cases get an extra visit; the proposals' last days are brought to it."""
    coming: dict[uuid.UUID, list[date]] = {}
    cases = []
    for id, (proposal, revisit) in told.proposals.items():
        building = proposal.appliance.building_id
        set_for = proposal.known.standing[id].day if id in proposal.known.standing else None
        coming.setdefault(building, []).extend(filter(None, (revisit.otherwise_by, set_for)))
        if revisit.drift_by:
            cases.append(Case(id, building, revisit.urgency, revisit.drift_by))
    allotted = allot(cases, coming, contractor.extra_visits_a_week, today)
    for id, allotment in allotted.items():
        proposal, revisit = told.proposals[id]
        window = window_of(proposal.reasons, is_beyond=not allotment.is_within, not_before=proposal.not_before)
        extra = Revisit.Extra.WITHIN if allotment.is_within else Revisit.Extra.BEYOND
        for name, value in (window | {"extra": extra}).items():
            setattr(revisit, name, value)
    return allotted


# ---- side by side ----


class _Seen:
    """Whose appliances the viewer may see; the others are counted."""

    def __init__(self, viewer: User) -> None:
        self.clients = set(visible_clients(viewer).values_list("id", flat=True))
        self.unseen: set[uuid.UUID] = set()

    def __call__(self, appliance: Appliance) -> bool:
        if appliance.building.client_id in self.clients:
            return True
        self.unseen.add(appliance.id)
        return False


def _compared(
    before: _Told,
    after: _Told,
    rationed: Sequence[Mapping[uuid.UUID, Allotment]],
    draft: Contractor,
    settings: Sequence[Setting],
    may_see: _Seen,
    standing: Contractor,
    today: date,
) -> Preview:
    flags = [each for each in _flag_changes(before, after) if may_see(each.appliance)]
    moves = [each for each in _moves(before, after) if may_see(each.appliance)]
    beyond = [each for each in _beyond(after, rationed[1], draft) if may_see(each.appliance)]
    counts = [Counter(each.week for each in some.values() if each.week) for some in rationed]
    weeks = [monday(today) + n * WEEK for n in range(WEEKS)]
    changing = {each.name: each.after for each in settings}
    return Preview(
        version=standing.version,
        settings=tuple(settings),
        shown=digest_of(standing.version, changing),
        flags=tuple(flags),
        moves=tuple(sorted(moves, key=lambda each: (-abs(each.days), each.appliance.name))),
        weeks=tuple(Week(each, counts[0][each], counts[1][each]) for each in weeks),
        budget_before=standing.extra_visits_a_week,
        budget_after=draft.extra_visits_a_week,
        beyond_before=sum(not each.is_within for each in rationed[0].values()),
        beyond=tuple(sorted(beyond, key=lambda each: -each.urgency)),
        beyond_after=sum(not each.is_within for each in rationed[1].values()),
        unseen=len(may_see.unseen),
    )


def _flag_changes(before: _Told, after: _Told) -> Iterable[FlagChange]:
    for key, (appliance, sentence) in after.flags.items():
        if key not in before.flags:
            yield FlagChange(appliance, True, sentence)
    for key, (appliance, sentence) in before.flags.items():
        if key not in after.flags:
            yield FlagChange(appliance, False, sentence)


def _moves(before: _Told, after: _Told) -> Iterable[Move]:
    for id in dict.fromkeys([*before.proposals, *after.proposals]):
        now = after.proposals.get(id)
        days = [each[1].latest if each else None for each in (before.proposals.get(id), now)]
        if days[0] != days[1]:
            proposal, revisit = now or before.proposals[id]
            yield Move(proposal.appliance, days[0], days[1], reason_words(revisit.why))


def _beyond(after: _Told, allotted: Mapping[uuid.UUID, Allotment], draft: Contractor) -> Iterable[Beyond]:
    for id, allotment in allotted.items():
        if not allotment.is_within:
            proposal, revisit = after.proposals[id]
            yield Beyond(proposal.appliance, revisit.urgency, beyond_words(revisit, draft.extra_visits_a_week))
