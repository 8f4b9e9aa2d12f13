"""Calibrations, qualifications, sheets, limit sets and stop levels: recorded once per id, never edited."""

import copy
import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Analyser, LimitSet, ModelSheet, Person, Record, StopLevels, User
from fleet.models.register import new_id
from tests import cast

CALIBRATION = {
    "done_on": "2026-01-10",
    "valid_to": "2027-01-10",
    "certificate": "C-7",
    "by": "a laboratory",
    "passed": True,
}
QUALIFICATION = {
    "scheme": "trade register",
    "number": "Q-7",
    "fuel_kinds": ["gas"],
    "valid_from": "2026-01-01",
    "valid_to": "2028-12-31",
}
LINES = {
    "co_ppm_air_free": "300",
    "ambient_co_ppm": "30",
    "ambient_co_rise_ppm": "5",
    "co_rising_above_ppm": "100.5",
    "spillage_min": "2.5",
    "evidence": "our own, decided in spring",
}
LIMITS: dict[str, Any] = {
    "name": "House rules",
    "jurisdiction": "any",
    "kind": "contract",
    "evidence": "own",
    "decision_rule": "simple",
    "interval": {"type": "max_months", "months": 12},
    "limits": [
        {
            "id": "co",
            "quantity": "co_ppm_air_free",
            "unit": "ppm",
            "basis": "air_free",
            "firing_rate": "any",
            "when": "as_found_and_as_left",
            "fires_when": {"op": ">", "value": 200},
            "limit_text": "200 ppm",
            "severity": "adjust",
            "source": "the contract",
            "evidence": "own",
        }
    ],
    "sources": [{"document": "the contract", "edition": None, "as_of": "2024", "evidence": "official_text_read"}],
}


def check_recorded_once(client: APIClient, path: str, body: dict[str, Any], other: dict[str, Any]) -> None:
    """The same id and content again makes no second; other content under it is a conflict."""
    sent = body | {"id": str(new_id())}
    before = Record.objects.count()
    first, again = client.post(path, sent), client.post(path, sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    refused = client.post(path, other | {"id": sent["id"]})
    assert (refused.status_code, refused.json()["code"]) == (409, "id_taken")
    assert Record.objects.count() == before + 1
    assert first.json() in client.get(path).json()["results"]


def test_a_calibration_is_recorded_once(office: APIClient, analyser: Analyser) -> None:
    path = f"/api/v1/analysers/{analyser.id}/calibrations"
    check_recorded_once(office, path, CALIBRATION, CALIBRATION | {"certificate": "C-8"})


def test_a_calibration_must_not_end_before_it_was_done(office: APIClient, analyser: Analyser) -> None:
    path = f"/api/v1/analysers/{analyser.id}/calibrations"
    refused = office.post(path, CALIBRATION | {"valid_to": "2025-01-10"})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["valid_to"])


@pytest.mark.parametrize("passed", ["yes", 1, None])
def test_whether_it_passed_is_said_plainly(office: APIClient, analyser: Analyser, passed: Any) -> None:
    refused = office.post(f"/api/v1/analysers/{analyser.id}/calibrations", CALIBRATION | {"passed": passed})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["passed"])


def test_a_qualification_is_recorded_once(office: APIClient, person: Person) -> None:
    path = f"/api/v1/people/{person.id}/qualifications"
    check_recorded_once(office, path, QUALIFICATION, QUALIFICATION | {"fuel_kinds": ["oil"]})
    assert office.post(f"/api/v1/people/{uuid.uuid4()}/qualifications", QUALIFICATION).status_code == 404


def test_a_sheet_is_named_and_given_versions(boss: APIClient, manager: User) -> None:
    made = boss.post("/api/v1/sheets", {"name": "Model 7"})
    path = f"{made['Location']}/versions"
    assert made.json()["current_number"] is None
    other = copy.deepcopy(cast.SHEET) | {"rated_input_kw": "61"}
    check_recorded_once(boss, path, {"content": cast.SHEET}, {"content": other})
    assert boss.post(path, {"content": other}).json()["number"] == 2
    assert boss.get(made["Location"]).json()["current_number"] == 2


def test_a_sheets_wrong_field_is_named_by_its_path(boss: APIClient, manager: User) -> None:
    sheet = ModelSheet.objects.create(name="Model 7")
    content = copy.deepcopy(cast.SHEET)
    content["targets"][1]["value"] = "lots"
    refused = boss.post(f"/api/v1/sheets/{sheet.id}/versions", {"content": content})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["content.targets.1.value"])


def test_sheets_and_limit_sets_are_the_managers_to_write(office: APIClient) -> None:
    limit_set = LimitSet.objects.earliest("id")
    assert office.post("/api/v1/sheets", {"name": "Model 7"}).status_code == 403
    assert office.post(f"/api/v1/limit-sets/{limit_set.id}/versions", {"content": LIMITS}).status_code == 403
    assert office.post("/api/v1/stop-levels", LINES).status_code == 403
    assert office.get(f"/api/v1/limit-sets/{limit_set.id}/versions").status_code == 200


def test_a_limit_set_is_made_versioned_and_reviewed(boss: APIClient) -> None:
    made = boss.post("/api/v1/limit-sets", {"key": "house-rules", "name": "House rules"})
    versions, review = f"{made['Location']}/versions", f"{made['Location']}/review"
    check_recorded_once(boss, versions, {"content": LIMITS}, {"content": LIMITS | {"name": "Other rules"}})
    said = {"by": "Ada Test", "on": "2026-03-01", "source": "the contract, signed", "number": 1}
    reviewed = boss.post(review, said)
    assert (reviewed.status_code, reviewed.json()["number"]) == (200, 2)
    assert reviewed.json()["reviewed_by"] == "Ada Test"
    assert reviewed.json()["content"] == boss.get(versions).json()["results"][0]["content"]
    assert boss.get(made["Location"]).json()["reviewed_by"] == "Ada Test"
    assert boss.post(review, said).status_code == 412


def test_a_limit_set_that_cannot_be_calculated_with_is_refused(boss: APIClient) -> None:
    path = f"/api/v1/limit-sets/{LimitSet.objects.earliest('id').id}/versions"
    rule = LIMITS | {"interval": {"type": "when we like"}}
    assert list(boss.post(path, {"content": rule}).json()["errors"]) == ["content.interval.type"]
    limits = copy.deepcopy(LIMITS)
    limits["limits"][0]["fires_when"] = {"op": "about", "value": 200}
    refused = boss.post(path, {"content": limits})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["content.limits.0.fires_when.op"])


def test_stop_levels_are_given_whole_or_not_at_all(boss: APIClient) -> None:
    check_recorded_once(boss, "/api/v1/stop-levels", LINES, LINES | {"ambient_co_ppm": "29"})
    assert StopLevels.objects.latest("number").co_rising_above_ppm == 100.5
    assert boss.get("/api/v1/stop-levels").json()["results"][0].keys() >= LINES.keys()
    for name in LINES:
        missing = {key: value for key, value in LINES.items() if key != name}
        assert list(boss.post("/api/v1/stop-levels", missing).json()["errors"]) == [name]
    assert boss.post("/api/v1/stop-levels", LINES | {"co_ppm_air_free": "0"}).status_code == 422
