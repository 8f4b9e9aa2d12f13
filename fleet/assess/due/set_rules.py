"""What a limit set asks for by the calendar: checks, another test after a finding, deliveries, repairing.

Read leniently: a version recorded before these had a shape kept whatever stood there, and a record is never changed.
What has no such shape starts nothing.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fleet.assess.due.record_fields import required_field_lists, required_fields_of
from fleet.intervals import faults
from fleet.models import LimitSet, LimitSetVersion

NO_INTERVAL = "none"
NAME_LENGTH = 200


@dataclass(frozen=True)
class SetRule:
    """part: which of the set's rules, empty for the set's own. name, list of required fields: of the required check
    that it puts on appliances.
    """

    part: str
    name: str
    rule: dict[str, Any]
    required_fields: str


def set_rules(limit_set: LimitSet, content: Mapping[str, Any]) -> list[SetRule]:
    """Those of one version's content that set an interval."""
    own, required_fields = content.get("interval") or {}, required_fields_of(limit_set.key, content)
    made = [SetRule("", limit_set.name, own, required_fields)] if own.get("type", NO_INTERVAL) != NO_INTERVAL else []
    for each in extra_intervals(content):
        rule = {name: value for name, value in each.items() if name not in ("name", "required_fields")}
        name = f"{limit_set.name}: {each['name']}"[:NAME_LENGTH]
        own_required_fields = each.get("required_fields")
        made.append(
            SetRule(
                each["name"],
                name,
                rule,
                own_required_fields if own_required_fields in required_field_lists() else required_fields,
            )
        )
    return made


def extra_intervals(content: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The further rules of a content. A version recorded before these had a shape kept whatever stood there, and a
    record is never changed: what can't be calculated with is left out.
    """
    entries = content.get("extra_intervals")
    known: dict[str, Mapping[str, Any]] = {}
    for each in entries if isinstance(entries, list) else []:
        if _is_rule(each):
            known.setdefault(each["name"], each)
    return list(known.values())


def _is_rule(entry: Any) -> bool:
    named = isinstance(entry, dict) and isinstance(entry.get("name"), str) and 0 < len(entry["name"]) <= 80
    return named and entry.get("type") != NO_INTERVAL and not faults(entry)


DELIVERY_EVENTS = {"days_after_check": "check", "days_after_visit": "visit"}


def retest_clock(version: LimitSetVersion) -> Mapping[str, Any] | None:
    """With type, event and days, and `limits` where it names some."""
    clock = version.content.get("retest")
    shaped = isinstance(clock, dict) and clock.get("type") == "days_after_event" and "event" in clock
    return clock if shaped and _is_whole(clock.get("days")) else None


def delivery_clocks(version: LimitSetVersion) -> Iterator[tuple[str, int, str]]:
    """Recipient, days, and the event that they count from."""
    for each in _objects(version.content.get("delivery")):
        for name, event in DELIVERY_EVENTS.items():
            if each.get("to") and _is_whole(each.get(name)):
                yield str(each["to"])[:100], each[name], event


def repair_days(version: LimitSetVersion, severity: str) -> Iterator[int]:
    """Within how many days a defect of this severity is to be repaired."""
    for each in _objects(version.content.get("repair")):
        if each.get("severity") == severity and _is_whole(each.get("days")):
            yield each["days"]


def _objects(value: Any) -> list[dict[str, Any]]:
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def tenancy_recipients(version: LimitSetVersion) -> tuple[str, ...]:
    """Who must have the record before a new tenancy begins, once each. Read as leniently as the other clocks."""
    entries = _objects(version.content.get("delivery"))
    asked = (each["to"] for each in entries if each.get("before") == "tenancy" and each.get("to"))
    return tuple(dict.fromkeys(str(each)[:100] for each in asked))
