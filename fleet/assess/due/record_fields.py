"""The record's fields: which a rule asks for, what answers each of them, and which a check lacks.

`fixtures/reference/record_fields.json` is the dictionary: fields with what answers them, and lists of required fields,
which are lists
of fields that limit sets ask for. "M" is mandatory, "C" the same where its condition holds; "D" and "R" are advice.
"""

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

DICTIONARY = Path(__file__).resolve().parents[3] / "fixtures" / "reference" / "record_fields.json"
MANDATORY, CONDITIONAL = "M", "C"
# Answered by nothing in a visit: made by this program for every record, or an obligation with a day of its own.
NEVER_LACKING = frozenset({"program", "elsewhere"})


@dataclass(frozen=True)
class RequiredFields:
    """A list of fields under one name: whose it is, and how well it is known."""

    name: str
    title: str
    sets: tuple[str, ...]
    source: str
    evidence: str


@dataclass(frozen=True)
class RecordField:
    """One field. needed: by list of required fields M, C, D or R. alternatives: any of these answers it as well.

    condition: {"visit": ...} of the visit's own, {"fact": ...} of the appliance's facts, {"instead_of": [...]} where it
    only stands in for others and is never asked for by itself.
    fires: reading it needs the burner to fire, which after a stop for safety nothing asks for.
    """

    name: str
    words: str
    answered_by: tuple[str, ...]
    how: str
    needed: Mapping[str, str]
    alternatives: tuple[str, ...] = ()
    condition: Mapping[str, Any] = field(default_factory=dict)
    condition_words: str = ""
    fires: bool = False

    @property
    def may_be_answered(self) -> bool:
        return "inspection_points" in self.answered_by


@cache
def required_field_lists() -> dict[str, RequiredFields]:
    said = _dictionary()["required_field_lists"]
    return {
        name: RequiredFields(name, each["title"], tuple(each["sets"]), each["source"], each["evidence"])
        for name, each in said.items()
    }


@cache
def record_fields() -> dict[str, RecordField]:
    """Every field by its name, in the order of the dictionary."""
    return {
        each["name"]: RecordField(
            name=each["name"],
            words=each["words"],
            answered_by=tuple(each["answered_by"]),
            how=each["how"],
            needed=each["needed"],
            alternatives=tuple(each.get("or", ())),
            condition=each.get("condition", {}),
            condition_words=each.get("condition_words", ""),
            fires=each.get("fires", False),
        )
        for each in _dictionary()["fields"]
    }


@cache
def _dictionary() -> dict[str, Any]:
    return dict(json.loads(DICTIONARY.read_text()))


@cache
def _by_set() -> dict[str, str]:
    return {
        key: required_fields.name for required_fields in required_field_lists().values() for key in required_fields.sets
    }


def declarable() -> tuple[str, ...]:
    """Fields that the technician's own answer can fill."""
    return tuple(name for name, each in record_fields().items() if each.may_be_answered)


def required_fields_of(key: str, content: Mapping[str, Any]) -> str:
    """The list of required fields of a limit set: as its content names it, else by the set's key; empty where it asks
    for no fields.
    """
    named = str(content.get("required_fields") or "")
    return named if named in required_field_lists() else _by_set().get(key, "")


@cache
def asked_by(required_fields: str) -> tuple[RecordField, ...]:
    """The fields that a check must have, or must have under a condition, to count for a required check of this list of
    required fields.
    """
    return tuple(
        each
        for each in record_fields().values()
        if each.needed.get(required_fields) in (MANDATORY, CONDITIONAL) and not NEVER_LACKING & set(each.answered_by)
    )


@cache
def _needed_by(required_fields: str) -> tuple[tuple[str, tuple[str, ...], RecordField], ...]:
    """Name, alternatives and the field itself of each that is asked for, as `lacking` goes through them."""
    return tuple((each.name, each.alternatives, each) for each in asked_by(required_fields))


def lacking(
    required_fields: str, answered: Collection[str], conditions: Collection[str], facts: Mapping[str, object]
) -> tuple[str, ...]:
    """Names of the fields that the list of required fields asks for and nothing answered. None for a required check
    without a list of required fields.

    answered: by the record, the technician's answers and the register together; conditions: those of the visit that
    hold; facts: of the appliance.
    """
    return tuple(
        name
        for name, alternatives, each in _needed_by(required_fields)
        if name not in answered
        and not any(other in answered for other in alternatives)
        and is_asked(each, required_fields, conditions, facts)
    )


def is_asked(
    asked: RecordField, required_fields: str, conditions: Collection[str], facts: Mapping[str, object]
) -> bool:
    """Whether it is mandatory here: an M always, a C where its condition holds."""
    need = asked.needed.get(required_fields)
    if need != CONDITIONAL:
        return need == MANDATORY
    if "visit" in asked.condition:
        return asked.condition["visit"] in conditions
    return "fact" in asked.condition and facts.get(asked.condition["fact"]) is True


def asked_of(needs: Mapping[str, str]) -> Iterator[tuple[RecordField, list[str], list[str]]]:
    """The union of the fields of several required checks. needs: required check's name -> list of required fields.

    Each field once, with the names of the required checks for which it is mandatory, and of those that ask for it under
    its condition.
    """
    for each in record_fields().values():
        if NEVER_LACKING & set(each.answered_by):
            continue
        by = {name: each.needed.get(required_fields) for name, required_fields in needs.items()}
        always = [name for name, need in by.items() if need == MANDATORY]
        sometimes = [name for name, need in by.items() if need == CONDITIONAL]
        if always or sometimes:
            yield each, always, sometimes
