"""Whatever breaks on the way in, a visit's message is kept, and a call of unsafe is acted on."""

import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Attendance, Client, Flag, LimitSet, UnreadableRecord, User
from fleet.services import judgements
from fleet.services.limit_sets import assign_limit_set
from tests.cast import NOON, make_appliance, make_building


@pytest.fixture
def sender(technician: User) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.force_login(technician)
    return client


def send(sender: APIClient, text: str | bytes) -> Any:
    return sender.post("/api/v1/visits", data=text, content_type="application/json")


def called_unsafe(body: dict[str, Any]) -> dict[str, Any]:
    return body | {"disposition": {"state": "isolated", "unsafe": True}}


@pytest.mark.parametrize(
    "broken",
    ['"note":"cut \\ud83d"', '"note":NaN', '"schema":"visit/1"', '"note":1e99999999999999999999', '"note":"a\\u0000"'],
    ids=["half an emoji", "NaN", "a key twice", "an endless number", "NUL"],
)
def test_unsafe_in_a_message_that_is_not_strict_json_is_acted_on(
    sender: APIClient, body: dict[str, Any], broken: str
) -> None:
    answer = send(sender, json.dumps(called_unsafe(body))[:-1] + f",{broken}}}")
    assert answer.status_code == 422, answer.content
    assert Flag.objects.get().kind == "unsafe"
    assert UnreadableRecord.objects.get().id.hex == answer.json()["unreadable_record"].replace("-", "")


def test_a_fault_of_ours_keeps_the_message_and_acts_on_unsafe(
    sender: APIClient, body: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**_given: Any) -> None:
        raise RuntimeError("a fault")

    monkeypatch.setattr(judgements, "judge_visit", fail)
    answer = send(sender, json.dumps(called_unsafe(body)))
    assert answer.status_code == 500
    assert answer.json()["unreadable_record"]
    assert json.loads(bytes(UnreadableRecord.objects.get().body))["id"] == body["id"]
    assert Flag.objects.get().kind == "unsafe"


def test_a_fact_in_words_where_a_number_belongs_neither_stores_nor_breaks(
    sender: APIClient, body: dict[str, Any], boiler: Appliance, manager: User
) -> None:
    place = {
        "limit_set": LimitSet.objects.get(key="de-1bimschv"),
        "appliance": boiler,
        "since": NOON.date(),
        "why": "x",
    }
    assign_limit_set(values=place, actor=manager, now=NOON)
    Appliance.objects.filter(id=boiler.id).update(facts={"output_kw": "24 kW"})
    assert send(sender, json.dumps(body)).status_code == 201


def test_the_same_unreadable_message_is_kept_once(sender: APIClient, boiler: Appliance) -> None:
    first, second = send(sender, b"{broken"), send(sender, b"{broken")
    assert first.json()["unreadable_record"] == second.json()["unreadable_record"]
    assert UnreadableRecord.objects.count() == 1


def test_an_empty_body_keeps_nothing(sender: APIClient, boiler: Appliance) -> None:
    assert send(sender, b"").status_code == 400
    assert not UnreadableRecord.objects.exists()


def test_a_body_without_its_length_is_refused_plainly(sender: APIClient, body: dict[str, Any]) -> None:
    answer = sender.generic(
        "POST", "/api/v1/visits", b"", content_type="application/json", HTTP_TRANSFER_ENCODING="chunked"
    )
    assert (answer.status_code, answer.json()["code"]) == (411, "length_required")
    assert not UnreadableRecord.objects.exists()


def test_an_attendance_of_another_building_is_not_taken_over(
    sender: APIClient, body: dict[str, Any], boiler: Appliance
) -> None:
    elsewhere = make_building(Client.objects.create(name="Mill Trust"), "Mill House")
    make_appliance(elsewhere, boiler.sheet, "Boiler 7")
    theirs = Attendance.objects.create(id=body["attendance"]["id"], building=elsewhere, arrived_at=NOON)
    answer = send(sender, json.dumps(body))
    assert answer.status_code == 422
    assert "attendance.id" in answer.json()["errors"]
    theirs.refresh_from_db()
    assert theirs.building == elsewhere
