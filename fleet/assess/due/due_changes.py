"""When required checks fall due by a draft of a sheet or a limit set, beside when they do today."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.assess.due.due_dates import calculate
from fleet.assess.due.required_checks import appliances_reached, beginning, required_checks_of
from fleet.assess.due.set_rules import set_rules
from fleet.assess.judging.cards import assignments_in_force
from fleet.assess.judging.comparing import Draft
from fleet.coded import Coded
from fleet.models import Appliance, LimitSetAssignment, LimitSetVersion, RequiredCheck, SheetVersion


@dataclass(frozen=True)
class DueChange:
    """When a required check falls due before and after; None where it has no date. steps: how it comes about by the
    draft.

    doubt_before, doubt_after : why that date is the earliest only, or why there is none; empty where it is certain.
    """

    name: str
    before: date | None
    after: date | None
    steps: tuple[Coded, ...]
    doubt_before: tuple[Coded, ...] = ()
    doubt_after: tuple[Coded, ...] = ()


def assignments_on(draft: LimitSetVersion, day: date) -> list[LimitSetAssignment]:
    return list(assignments_in_force(day).filter(limit_set=draft.limit_set_id))


# ---- due dates ----


def due_changes(draft: Draft, appliances: Sequence[Appliance], day: date) -> dict[uuid.UUID, list[DueChange]]:
    """Each required check whose date or existence the draft would change, by appliance."""
    if isinstance(draft, SheetVersion):
        before, after = _by_facts(draft, appliances)
    else:
        before, after = _by_rule(draft, appliances, day)
    earlier, later = (
        {_key(each.required_check): each for each in calculate((one, day) for one in side)} for side in (before, after)
    )
    changes: dict[uuid.UUID, list[DueChange]] = {}
    for key in dict.fromkeys([*earlier, *later]):
        then, now = earlier.get(key), later.get(key)
        days = (then.due.due if then else None, now.due.due if now else None)
        doubts = (then.due.cannot_tell if then else (), now.due.cannot_tell if now else ())
        if days[0] != days[1] or doubts[0] != doubts[1] or (then is None) != (now is None):
            change = DueChange(key[-1], *days, now.steps if now else (), *doubts)
            changes.setdefault(key[0], []).append(change)
    return changes


def _key(required_check: RequiredCheck) -> tuple[uuid.UUID, uuid.UUID | None, str, str]:
    return required_check.appliance_id, required_check.assignment_id, required_check.part, required_check.name


def _standing(appliances: Iterable[Appliance]) -> list[RequiredCheck]:
    return list(required_checks_of(each.id for each in appliances).filter(until__isnull=True))


def _by_facts(draft: SheetVersion, appliances: Sequence[Appliance]) -> tuple[list[RequiredCheck], list[RequiredCheck]]:
    """Required checks as they stand, and with the facts of the draft in place of those of today's sheet.

    A fact recorded for the appliance itself still goes before the sheet's.
    """
    current = draft.sheet.current
    facts = _facts(draft.content)
    if _facts(current.content if current else {}) == facts:
        return [], []
    before = _standing(appliances)
    after = []
    for each in before:
        required_check, appliance = copy(each), copy(each.appliance)
        appliance.facts = facts | {name.lower(): value for name, value in appliance.facts.items()}
        required_check.appliance = appliance
        after.append(required_check)
    return before, after


def _facts(content: Mapping[str, Any]) -> dict[str, Any]:
    """What interval rules ask of a sheet, None where it doesn't say (see `assess.appliances.facts_of`)."""
    output_kw, control = content.get("rated_output_kw"), content.get("control")
    return {
        "condensing": content.get("condensing"),
        "control": control,
        "self_calibrating": None if control is None else control == "self_adapting",
        "output_kw": None if output_kw is None else float(output_kw),
    }


def _by_rule(
    draft: LimitSetVersion, appliances: Sequence[Appliance], day: date
) -> tuple[list[RequiredCheck], list[RequiredCheck]]:
    """The required checks of the set now, and by the interval rules of the draft: some begin, some end with them."""
    rules, assigned = (
        {each.part: each for each in set_rules(draft.limit_set, draft.content)},
        assignments_on(draft, day),
    )
    before = [each for each in _standing(appliances) if each.assignment_id in {one.id for one in assigned}]
    after = []
    for each in (one for one in before if one.part in rules):
        required_check = copy(each)
        required_check.rule, required_check.required_fields = rules[each.part].rule, rules[each.part].required_fields
        after.append(required_check)
    known = {each.id: each for each in appliances}
    standing = {(each.appliance_id, each.assignment_id, each.part) for each in before}
    for one in (each for each in assigned if each.until is None):
        for appliance in (known[each.id] for each in appliances_reached(one, day)):
            after += [
                beginning(one, appliance, rule)
                for rule in rules.values()
                if (appliance.id, one.id, rule.part) not in standing
            ]
    return before, after
