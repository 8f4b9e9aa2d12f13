"""Entries of the register that decide who is tested, by which rules and whose it is: each state of them is a record."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Model

from fleet.evidence import LONGEST_NUMBER
from fleet.models import Analyser, Appliance, Building, GasSupply, LimitSetAssignment, Record, RequiredCheck

# By kind of record the table, and what of an entry its record keeps each time that somebody makes or changes it.
ENTRIES: dict[str, tuple[type[Model], tuple[str, ...]]] = {
    "building": (Building, ("client", "altitude_m", "time_zone", "fuel")),
    "gas_supply": (GasSupply, ("building", "since", "fuel", "composition", "source")),
    "appliance": (
        Appliance,
        (
            *("building", "sheet", "kind", "serial", "fuel", "flue_group", "facts"),
            *("in_service_from", "in_service_to"),
        ),
    ),
    "analyser": (Analyser, ("name", "serial", "measures", "co2", "accuracy")),
    "assignment": (LimitSetAssignment, ("limit_set", "client", "building", "appliance", "since", "until", "why")),
    # Those that a person put on an appliance; the others follow from an assignment and its set.
    "required_check": (RequiredCheck, ("appliance", "name", "source", "rule", "since", "until", "why")),
}
# What ends with something else that is recorded, without a record of its own.
FOLLOWING = {("required_check", "until")}


def kind_of_entry(entry: Model) -> str:
    return next(kind for kind, (table, _fields) in ENTRIES.items() if isinstance(entry, table))


def entry_content(entry: Model) -> dict[str, Any]:
    """What a record keeps of the entry: ids and days as text, figures as decimal strings."""
    return {name: _plain(entry.serializable_value(name)) for name in ENTRIES[kind_of_entry(entry)][1]}


def _plain(value: Any) -> Any:
    """As canonical bytes can hold it: an object whose names may be in any script becomes pairs."""
    if isinstance(value, dict):
        pairs = [[name, _plain(each)] for name, each in sorted(value.items())]
        return dict(pairs) if all(name.isascii() for name in value) else pairs
    if isinstance(value, list):
        return [_plain(each) for each in value]
    is_long = isinstance(value, int) and abs(value) > LONGEST_NUMBER
    return str(value) if is_long or isinstance(value, UUID | date | float) else value


@dataclass(frozen=True)
class EntryChange:
    """Somebody made an entry, or changed it.

    was, stands : by field, as `entry_content`; was is empty where it was made. names : what its ids stand for.
    """

    record: Record
    was: Mapping[str, Any]
    stands: Mapping[str, Any]
    names: Mapping[str, str]
