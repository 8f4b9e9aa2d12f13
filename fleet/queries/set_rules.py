"""The interval rules of a limit set: its own, and each further one with its name. Each puts a duty on appliances."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fleet.intervals import check_rule
from fleet.models import LimitSet
from fleet.queries.record_fields import regime_of, regimes

NO_INTERVAL = "none"
NAME_LENGTH = 200


@dataclass(frozen=True)
class SetRule:
    """part: which of the set's rules, empty for the set's own. name, regime: of the duty that it puts on appliances."""

    part: str
    name: str
    rule: dict[str, Any]
    regime: str


def set_rules(limit_set: LimitSet, content: Mapping[str, Any]) -> list[SetRule]:
    """Those of one version's content that set an interval."""
    own, regime = content.get("interval") or {}, regime_of(limit_set.key, content)
    made = [SetRule("", limit_set.name, own, regime)] if own.get("type", NO_INTERVAL) != NO_INTERVAL else []
    for each in extra_intervals(content):
        rule = {name: value for name, value in each.items() if name not in ("name", "regime")}
        name = f"{limit_set.name}: {each['name']}"[:NAME_LENGTH]
        own_regime = each.get("regime")
        made.append(SetRule(each["name"], name, rule, own_regime if own_regime in regimes() else regime))
    return made


def extra_intervals(content: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The further rules of a content. A version recorded before these had a shape kept whatever stood there, and a
    record is never changed: what can't be reckoned with is left out.
    """
    entries = content.get("extra_intervals")
    known: dict[str, Mapping[str, Any]] = {}
    for each in entries if isinstance(entries, list) else []:
        if _is_rule(each):
            known.setdefault(each["name"], each)
    return list(known.values())


def _is_rule(entry: Any) -> bool:
    named = isinstance(entry, dict) and isinstance(entry.get("name"), str) and 0 < len(entry["name"]) <= 80
    if not named or entry.get("type") == NO_INTERVAL:
        return False
    try:
        check_rule(entry)
    except ValueError:
        return False
    return True
