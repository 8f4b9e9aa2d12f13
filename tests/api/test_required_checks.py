"""Assignments and required checks at the door: a recorded decision, what follows from it, and its end."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, LimitSet, LimitSetAssignment, RequiredCheck
from fleet.models.register import new_id
from tests.api.conftest import Door

MONTHS = {"type": "max_months", "months": 12}


@pytest.fixture
def limit_set(boiler: Appliance) -> LimitSet:
    """A shipped set whose rule is a number of months."""
    return next(each for each in LimitSet.objects.all() if each.current.content["interval"]["type"] == "max_months")


def assignment(limit_set: LimitSet, **place: Any) -> dict[str, Any]:
    named = {name: str(each.id) for name, each in place.items()}
    return {"limit_set": str(limit_set.id), "since": "2025-01-01", "why": "local law", **named}


def required_check(boiler: Appliance) -> dict[str, Any]:
    return {"appliance": str(boiler.id), "name": "Yearly check", "source": "contract", "rule": MONTHS,
            "since": "2025-01-31", "why": "clause 4"}  # fmt: skip


def test_a_set_is_attached_once_and_its_required_check_begins(
    office: APIClient, boiler: Appliance, limit_set: LimitSet
) -> None:
    body = assignment(limit_set, building=boiler.building) | {"id": str(new_id())}
    first, again = (office.post("/api/v1/limit-set-assignments", body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert LimitSetAssignment.objects.count() == 1
    required_checks = office.get("/api/v1/required-checks", {"appliance": str(boiler.id), "open": "true"}).json()[
        "results"
    ]
    assert [each["assignment"] for each in required_checks] == [body["id"]]


def test_a_set_is_attached_to_exactly_one_place(office: APIClient, boiler: Appliance, limit_set: LimitSet) -> None:
    both = assignment(limit_set, building=boiler.building, appliance=boiler)
    assert office.post("/api/v1/limit-set-assignments", both).status_code == 422
    assert office.post("/api/v1/limit-set-assignments", assignment(limit_set)).status_code == 422


def test_a_set_cannot_be_attached_to_a_place_you_may_not_see(
    door: Door, others: dict[str, Any], boiler: Appliance, limit_set: LimitSet
) -> None:
    theirs = door(others["dispatcher"])
    for place in ({"client": boiler.building.client}, {"building": boiler.building}, {"appliance": boiler}):
        assert theirs.post("/api/v1/limit-set-assignments", assignment(limit_set, **place)).status_code == 404
    assert LimitSetAssignment.objects.count() == 0


def test_ending_an_assignment_ends_its_required_checks(
    office: APIClient, boiler: Appliance, limit_set: LimitSet
) -> None:
    made = office.post("/api/v1/limit-set-assignments", assignment(limit_set, appliance=boiler))
    ended = office.patch(made["Location"], {"until": "2026-02-28"}, headers={"If-Match": made["ETag"]})
    assert ended.json()["until"] == "2026-02-28"
    assert [f"{each.until}" for each in RequiredCheck.objects.all()] == ["2026-02-28"]
    assert office.get("/api/v1/limit-set-assignments?open=true").json()["results"] == []


def test_what_an_assignment_says_cannot_be_changed(office: APIClient, boiler: Appliance, limit_set: LimitSet) -> None:
    made = office.post("/api/v1/limit-set-assignments", assignment(limit_set, appliance=boiler))
    refused = office.patch(made["Location"], {"since": "2024-01-01"}, headers={"If-Match": made["ETag"]})
    assert list(refused.json()["errors"]) == ["since"]


def test_a_required_check_of_the_contract_falls_due_by_its_rule(office: APIClient, boiler: Appliance) -> None:
    body = required_check(boiler) | {"id": str(new_id())}
    first, again = (office.post("/api/v1/required-checks", body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["due"] == "2026-01-31"
    assert office.get("/api/v1/required-checks?due_before=2026-01-30").json()["results"] == []
    assert len(office.get("/api/v1/required-checks?due_before=2026-01-31").json()["results"]) == 1


@pytest.mark.parametrize(
    ("rule", "path"),
    [
        ({"type": "now and then"}, "rule.type"),
        ({"type": "max_months"}, "rule.months"),
        ({}, "rule.type"),
        ("yearly", "rule"),
        ([], "rule"),
        (MONTHS | {"months": 9007199254740991}, "rule.months"),
        (MONTHS | {"variants": [1]}, "rule.variants.0"),
        (MONTHS | {"grace": "x"}, "rule.grace"),
        ({"type": "same_quarter_each_year", "quarter": "x"}, "rule.quarter"),
        ({"type": "days_after_event", "days": 1000000000}, "rule.days"),
    ],
)
def test_a_rule_that_cannot_be_calculated_with_is_refused_at_its_path(
    office: APIClient, boiler: Appliance, rule: Any, path: str
) -> None:
    refused = office.post("/api/v1/required-checks", required_check(boiler) | {"rule": rule})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, [path])
    assert RequiredCheck.objects.count() == 0


def test_a_required_check_is_ended_when_its_end_has_come(office: APIClient, boiler: Appliance) -> None:
    made = office.post("/api/v1/required-checks", required_check(boiler))
    ahead = office.patch(made["Location"], {"until": "2199-01-01"}, headers={"If-Match": made["ETag"]})
    assert (ahead.status_code, list(ahead.json()["errors"])) == (422, ["until"])
    ended = office.patch(made["Location"], {"until": "2026-01-31"}, headers={"If-Match": made["ETag"]})
    assert ended.json()["until"] == "2026-01-31"


def test_a_limit_sets_required_check_ends_with_its_assignment_only(
    office: APIClient, boiler: Appliance, limit_set: LimitSet
) -> None:
    office.post("/api/v1/limit-set-assignments", assignment(limit_set, appliance=boiler))
    mine = office.get("/api/v1/required-checks").json()["results"][0]
    path, version = f"/api/v1/required-checks/{mine['id']}", {"If-Match": f'"{mine["version"]}"'}
    assert office.patch(path, {"until": "2026-01-31"}, headers=version).status_code == 422
