"""When each required check falls due, by the checks on record up to a day."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from fleet.assess.appliances import by_appliance, facts_in_common, facts_of_its_own
from fleet.assess.due.answers import AFTER_CONVERSION, answered_by_conversion, answered_by_register, conversions_of
from fleet.assess.due.checks import Check, checks_of
from fleet.assess.due.record_fields import lacking
from fleet.assess.due.rule_facts import FactsAsked
from fleet.assess.judging.evidence import Behind
from fleet.coded import Coded, coded
from fleet.intervals import Due, next_due
from fleet.models import Appliance, GasConversion, OutOfUse, RequiredCheck


@dataclass(frozen=True)
class Calculated:
    """A required check as it stood on a day: when it was due by the checks up to then, and the check it counted from.

    counted_by: the newest check that its rule counted; one before the required check asks for any, or outside its
    window, is
    none. no_evidence: why the record of that check is no evidence; empty where it is, or where there is no check.
    tried: a visit after the last complete check that lacks something, and lacks: the fields that it lacked.
    suspended_since: out of use on that day, since then; nothing is due. history: the days of all checks with every
    field that it asks for. facts: what its rule was asked about.
    """

    required_check: RequiredCheck
    due: Due
    counted_by: Check | None
    no_evidence: tuple[Coded, ...] = ()
    tried: Check | None = None
    lacks: tuple[str, ...] = ()
    suspended_since: date | None = None
    history: tuple[date, ...] = ()
    facts: Mapping[str, object] = field(default_factory=dict)

    @property
    def steps(self) -> tuple[Coded, ...]:
        """How the date comes about; at the end that the record of the check it counts from proves nothing, if so."""
        return (*self.due.steps, coded("no_evidence", why=self.no_evidence)) if self.no_evidence else self.due.steps

    @property
    def not_counted(self) -> tuple[Coded, ...]:
        """A visit was made, and yet the required check stands: why; empty where the last visit counted it."""
        if self.tried is None:
            return ()
        return self.tried.why_not or (coded("fields_lacking", names=self.lacks),)


def calculate(days: Iterable[tuple[RequiredCheck, date]]) -> list[Calculated]:
    """Each required check as of its day. Checks, and the register behind them, are read for all of them at once."""
    asked = list(days)
    if not asked:
        return []
    ids = {required_check.appliance_id for required_check, _day in asked}
    checks = checks_of(ids, max(day for _required_check, day in asked))
    behind = Behind({each.used for made in checks.values() for each in made})
    standstills = by_appliance(OutOfUse.objects.filter(appliance__in=ids))
    conversions = conversions_of(
        {
            required_check.appliance_id
            for required_check, _day in asked
            if required_check.required_fields == AFTER_CONVERSION
        }
    )
    more = FactsAsked(asked)
    known: dict[tuple[uuid.UUID, date], _Known] = {}
    in_common: dict[tuple[object, ...], dict[str, object]] = {}
    calculated = []
    for required_check, day in asked:
        place = required_check.appliance_id, day
        if place not in known:
            facts = _facts(required_check.appliance, day, in_common)
            mine = checks.get(place[0], ()), standstills.get(place[0], ()), conversions.get(place[0], ())
            known[place] = _Known(required_check.appliance, day, *mine, facts, behind)
        calculated.append(_calculate(required_check, known[place], more))
    return calculated


def _facts(
    appliance: Appliance, day: date, in_common: dict[tuple[object, ...], dict[str, object]]
) -> dict[str, object]:
    """As `facts_of`, what appliances have in common told once for all of them."""
    alike = appliance.sheet_id, appliance.building_id, appliance.fuel, appliance.kind, day
    if alike not in in_common:
        in_common[alike] = facts_in_common(appliance, day)
    return in_common[alike] | facts_of_its_own(appliance, day)


class _Known:
    """What is known of an appliance on a day: gathered once for all its required checks."""

    def __init__(
        self,
        appliance: Appliance,
        day: date,
        checks: Sequence[Check],
        standstills: Sequence[OutOfUse],
        conversions: Sequence[GasConversion],
        facts: dict[str, object],
        behind: Behind,
    ) -> None:
        self.appliance, self.day, self._behind = appliance, day, behind
        self.checks = [each for each in checks if each.day <= day]
        self.standstills = [each for each in standstills if each.begins <= day]
        self._conversions = conversions
        self.facts: Mapping[str, object] = facts | _of_its_days(self.checks, self.standstills, day)
        self._register: frozenset[str] | None = None

    def lacks(self, required_fields: str, check: Check) -> tuple[str, ...]:
        """The fields that a check lacks; the register is asked only for what its record leaves open."""
        if not required_fields or not lacking(required_fields, check.answered, check.conditions, self.facts):
            return ()
        if self._register is None:
            self._register = answered_by_register(self.appliance)
        answered = check.answered | self._register | self._behind.answers(check.used, check.day)
        if required_fields == AFTER_CONVERSION:
            answered |= answered_by_conversion(self._conversions, check.used, check.day)
        return lacking(required_fields, answered, check.conditions, self.facts)

    def no_evidence(self, check: Check | None) -> tuple[Coded, ...]:
        if check is None:
            return ()
        return self._behind.doubts(check.used, check.day)


def _of_its_days(checks: Sequence[Check], standstills: Sequence[OutOfUse], day: date) -> dict[str, object]:
    """Readings of the hour counter, and the days out of use as they stood on that day."""
    facts: dict[str, object] = {}
    if read := [{"date": each.day, "run_hours": each.run_hours_h} for each in checks if each.run_hours_h is not None]:
        facts["run_hours"] = read
    if standstills:
        facts["out_of_use"] = [{"from": each.begins, "to": _restart(each, day)} for each in standstills]
    return facts


def _restart(standstill: OutOfUse, day: date) -> date | None:
    """None where it still stood still on that day, whatever came later."""
    return standstill.ends if standstill.ends and standstill.ends <= day else None


def _calculate(required_check: RequiredCheck, known: _Known, more: FactsAsked) -> Calculated:
    tried: Check | None = None
    lacked: tuple[str, ...] = ()
    done: list[Check] = []
    for each in known.checks:
        lacks = known.lacks(required_check.required_fields, each) if each.counts else ()
        if each.counts and not lacks:
            tried, lacked = None, ()
            done.append(each)
        else:
            tried, lacked = each, lacks
    history = tuple(each.day for each in done)
    proven = (each.day for each in done if not known.no_evidence(each))
    facts = {**known.facts, **asked} if (asked := more.of(required_check, known.day, proven)) else known.facts
    by_rule = _due(required_check, history, known, facts)
    due, suspended_since = _with_standstills(by_rule, known)
    counted = next((each for each in reversed(done) if each.day == by_rule.counted), None)
    if tried and (tried.day < required_check.since or _is_over(required_check, by_rule)):
        tried, lacked = None, ()
    return Calculated(required_check, due, counted, known.no_evidence(counted), tried, lacked, suspended_since,
                    history, facts)  # fmt: skip


def _is_over(required_check: RequiredCheck, due: Due) -> bool:
    """It asked for one check, after an event or once for all, and has had it."""
    return required_check.rule.get("type") in ("once", "days_after_event") and due.due is None and not due.cannot_tell


def _due(required_check: RequiredCheck, history: Sequence[date], known: _Known, facts: Mapping[str, object]) -> Due:
    """By the checks; with none on record from the first check after coming into service, if that lay in the required
    check.

    An appliance that was long in service when its required check began was not commissioned on that day: its first
    check lies before the required check, and the rule runs on from the required check's beginning.
    """
    came, rule, day = known.appliance.in_service_from, required_check.rule, known.day
    if not history and "first" in rule:
        first = next_due(rule, [], start=came, today=day, facts=facts)
        if first.due is None or first.due >= required_check.since:
            return first
        rule = {name: value for name, value in rule.items() if name != "first"}
    return next_due(rule, history, start=max(required_check.since, came), today=day, facts=facts)


def _with_standstills(due: Due, known: _Known) -> tuple[Due, date | None]:
    """Out of use on that day: nothing is due. Fallen due while out of use: due on the day of the restart.

    What a set grants after a restart is in the date already.
    """
    for each in known.standstills:
        restart = _restart(each, known.day)
        if restart is None:
            return Due(None, steps=(*due.steps, coded("stands_still", idle_on=each.begins))), each.begins
        if due.due and each.begins <= due.due < restart:
            said = coded("due_on_restart", idle_on=each.begins, due_on=restart)
            due = replace(due, due=restart, earliest_keep=None, steps=(*due.steps, said))
    return due, None
