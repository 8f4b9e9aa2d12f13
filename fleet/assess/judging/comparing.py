"""An appliance's newest visit held against two tables: which verdicts differ, which limits begin or cease to apply."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.assess.judging.cards import assignments_in_force, card_for
from fleet.assess.judging.cases import cases_of, is_of_series, number_of, without_logged
from fleet.assess.judging.outcomes import outcome_of, read_before_work
from fleet.limits import Card, Row, Verdict, evaluate
from fleet.limits.verdicts import OUTSIDE
from fleet.models import Analyser, Appliance, LimitSetVersion, SheetVersion, Visit

Draft = SheetVersion | LimitSetVersion


@dataclass(frozen=True)
class VerdictChange:
    """One reading against one limit, before and after. An outcome is empty where the limit did not stand there.

    then, now : the verdict by today's table and by the draft's, whole.
    """

    then: Verdict | None
    now: Verdict | None

    @property
    def about(self) -> Verdict:
        """One of the two, the draft's where there is one."""
        about = self.now or self.then
        assert about is not None
        return about

    @property
    def before(self) -> str:
        return _outcome(self.then)

    @property
    def after(self) -> str:
        return _outcome(self.now)

    @property
    def graded_otherwise(self) -> bool:
        """What is outside before and after, and asks for something else."""
        graded = [(each.severity, each.stop, each.action) for each in (self.then, self.now) if each]
        return self.before == self.after == OUTSIDE and graded[0] != graded[1]

    @property
    def turns(self) -> bool:
        """Whether somebody who reads the verdict is told something else; not so where only the figures moved."""
        return self.before != self.after or self.graded_otherwise

    @property
    def is_left(self) -> bool:
        return self.about.phase == "as_left"


@dataclass(frozen=True)
class Applying:
    """A limit that begins or ceases to apply. rates : empty for all; unrecorded : the facts that this hangs on.

    label, keeps : what is read and what it must keep, coded.
    """

    label: Sequence[Any]
    keeps: list[Any] | None
    unit: str
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
    """By each table the outcome and all verdicts, as a visit is judged."""
    cases, readings = cases_of(visit), list(visit.readings.all())
    said = [(table, without_logged(evaluate(table, cases)).verdicts) for table in tables]
    return [
        (outcome_of(each, readings, read_before_work(readings, visit.work.all(), table)).outcome, each)
        for table, each in said
    ]


def changed_verdicts(before: Iterable[Verdict], after: Iterable[Verdict]) -> Iterator[VerdictChange]:
    """Verdicts whose outcome, figures or grade differ, each row of the card at each reading held against itself.

    A reading that no limit met is no verdict on anything: what merely lacked a reading before and after is left out.
    """
    earlier, later = _by_place(before), _by_place(after)
    for place in dict.fromkeys([*earlier, *later]):
        then, now = earlier.get(place), later.get(place)
        about = now or then
        if about is None or _said(then) == _said(now):
            continue
        if about.reading_key is None and about.outcome == "not_judged":
            continue
        yield VerdictChange(then, now)


def _by_place(verdicts: Iterable[Verdict]) -> dict[tuple[Any, ...], Verdict]:
    """By row of the card and reading; rows of one name are told apart by their order.

    A reading speaks for itself, unless only its logged series is outside: then that speaks for it.
    """
    seen: Counter[tuple[Any, ...]] = Counter()
    placed: dict[tuple[Any, ...], Verdict] = {}
    for each in sorted(verdicts, key=lambda each: (each.outcome != OUTSIDE, is_of_series(each))):
        row = (each.kind, each.set_id, each.limit_id, each.quantity, each.rate, each.phase)
        seen[(*row, each.reading_key)] += 1
        of = number_of(each.reading_key) or each.reading_key
        placed.setdefault((*row, of, seen[(*row, each.reading_key)]), each)
    return placed


def _outcome(verdict: Verdict | None) -> str:
    return verdict.outcome if verdict else ""


def _said(verdict: Verdict | None) -> Any:
    if verdict is None:
        return None
    return verdict.outcome, verdict.keeps, verdict.unit, verdict.severity, verdict.stop, verdict.action


# ---- limits that begin or cease to apply, and what is otherwise of those that stay ----

OF_THE_VERSION = dict.fromkeys(
    ("set_version", "set_name", "evidence", "review", "reviewed_by", "source", "note", "source_limit_text"), ""
)


def same_for_it(before: Card, after: Card) -> bool:
    """Whether both ask the same of the appliance and say the same of what is turned on it; whoever wrote them."""
    return _asked(before) == _asked(after)


def _asked(table: Card) -> tuple[object, ...]:
    sheet = table.sheet.control, table.sheet.condensing, list(table.sheet.rates)
    rows = [row.but(**OF_THE_VERSION) for row in table.rows]
    return rows, list(table.adjusters), table.fuel, dict(table.facts), sheet


def applying(before: Card, after: Card) -> tuple[tuple[Applying, ...], tuple[Applying, ...]]:
    earlier, later = _rows(before), _rows(after)
    newly = [_applying(row) for key, row in later.items() if key not in earlier]
    return tuple(newly), tuple(_applying(row) for key, row in earlier.items() if key not in later)


def _rows(table: Card) -> dict[tuple[str, str, str], Row]:
    return {(row.kind, row.set_id, row.limit_id): row for row in table.rows if row.kind != "stop_level"}


def _applying(row: Row) -> Applying:
    rates = "" if row.rates is None else row.rate_text
    return Applying(row.label, row.keeps, row.unit, rates, tuple(row.unrecorded))
