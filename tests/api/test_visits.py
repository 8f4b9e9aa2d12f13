"""A visit at the door: stored once, shown as entered with what was derived, corrected by amendment."""

import copy
import hashlib
import io
import json
from typing import Any

import pytest
from pypdf import PdfReader
from rest_framework.test import APIClient

from fleet.evidence import canonical_bytes
from fleet.models import Appliance, Record, UnreadableRecord, User, Visit
from tests import cast
from tests.api.conftest import Door

VISITS = "/api/v1/visits"


@pytest.fixture
def stored(body: dict[str, Any], technician: User) -> Visit:
    return cast.store(body, technician)


def test_the_same_visit_twice_is_201_then_200_and_stored_once(field: APIClient, body: dict[str, Any]) -> None:
    first, again = field.post(VISITS, body), field.post(VISITS, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert first["Location"] == f"{VISITS}/{body['id']}"
    assert Record.objects.filter(kind="visit").count() == 1


def test_other_content_under_the_same_id_is_a_conflict_and_changes_nothing(
    field: APIClient, body: dict[str, Any]
) -> None:
    field.post(VISITS, body)
    refused = field.post(VISITS, body | {"note": "something else"})
    assert (refused.status_code, refused.json()["code"]) == (409, "visit_differs")
    assert field.get(f"{VISITS}/{body['id']}").json()["note"] == ""


def test_values_come_back_as_they_were_entered(field: APIClient, body: dict[str, Any]) -> None:
    body["readings"][0]["values"]["flue_temp"] = cast.measured("136.40", "degF")
    body["readings"][0]["values"]["draught"] = cast.measured("0.0150", "inH2O", "more_than")
    body["readings"][0]["values"]["no"] = {"qualifier": "not_measured"}
    shown = field.post(VISITS, body).json()
    assert shown["readings"][0]["values"] == body["readings"][0]["values"]
    assert shown["conditions"] == body["conditions"]


def test_derived_figures_are_numbers_with_their_basis_in_words(field: APIClient, body: dict[str, Any]) -> None:
    derived = field.post(VISITS, body).json()["readings"][0]["derived"]
    assert isinstance(derived["efficiency_pct_net"], float)
    assert "net heating value" in derived["basis"]["efficiency_pct_net"]
    assert "derived from CO2" in derived["basis"]["o2_pct"]
    assert "as read" in derived["basis"]["co2_pct"]
    assert derived["input_kw_net"] is None
    assert "input_kw_net" not in derived["basis"]


def test_a_visit_is_shown_with_verdicts_marks_and_the_hash_of_its_record(field: APIClient, stored: Visit) -> None:
    response = field.get(f"{VISITS}/{stored.id}")
    shown = response.json()
    assert response["ETag"] == '"1"'
    assert shown["judgement"]["outcome"] == "within"
    assert {each["outcome"] for each in shown["readings"][2]["verdicts"]} >= {"within"}
    assert [each["counted_phase"] for each in shown["readings"]] == ["as_found"] * 2 + ["as_left"] * 2
    assert shown["sha256"] == stored.record.sha256
    assert [each["id"] for each in shown["records"]] == [str(stored.record_id)]
    assert shown["analysers"][0]["calibration"]["certificate"] == "C-1"
    assert shown["people"][0]["qualification"]["scheme"] == "trade register"
    assert "safe" not in response.content.decode().lower().replace("unsafe", "")


def test_the_hash_is_of_the_message_as_it_was_sent(field: APIClient, body: dict[str, Any]) -> None:
    shown = field.post(VISITS, body).json()
    sent = hashlib.sha256(canonical_bytes(body)).hexdigest()
    assert shown["records"][0]["submitted_sha256"] == sent


def test_a_visit_of_somebody_elses_is_not_found(door: Door, outsider: User, stored: Visit) -> None:
    theirs = door(outsider)
    assert theirs.get(f"{VISITS}/{stored.id}").status_code == 404
    assert theirs.get(f"{VISITS}/{stored.id}/paper.pdf").status_code == 404
    assert theirs.get(VISITS).json()["results"] == []
    assert theirs.get(VISITS, {"appliance": str(stored.appliance_id)}).status_code == 404


def test_an_auditor_reads_visits_and_posts_none(door: Door, auditor: User, body: dict[str, Any], stored: Visit) -> None:
    assert door(auditor).get(f"{VISITS}/{stored.id}").status_code == 200
    assert door(auditor).post(VISITS, body).status_code == 403


def test_visits_are_narrowed_by_day_place_and_outcome(field: APIClient, stored: Visit, boiler: Appliance) -> None:
    def count(**query: str) -> int:
        return len(field.get(VISITS, query).json()["results"])

    assert count(appliance=str(boiler.id), since="2026-03-02", until="2026-03-02") == 1
    assert count(client=str(boiler.building.client_id), judged="within", unsafe="false") == 1
    assert count(building=str(boiler.building_id), outcome="not_tested") == 0
    assert count(since="2026-03-03") == 0


def test_the_paper_is_a_pdf_that_names_the_appliance(field: APIClient, stored: Visit) -> None:
    paper = field.get(f"{VISITS}/{stored.id}/paper.pdf")
    assert paper["Content-Type"] == "application/pdf"
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages)
    assert "Boiler 1" in text


