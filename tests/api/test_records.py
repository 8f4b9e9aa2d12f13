"""Records at the door: the bytes themselves, their hash, and the list as a change feed."""

import hashlib
from typing import Any

from rest_framework.test import APIClient

from fleet.models import User
from tests import cast
from tests.api.conftest import Door

RECORDS = "/api/v1/records"


def test_the_content_is_the_bytes_that_the_hash_is_of(field: APIClient, body: dict[str, Any], technician: User) -> None:
    visit = cast.store(body, technician)
    shown = field.get(f"{RECORDS}/{visit.record_id}").json()
    content = field.get(f"{RECORDS}/{visit.record_id}/content")
    assert content.content == bytes(visit.record.content)
    assert hashlib.sha256(content.content).hexdigest() == shown["sha256"] == content["Content-SHA256"]


def test_the_list_after_the_last_id_is_the_change_feed(
    field: APIClient, body: dict[str, Any], technician: User
) -> None:
    before = field.get(f"{RECORDS}?page_size=200").json()["results"]
    visit = cast.store(body, technician)
    after = field.get(RECORDS, {"after": before[-1]["id"]}).json()
    assert [(each["kind"], each["subject"]) for each in after["results"]] == [("visit", str(visit.id))]
    assert field.get(RECORDS, {"after": after["results"][-1]["id"]}).json()["results"] == []


def test_records_are_narrowed_by_kind_and_subject(field: APIClient, body: dict[str, Any], technician: User) -> None:
    visit = cast.store(body, technician)
    mine = field.get(RECORDS, {"subject": str(visit.id)}).json()["results"]
    assert [each["id"] for each in mine] == [str(visit.record_id)]
    kinds = {each["kind"] for each in field.get(RECORDS, {"kind": "calibration"}).json()["results"]}
    assert kinds == {"calibration"}


def test_an_auditor_reads_the_records_of_own_clients_only(
    door: Door, auditor: User, others: dict[str, Any], body: dict[str, Any], technician: User
) -> None:
    visit = cast.store(body, technician)
    for viewer, status in ((auditor, 200), (others["dispatcher"], 404)):
        assert door(viewer).get(f"{RECORDS}/{visit.record_id}").status_code == status
        assert door(viewer).get(f"{RECORDS}/{visit.record_id}/content").status_code == status
