"""An appliance's newest visit held against two tables: which verdicts differ, which limits begin or cease to apply."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.assess.judging.cards import card_for
from fleet.assess.judging.cases import cases_of
from fleet.assess.judging.outcomes import outcome_of
from fleet.assess.judging.versions import assignments_in_force
from fleet.limits import Card, Row, Verdict, evaluate
from fleet.limits.quantities import figure
from fleet.models import Analyser, Appliance, LimitSetVersion, SheetVersion, Visit

Draft = SheetVersion | LimitSetVersion


@dataclass(frozen=True)
class VerdictChange:
    """One reading against one limit, before and after. An outcome is empty where the limit did not stand there.

    label, value, rate, phase : "CO2", "9.49 %", "high", "as_left". source : the sheet or set that the limit stands in.
    before, after : the outcome; limit_before, limit_after : the figures to keep. now : the verdict by the draft, whole.
    """

    source: str
    label: str
    value: str
    rate: str
    phase: str
    before: str
    after: str
    limit_before: str
    limit_after: str
    now: Verdict | None = None

    @property
    def outcome_changes(self) -> bool:
        return self.before != self.after

    @property
    def is_left(self) -> bool:
        return self.phase == "as_left"


@dataclass(frozen=True)
class Applying:
    """A limit that begins or ceases to apply. rates : empty for all; unrecorded : the facts that this hangs on."""

    label: str
    limit: str
    rates: str
    unrecorded: tuple[str, ...]


class Tables:
    """The tables by which an appliance is judged today and by the draft.

    Appliances alike in all that a card is compiled from share theirs: compiling one takes longer than judging by it.
    """

    def __init__(self, draft: Draft, day: date) -> None:
        self.draft, self.day = draft, day
        self.assigned = list(assignments_in_force(day).values_list("limit_set", "client", "building", "appliance"))
        self.made: dict[tuple[Any, ...], list[Card]] = {}

    def of(self, appliance: Appliance, visit: Visit | None) -> list[Card]:
        analyser = next((each.analyser for each in visit.readings.all() if each.analyser), None) if visit else None
        alike = self._alike(appliance, visit, analyser)
        if alike not in self.made:
            versions = (None, self.draft)
            self.made[alike] = [
                card_for(appliance, self.day, analyser, visit=visit, instead=each).table for each in versions
            ]
        return self.made[alike]

    def _alike(self, appliance: Appliance, visit: Visit | None, analyser: Analyser | None) -> tuple[Any, ...]:
        """All that `card_for` asks of its arguments, for this day."""
        building = appliance.building
        places = {building.client_id, building.id, appliance.id}
        sets = frozenset(limit_set for limit_set, *place in self.assigned if not places.isdisjoint(place))
        burnt = (visit.fuel, visit.fuel_composition) if visit else tuple(appliance.burns_on(self.day))
        facts = json.dumps([appliance.kind, appliance.facts, burnt], sort_keys=True)
        return appliance.sheet_id, sets, building.time_zone, facts, analyser.id if analyser else None


# ---- verdicts ----


def judged_by(visit: Visit, tables: Iterable[Card]) -> list[tuple[str, tuple[Verdict, ...]]]:
    """By each table the outcome and all verdicts."""
    cases, readings = cases_of(visit), list(visit.readings.all())
    said = [evaluate(table, cases).verdicts for table in tables]
    return [(outcome_of(each, readings).outcome, each) for each in said]


def changed_verdicts(before: Iterable[Verdict], after: Iterable[Verdict]) -> Iterator[VerdictChange]:
    """Verdicts whose outcome or figures differ, each row of the card at each reading held against itself.

    A reading that no limit met is no verdict on anything: what merely lacked a reading before and after is left out.
    """
    earlier, later = _by_place(before), _by_place(after)
    for place in dict.fromkeys([*earlier, *later]):
        then, now = earlier.get(place), later.get(place)
        about = now or then
        if about is None or (_outcome(then), _limit(then)) == (_outcome(now), _limit(now)):
            continue
        if about.reading_key is None and about.outcome == "not_judged":
            continue
        yield _verdict_change(about, then, now)


def _by_place(verdicts: Iterable[Verdict]) -> dict[tuple[Any, ...], Verdict]:
    """By row of the card and reading; rows of one name are told apart by their order."""
    seen: Counter[tuple[Any, ...]] = Counter()
    placed = {}
    for each in verdicts:
        place = (each.kind, each.set_id, each.limit_id, each.quantity, each.reading_key, each.rate, each.phase)
        seen[place] += 1
        placed[(*place, seen[place])] = each
    return placed


def _verdict_change(about: Verdict, then: Verdict | None, now: Verdict | None) -> VerdictChange:
    return VerdictChange(
        source=about.set_name,
        label=about.label,
        value=_value(about),
        rate=about.rate or "",
        phase=about.phase or "",
        before=_outcome(then),
        after=_outcome(now),
        limit_before=_limit(then),
        limit_after=_limit(now),
        now=now,
    )


def _value(verdict: Verdict) -> str:
    if verdict.value is None:
        return ""
    said = "" if verdict.qualifier in ("=", "not_measured") else f"{verdict.qualifier} "
    shown = figure(verdict.value, verdict.quantity, verdict.lower, verdict.upper)
    return _figures(f"{said}{shown}", verdict.unit)


def _outcome(verdict: Verdict | None) -> str:
    return verdict.outcome if verdict else ""


def _limit(verdict: Verdict | None) -> str:
    return _figures(verdict.limit_text, verdict.unit) if verdict else ""


def _figures(shown: str, unit: str) -> str:
    """With its unit; a plain number has none."""
    return f"{shown} {unit.removeprefix('1')}".strip() if shown else ""


# ---- limits that begin or cease to apply ----


def applying(before: Card, after: Card) -> tuple[tuple[Applying, ...], tuple[Applying, ...]]:
    earlier, later = _rows(before), _rows(after)
    newly = [_applying(row) for key, row in later.items() if key not in earlier]
    return tuple(newly), tuple(_applying(row) for key, row in earlier.items() if key not in later)


def _rows(table: Card) -> dict[tuple[str, str, str], Row]:
    return {(row.kind, row.set_id, row.limit_id): row for row in table.rows if row.kind != "stop_level"}


def _applying(row: Row) -> Applying:
    rates = "" if row.rates is None else row.rate_text
    return Applying(row.label, _figures(row.limit_text, row.unit), rates, tuple(row.unrecorded))
