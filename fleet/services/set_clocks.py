"""The clocks that a version of a limit set starts at a visit: another test, deliveries, mending.

Read leniently: a version recorded before these had a shape kept whatever stood there, and a record is never changed.
What has no such shape starts nothing.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from fleet.models import LimitSetVersion

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


def mend_days(version: LimitSetVersion, severity: str) -> Iterator[int]:
    """Within how many days a defect of this severity is to be mended."""
    for each in _objects(version.content.get("mend")):
        if each.get("severity") == severity and _is_whole(each.get("days")):
            yield each["days"]


def _objects(value: Any) -> list[dict[str, Any]]:
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
