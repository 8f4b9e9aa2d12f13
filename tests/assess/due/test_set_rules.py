"""Clocks of limit sets: versions from before they had a shape start nothing, and stop no visit."""

from typing import Any

import pytest

from fleet.assess.due.set_rules import delivery_clocks, repair_days, retest_clock, tenancy_recipients
from fleet.models import LimitSetVersion


def version(**content: Any) -> LimitSetVersion:
    return LimitSetVersion(content=content)


@pytest.mark.parametrize(
    "value", [None, "six weeks", 42, [], {}, {"days": 42}, {"type": "days_after_event", "days": 42}]
)
def test_a_retest_without_its_shape_starts_nothing(value: Any) -> None:
    assert retest_clock(version(retest=value)) is None


def test_a_retest_with_it_is_the_clock() -> None:
    clock = {"type": "days_after_event", "event": "co_over_limit", "days": 42}
    assert retest_clock(version(retest=clock)) == clock


def test_of_deliveries_only_those_with_a_number_of_days_count() -> None:
    told = [{"to": "client", "days_after_visit": 15}, {"to": "new tenant", "when": "before occupation"}, "x",
            {"to": "owner", "days_after_check": "28"}, {"days_after_check": 28}]  # fmt: skip
    assert list(delivery_clocks(version(delivery=told))) == [("client", 15, "visit")]
    assert list(delivery_clocks(version(delivery="by post"))) == []


def test_before_a_tenancy_each_recipient_counts_once_and_prose_counts_for_nothing() -> None:
    told = [{"to": "new tenant", "before": "tenancy"}, {"to": "new tenant", "before": "tenancy", "note": "display"},
            {"to": "agent", "when": "before occupation"}, {"before": "tenancy"}, "x"]  # fmt: skip
    assert tenancy_recipients(version(delivery=told)) == ("new tenant",)
    assert list(delivery_clocks(version(delivery=told))) == []
    assert tenancy_recipients(version(delivery="by post")) == ()


def test_of_repairing_only_this_severity_counts() -> None:
    told = [{"severity": "repair", "days": 90}, {"severity": "urgent", "days": 7}, {"severity": "repair"}, None]
    assert list(repair_days(version(repair=told), "repair")) == [90]
    assert list(repair_days(version(), "repair")) == []
