"""A message that can't be read is refused and kept; what it says of danger is acted on at once."""

import json
import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Flag, Role, UnreadableRecord, User, Visit
from fleet.models.register import new_id
from tests import cast
from tests.api.conftest import Door

VISITS = "/api/v1/visits"
JSON = "application/json"


def test_a_malformed_visit_is_kept_with_its_bytes_and_the_answer_says_so(
    field: APIClient, body: dict[str, Any]
) -> None:
    body["readings"][1]["values"]["co2"]["value"] = True
    body["colour"] = "blue"
    sent = json.dumps(body, indent=2).encode()
    refused = field.post(VISITS, sent, content_type=JSON)
    assert (refused.status_code, refused.json()["code"]) == (422, "visit_malformed")
    assert "kept" in refused.json()["detail"]
    assert "colour" in refused.json()["errors"]
    held = UnreadableRecord.objects.get(id=refused.json()["unreadable_record"])
    assert bytes(held.body) == sent
    assert Visit.objects.count() == 0


@pytest.mark.parametrize("sent", [b"not json", b"[1]", b"null", b'{"a": 1, "a": 2}', b'{"co": NaN}', b"\xff\xfe", b"7"])
def test_a_body_that_is_no_json_object_is_kept_too(field: APIClient, sent: bytes) -> None:
    refused = field.post(VISITS, sent, content_type="text/plain")
    assert refused.status_code == 422
    assert list(refused.json()["errors"]) == ["body"]
    assert bytes(UnreadableRecord.objects.get().body) == sent


def test_a_malformed_message_that_calls_an_appliance_unsafe_is_acted_on_at_once(
    field: APIClient, boiler: Appliance
) -> None:
    said = {"appliance": str(boiler.id), "disposition": {"unsafe": True}}
    refused = field.post(VISITS, said)
    assert refused.status_code == 422
    flag = Flag.objects.get(kind=Flag.Kind.UNSAFE, appliance=boiler)
    assert flag.figures["unreadable_record"] == refused.json()["unreadable_record"]


def test_a_visit_to_an_appliance_that_is_not_there_is_not_found_and_kept(
    field: APIClient, body: dict[str, Any]
) -> None:
    refused = field.post(VISITS, body | {"appliance": str(uuid.uuid4())})
    assert (refused.status_code, refused.json()["code"]) == (404, "appliance_unknown")
    assert UnreadableRecord.objects.filter(id=refused.json()["unreadable_record"]).exists()


def test_a_foreign_appliance_answers_as_one_that_does_not_exist(
    door: Door, outsider: User, body: dict[str, Any]
) -> None:
    foreign = door(outsider).post(VISITS, body)
    absent = door(outsider).post(VISITS, body | {"appliance": str(uuid.uuid4())})
    assert foreign.status_code == absent.status_code == 404
    hidden = {"unreadable_record"}
    assert {k: v for k, v in foreign.json().items() if k not in hidden} == {
        k: v for k, v in absent.json().items() if k not in hidden
    }


def test_a_visit_in_the_wrong_building_is_kept(field: APIClient, body: dict[str, Any], others: dict[str, Any]) -> None:
    body["attendance"]["building"] = str(others["building"].id)
    refused = field.post(VISITS, body)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["attendance.building"])
    assert UnreadableRecord.objects.count() == 1


def test_nothing_is_kept_for_somebody_who_may_not_post(door: Door, auditor: User) -> None:
    assert door(auditor).post(VISITS, b"nonsense", content_type=JSON).status_code == 403
    assert door(None).post(VISITS, b"nonsense", content_type=JSON).status_code == 401
    assert UnreadableRecord.objects.count() == 0


def test_nothing_over_one_megabyte_is_kept(field: APIClient) -> None:
    assert field.post(VISITS, b"x" * 1_000_001, content_type=JSON).status_code == 413
    assert UnreadableRecord.objects.count() == 0


def test_a_form_is_no_visit(field: APIClient) -> None:
    assert field.post(VISITS, {"a": "b"}, format="multipart").status_code == 415


@pytest.fixture
def held(field: APIClient) -> UnreadableRecord:
    refused = field.post(VISITS, b'{"a": 1', content_type=JSON)
    return UnreadableRecord.objects.get(id=refused.json()["unreadable_record"])


def test_the_office_reads_an_unreadable_record_and_resolves_it_once(office: APIClient, held: UnreadableRecord) -> None:
    path = f"/api/v1/unreadable-records/{held.id}"
    assert [each["id"] for each in office.get("/api/v1/unreadable-records?open=true").json()["results"]] == [
        str(held.id)
    ]
    read = office.get(path)
    assert read.json()["body"] == '{"a": 1'
    assert bytes.fromhex(read.json()["body_hex"]) == b'{"a": 1'
    resolved = office.post(f"{path}/resolve", {"how": "sent again"}, headers={"If-Match": read["ETag"]})
    assert (resolved.status_code, resolved.json()["resolved_how"]) == (200, "sent again")
    again = office.post(f"{path}/resolve", {"how": "twice"}, headers={"If-Match": resolved["ETag"]})
    assert again.status_code == 412
    assert office.get("/api/v1/unreadable-records?open=true").json()["results"] == []
    assert bytes(UnreadableRecord.objects.get().body) == b'{"a": 1'


def test_unreadable_records_are_for_people_who_see_all_clients(door: Door, held: UnreadableRecord) -> None:
    limited = cast.make_user("limited", Role.DISPATCHER, sees_all_clients=False)
    assert door(limited).get("/api/v1/unreadable-records").status_code == 403
    assert door(limited).get(f"/api/v1/unreadable-records/{held.id}").status_code == 403


def test_the_office_posts_the_repaired_visit_itself(office: APIClient, body: dict[str, Any]) -> None:
    assert office.post(VISITS, body | {"id": str(new_id())}).status_code == 201
