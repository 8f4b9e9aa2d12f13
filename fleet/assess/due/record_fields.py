"""The record's fields: which a rule asks for, what answers each of them, and which a check lacks.

`fixtures/reference/record_fields.json` is the dictionary: fields with what answers them, and regimes, which are lists
of fields that limit sets ask for. "M" is mandatory, "C" the same where its condition holds; "D" and "R" are advice.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

DICTIONARY = Path(__file__).resolve().parents[3] / "fixtures" / "reference" / "record_fields.json"
MANDATORY, CONDITIONAL = "M", "C"
# Answered by nothing in a visit: made by this program for every record, or an obligation with a day of its own.
NEVER_LACKING = frozenset({"program", "elsewhere"})


@dataclass(frozen=True)
class Regime:
    """A list of fields under one name: whose it is, and how well it is known."""

    name: str
    title: str
    sets: tuple[str, ...]
    source: str
    evidence: str


@dataclass(frozen=True)
class RecordField:
    """One field. needed: by regime M, C, D or R. alternatives: any of these answers it as well.

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
    def may_be_declared(self) -> bool:
        return "declared" in self.answered_by


@dataclass(frozen=True)
class Missing:
    """A field that a check lacks: its name, in words, and what was looked at without finding it."""

    name: str
    words: str
    why: str
    found: str


@cache
def regimes() -> dict[str, Regime]:
    said = _dictionary()["regimes"]
    return {
        name: Regime(name, each["title"], tuple(each["sets"]), each["source"], each["evidence"])
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
    return {key: regime.name for regime in regimes().values() for key in regime.sets}


def declarable() -> tuple[str, ...]:
    """Fields that the technician's own answer can fill."""
    return tuple(name for name, each in record_fields().items() if each.may_be_declared)


def regime_of(key: str, content: Mapping[str, Any]) -> str:
    """The regime of a limit set: as its content names it, else by the set's key; empty where it asks for no fields."""
    named = str(content.get("regime") or "")
    return named if named in regimes() else _by_set().get(key, "")


@cache
def asked_by(regime: str) -> tuple[RecordField, ...]:
    """The fields that a check must have, or must have under a condition, to discharge a duty of this regime."""
    return tuple(
        each
        for each in record_fields().values()
        if each.needed.get(regime) in (MANDATORY, CONDITIONAL) and not NEVER_LACKING & set(each.answered_by)
    )


@cache
def _needed_by(regime: str) -> tuple[tuple[str, tuple[str, ...], RecordField], ...]:
    """Name, alternatives and the field itself of each that is asked for, as `lacking` goes through them."""
    return tuple((each.name, each.alternatives, each) for each in asked_by(regime))


def lacking(
    regime: str, answered: Collection[str], conditions: Collection[str], facts: Mapping[str, object]
) -> tuple[str, ...]:
    """Names of the fields that the regime asks for and nothing answered. None for a duty without a regime.

    answered: by the record, the technician's answers and the register together; conditions: those of the visit that
    hold; facts: of the appliance.
    """
    return tuple(
        name
        for name, alternatives, each in _needed_by(regime)
        if name not in answered
        and not any(other in answered for other in alternatives)
        and is_asked(each, regime, conditions, facts)
    )


def is_asked(asked: RecordField, regime: str, conditions: Collection[str], facts: Mapping[str, object]) -> bool:
    """Whether it is mandatory here: an M always, a C where its condition holds."""
    need = asked.needed.get(regime)
    if need != CONDITIONAL:
        return need == MANDATORY
    if "visit" in asked.condition:
        return asked.condition["visit"] in conditions
    return "fact" in asked.condition and facts.get(asked.condition["fact"]) is True


def missing_of(regime: str, names: Iterable[str]) -> tuple[Missing, ...]:
    """The same in full: each field in words, by which rule it is asked for, and where it was looked for."""
    title = regimes()[regime].title if regime in regimes() else ""
    return tuple(_missing(record_fields()[name], regime, title) for name in names if name in record_fields())


def _missing(each: RecordField, regime: str, title: str) -> Missing:
    why = _("%(list)s asks for it") % {"list": title}
    if each.needed.get(regime) == CONDITIONAL and each.condition_words:
        why = f"{why} {each.condition_words}"
    return Missing(each.name, each.words, why, _("looked for: %s") % each.how)


def asked_of(needs: Mapping[str, str]) -> Iterator[tuple[RecordField, list[str], list[str]]]:
    """The union of the fields of several duties. needs: duty's name -> regime.

    Each field once, with the names of the duties for which it is mandatory, and of those that ask for it under its
    condition.
    """
    for each in record_fields().values():
        if NEVER_LACKING & set(each.answered_by):
            continue
        by = {name: each.needed.get(regime) for name, regime in needs.items()}
        always = [name for name, need in by.items() if need == MANDATORY]
        sometimes = [name for name, need in by.items() if need == CONDITIONAL]
        if always or sometimes:
            yield each, always, sometimes
