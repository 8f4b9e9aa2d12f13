"""Facts that only some interval rules ask for: passes in a row, changes of the burner, others on the flue.

Read for all required checks of a batch at once, and not at all where none of its rules asks.
"""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import date
from typing import Any

from fleet.assess.appliances import facts_of, with_places
from fleet.assess.due.answers import conversions_of
from fleet.intervals.events import days_of
from fleet.limits import Verdict, standing
from fleet.models import Appliance, Judgement, LimitSetAssignment, RequiredCheck

EMISSION_CHANGE, BURNER_CHANGE = "emission_relevant_change", "burner_change"
# A limit of this severity says what is to be recorded; nothing fails by it.
NO_LIMIT = ("normal", "record")
WITHIN, ENDS_A_RUN = "within", ("outside", "cannot_tell")


class FactsAsked:
    """What the rules of these required checks ask for beyond the facts of their own appliance; each required check
    with its day.
    """

    def __init__(self, asked: Sequence[tuple[RequiredCheck, date]]) -> None:
        counting = [required_check for required_check, _day in asked if asks_for_passes(required_check)]
        changed = {required_check.appliance_id for required_check, _day in asked if asks_for_changes(required_check)}
        sharing = [required_check for required_check, _day in asked if asks_for_the_flue(required_check)]
        self._sets = _set_keys(counting)
        self._passed = (
            _passed_days(self._sets, counting, max(day for _required_check, day in asked)) if counting else {}
        )
        self._conversions = conversions_of(changed)
        self._flues = _flues(
            sharing,
            {required_check.appliance_id: required_check.appliance for required_check, _day in asked}
            if sharing
            else {},
        )

    def of(self, required_check: RequiredCheck, day: date, proven: Iterable[date]) -> dict[str, object]:
        """Those of one required check on its day. proven: the days of the checks that counted it and are evidence."""
        facts: dict[str, object] = {}
        if asks_for_passes(required_check):
            facts["consecutive_passes"] = self._passes(required_check, day, set(proven))
        if asks_for_changes(required_check):
            facts[f"{EMISSION_CHANGE}_on"] = self._changes(required_check)
        if asks_for_the_flue(required_check):
            facts["on_one_flue"] = [
                (each.name, facts_of(each, day))
                for each in self._flues.get(required_check.appliance.flue_group_id, ())
                if each.id != required_check.appliance_id and each.in_service_on(day)
            ]
        return facts

    def _passes(self, required_check: RequiredCheck, day: date, proven: Collection[date]) -> int:
        """The newest run of passes in sequence; a day that was no pass ends it."""
        judged = self._passed.get((required_check.appliance_id, self._sets.get(required_check.assignment_id, "")), {})
        count = 0
        for when in sorted((each for each in judged if each <= day), reverse=True):
            if not judged[when]:
                break
            count += when in proven
        return count

    def _changes(self, required_check: RequiredCheck) -> list[date]:
        """Those recorded as such, new burners, and conversions to another gas."""
        recorded = {name.lower(): value for name, value in required_check.appliance.facts.items()}
        found = {*days_of(EMISSION_CHANGE, recorded), *days_of(BURNER_CHANGE, recorded)}
        return sorted(found | {each.converted_on for each in self._conversions.get(required_check.appliance_id, ())})


def asks_for_passes(required_check: RequiredCheck) -> bool:
    rule: dict[str, Any] = required_check.rule
    return "relax_after_passes" in rule or any("relax_after_passes" in each for each in rule.get("variants", ()))


def asks_for_changes(required_check: RequiredCheck) -> bool:
    asked = required_check.rule.get("again_after")
    return bool(asked) and asked["event"] == EMISSION_CHANGE


def asks_for_the_flue(required_check: RequiredCheck) -> bool:
    return "shared_flue" in required_check.rule


def _set_keys(required_checks: Iterable[RequiredCheck]) -> dict[uuid.UUID | None, str]:
    """Of each assignment the key of its set."""
    ids = {each.assignment_id for each in required_checks if each.assignment_id}
    return dict(LimitSetAssignment.objects.filter(id__in=ids).values_list("id", "limit_set__key")) if ids else {}


def _passed_days(
    sets: dict[uuid.UUID | None, str], required_checks: Iterable[RequiredCheck], until: date
) -> dict[tuple[uuid.UUID, str], dict[date, bool]]:
    """By appliance and set: the days of its checks, and whether every check of the day was within that set's limits.

    A visit that is no check passes nothing, but what it found outside, or could not decide, ends a run all the same.
    """
    keys: dict[uuid.UUID, set[str]] = defaultdict(set)
    for each in required_checks:
        if each.assignment_id in sets:
            keys[each.appliance_id].add(sets[each.assignment_id])
    made = Judgement.objects.filter(visit__appliance__in=list(keys))
    rows = made.filter(visit__local_date__lte=until).order_by("visit__local_date", "visit_id")
    passed: dict[tuple[uuid.UUID, str], dict[date, bool]] = defaultdict(dict)
    names = ("visit__appliance_id", "visit__local_date", "visit__check_made__counts", "verdicts")
    for appliance_id, day, is_check, verdicts in rows.values_list(*names).iterator():
        for key in keys[appliance_id]:
            found = [Verdict(each) for each in verdicts["verdicts"] if each["set_id"] == key]
            if is_check or ends_a_run(found, key):
                days = passed[appliance_id, key]
                days[day] = days.get(day, True) and is_pass(found, key)
    return passed


def is_pass(verdicts: Iterable[Verdict], set_key: str) -> bool:
    """Whether a check was within the limits of that set: each of them judged, as found and as left.

    One finding outside ends it, and so does one that can't be decided: what was put right on the spot was not right.
    A limit that no reading met proves nothing; without any limit there is nothing to pass.
    """
    mine = _of_the_set(verdicts, set_key)
    return bool(mine) and not _any_ends(mine) and all(each.outcome == WITHIN for each in standing(mine))


def ends_a_run(verdicts: Iterable[Verdict], set_key: str) -> bool:
    """Whether anything was outside a limit of that set, or could not be decided."""
    return _any_ends(_of_the_set(verdicts, set_key))


def _of_the_set(verdicts: Iterable[Verdict], set_key: str) -> list[Verdict]:
    """Those by its limits, as found and as left."""
    return [
        each
        for each in verdicts
        if each.set_id == set_key and each.severity not in NO_LIMIT and each.phase in ("as_found", "as_left", None)
    ]


def _any_ends(verdicts: Iterable[Verdict]) -> bool:
    return any(each.outcome in ENDS_A_RUN for each in verdicts)


def _flues(
    required_checks: Iterable[RequiredCheck], known: dict[uuid.UUID, Appliance]
) -> dict[uuid.UUID | None, list[Appliance]]:
    """By flue the appliances on it; one that a required check is asked about goes as it came with that check."""
    groups = {each.appliance.flue_group_id for each in required_checks} - {None}
    gathered: dict[uuid.UUID | None, list[Appliance]] = defaultdict(list)
    if groups:
        for each in with_places(Appliance.objects.filter(flue_group__in=groups).order_by("name", "id")):
            gathered[each.flue_group_id].append(known.get(each.id, each))
    return gathered