def correction(body: dict[str, Any]) -> dict[str, Any]:
    repaired = copy.deepcopy(body)
    repaired["readings"][2]["values"]["co2"]["value"] = "9.60"
    return {"reason": "misread display", "visit": repaired}


def test_an_amendment_is_a_new_record_and_the_old_one_stays(
    office: APIClient, body: dict[str, Any], stored: Visit
) -> None:
    repaired = office.post(f"{VISITS}/{stored.id}/amendments", correction(body), headers={"If-Match": '"1"'})
    assert repaired.status_code == 200
    shown = repaired.json()
    assert shown["readings"][2]["values"]["co2"]["value"] == "9.60"
    assert (shown["version"], repaired["ETag"]) == (2, '"2"')
    first, second = shown["records"]
    assert second["amends"] == first["id"] == str(stored.record_id)
    assert shown["sha256"] == second["sha256"] != first["sha256"]


def test_an_amendment_names_the_version_it_corrects(office: APIClient, body: dict[str, Any], stored: Visit) -> None:
    path = f"{VISITS}/{stored.id}/amendments"
    assert office.post(path, correction(body)).status_code == 428
    office.post(path, correction(body), headers={"If-Match": '"1"'})
    late = office.post(path, correction(body), headers={"If-Match": '"1"'})
    assert (late.status_code, late.json()["code"]) == (412, "changed_meanwhile")
    assert Record.objects.filter(kind="visit").count() == 2


def test_an_amendment_that_cannot_be_read_names_its_fields_and_changes_nothing(
    office: APIClient, body: dict[str, Any], stored: Visit
) -> None:
    wrong = correction(body)
    wrong["visit"]["readings"][0]["values"]["co"]["value"] = "many"
    refused = office.post(f"{VISITS}/{stored.id}/amendments", wrong, headers={"If-Match": '"1"'})
    assert refused.status_code == 422
    assert list(refused.json()["errors"]) == ["visit.readings.0.values.co.value"]
    elsewhere = correction(body) | {"visit": correction(body)["visit"] | {"id": str(stored.record_id)}}
    refused = office.post(f"{VISITS}/{stored.id}/amendments", elsewhere, headers={"If-Match": '"1"'})
    assert list(refused.json()["errors"]) == ["visit.id"]
    assert Record.objects.filter(kind="visit").count() == 1


def test_only_the_office_amends(field: APIClient, body: dict[str, Any], stored: Visit) -> None:
    refused = field.post(f"{VISITS}/{stored.id}/amendments", correction(body), headers={"If-Match": '"1"'})
    assert refused.status_code == 403


def test_many_unknown_keys_get_a_short_answer_and_nothing_above_the_body_is_kept(
    field: APIClient, body: dict[str, Any]
) -> None:
    """0.87 MB of them in one object, and the same spread over objects of 200 keys."""
    keys = [f"key {number} {'x' * 20}" for number in range(25_000)]
    spread = [dict.fromkeys(keys[start : start + 200], 1) for start in range(0, len(keys), 200)]
    for wide in (body | dict.fromkeys(keys, 1), body | {"readings": spread}):
        assert len(json.dumps(wide)) > 800_000
        answer = field.post("/api/v1/visits", wide)
        assert answer.status_code in (400, 422)
        assert len(answer.content) < 20_000
        kept = UnreadableRecord.objects.latest("id")
        assert len(json.dumps(kept.errors)) < 20_000
