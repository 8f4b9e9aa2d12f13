"""Deliveries, defects, retests, attempts and the days of revisits, through the API."""

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet import clock
from fleet.models import Appliance, Defect, Delivery, Revisit, User
from tests import cast, pictures
from tests.cast import propose_revisit
from tests.services.test_deliveries import under
from tests.services.test_revisits import under as under_required_check


@pytest.fixture
def delivery(boiler: Appliance, body: dict[str, Any], manager: User, technician: User) -> Delivery:
    under(boiler, "uk-gsiur-36", manager)
    cast.store(body | {"defects": [{"what": "seal worn", "severity": "repair"}]}, technician)
    return Delivery.objects.get()


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under_required_check(boiler, manager, "Yearly", {"type": "max_months", "months": 24}, date(2025, 12, 1))
    proposed = propose_revisit(appliance=boiler, now=cast.NOON)
    assert proposed is not None
    return proposed


def test_a_delivery_is_sent_fails_and_is_the_offices_again(
    delivery: Delivery, office: APIClient, field: APIClient
) -> None:
    path = f"/api/v1/deliveries/{delivery.id}"
    listed = office.get("/api/v1/deliveries?open=true&due_before=2026-04-30").json()["results"]
    assert [(each["recipient"], each["due"], each["overdue"]) for each in listed] == [
        ("existing tenant", "2026-03-30", True)
    ]
    read = office.get(path)
    sending = {"how": "post", "address": "1 Test Lane", "sent_at": "2026-03-04T10:00:00+00:00", "proof": "receipt 7"}
    assert field.post(f"{path}/send", sending, headers={"If-Match": read["ETag"]}).status_code == 403
    assert office.post(f"{path}/send", sending).status_code == 428
    made = office.post(f"{path}/send", sending, headers={"If-Match": read["ETag"]})
    assert made.json()["sendings"][0]["proof"] == "receipt 7"
    assert office.get("/api/v1/deliveries?open=true").json()["results"] == []
    failed = office.post(f"{path}/fail", {"why": "returned"}, headers={"If-Match": made["ETag"]}).json()
    assert (failed["sent_at"], failed["returned_why"], failed["overdue"]) == (None, "returned.", True)


def test_a_sending_that_cannot_be_names_its_field(delivery: Delivery, office: APIClient) -> None:
    path, version = f"/api/v1/deliveries/{delivery.id}/send", {"If-Match": f'"{delivery.version}"'}
    refused = office.post(path, {"how": "pigeon", "address": "x"}, headers=version)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["how"])
    ahead = {"how": "post", "address": "x", "sent_at": "2199-01-01T00:00:00+00:00"}
    assert list(office.post(path, ahead, headers=version).json()["errors"]) == ["sent_at"]


def test_a_defect_is_listed_with_its_last_day_and_resolved(delivery: Delivery, office: APIClient) -> None:
    (one,) = office.get("/api/v1/defects?open=true&due_before=2026-03-30").json()["results"]
    assert (one["due"], one["overdue"]) == ("2026-03-30", True)
    path = f"/api/v1/defects/{one['id']}/resolve"
    resolved = office.post(path, {"why": "repaired"}, headers={"If-Match": f'"{one["version"]}"'}).json()
    assert (resolved["open"], resolved["resolved_by"]) == (False, "dispatcher")
    assert office.get("/api/v1/defects?open=true").json()["results"] == []
    assert Defect.objects.get().resolved_why == "repaired"


def test_a_revisit_is_set_for_a_day_and_kept_to_it(revisit: Revisit, office: APIClient, field: APIClient) -> None:
    path = f"/api/v1/revisits/{revisit.id}"
    notice = {"kind": "agreed", "given_on": "2026-03-01", "how": "by telephone", "notice_days": 7}
    wanted = {"state": "confirmed", "day": "2190-04-01", "notice": notice}
    version = {"If-Match": office.get(path)["ETag"]}
    assert field.post(f"{path}/book", wanted, headers=version).status_code == 403
    made = office.post(f"{path}/book", wanted, headers=version)
    assert (made.json()["state"], made.json()["day"]) == ("confirmed", "2190-04-01")
    assert made.json()["set_words"] == "Confirmed for 1 April 2190, now needed by 1 December 2027."
    moved = office.post(f"{path}/book", {"state": "booked", "day": "2190-04-02"}, headers={"If-Match": made["ETag"]})
    assert (moved.status_code, moved.json()["code"]) == (409, "occupier_knows")
    odd = office.get("/api/v1/revisits?needed_earlier=true&state=confirmed").json()["results"]
    assert [each["id"] for each in odd] == [str(revisit.id)]
    released = office.post(f"{path}/release", {"note": "sick"}, headers={"If-Match": made["ETag"]}).json()
    assert (released["state"], released["day"], released["note"]) == ("proposed", None, "sick")


def test_a_buildings_revisits_come_by_attendance(revisit: Revisit, boiler: Appliance, office: APIClient) -> None:
    shown = office.get(f"/api/v1/buildings/{boiler.building_id}/revisits").json()
    (group,) = shown["groups"]
    assert [each["id"] for each in group["revisits"]] == [str(revisit.id)]
    assert group["ends"] == "2027-12-01"


@pytest.mark.parametrize(
    ("zone", "hour", "there"), [("Pacific/Auckland", 23, "2026-03-03"), ("Pacific/Honolulu", 1, "2026-03-01")]
)
def test_a_buildings_revisits_are_told_as_of_the_day_that_it_is_there(
    boiler: Appliance, office: APIClient, monkeypatch: pytest.MonkeyPatch, zone: str, hour: int, there: str
) -> None:
    monkeypatch.setattr(clock, "now", lambda: datetime(2026, 3, 2, hour, 30, tzinfo=UTC))
    boiler.building.time_zone = zone
    boiler.building.save()
    assert office.get(f"/api/v1/buildings/{boiler.building_id}/revisits").json()["today"] == there
    shown = office.get(f"/buildings/{boiler.building_id}/revisits/")
    assert shown.context["today"] == date.fromisoformat(there)


def test_an_attempt_is_recorded_once_with_its_photo(
    revisit: Revisit, boiler: Appliance, field: APIClient, others: dict[str, Any], settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    said = {"appliances": [str(boiler.id)], "at": "2026-03-02T10:00:00+00:00", "kind": "nobody_in", "letter": "card"}
    (made,) = field.post("/api/v1/no-access", said).json()["results"]
    (again,) = field.post("/api/v1/no-access", said).json()["results"]
    assert again["id"] == made["id"]
    path = f"/api/v1/no-access/{made['id']}"
    sent = field.post(f"{path}/files?what=letter&name=door", pictures.png(), content_type="image/png")
    assert sent.status_code == 201
    assert (sent.json()["visit"], sent.json()["no_access"]) == (None, made["id"])
    assert [each["name"] for each in field.get(path).json()["files"]] == ["door.png"]
    foreign = said | {"appliances": [str(others["appliance"].id)]}
    client = APIClient()
    client.force_login(others["dispatcher"])
    assert client.post("/api/v1/no-access", said).status_code == 404
    assert client.get(path).status_code == 404
    assert client.post("/api/v1/no-access", foreign).status_code == 201


def test_retests_are_listed(boiler: Appliance, body: dict[str, Any], manager: User, technician: User) -> None:
    under(boiler, "de-dvgw-g680", manager)
    for each in body["readings"]:
        each["values"]["co"] = cast.measured("300", "ppm")
    cast.store(body, technician)
    client = APIClient()
    client.force_login(technician)
    (one,) = client.get("/api/v1/retests?open=true&due_before=2026-03-30").json()["results"]
    assert (one["due"], one["event"], one["done_by"]) == ("2026-03-30", "co_over_300", None)


def test_choices_are_recorded_only_as_previewed(boss: APIClient, office: APIClient) -> None:
    change = {"flag_at": "0.25", "outside_within_days": 7, "repair_within_days": {"repair": 14}}
    version = {"If-Match": '"1"'}
    unseen = boss.patch("/api/v1/contractor", change, headers=version)
    assert (unseen.status_code, unseen.json()["code"]) == (409, "not_shown")
    assert office.post("/api/v1/contractor/preview", change).status_code == 403
    seen = boss.post("/api/v1/contractor/preview", change).json()
    assert [each["name"] for each in seen["settings"]] == ["flag_at", "outside_within_days", "repair_within_days"]
    made = boss.patch("/api/v1/contractor", change | {"shown": seen["shown"]}, headers=version).json()
    assert (made["flag_at"], made["outside_within_days"], made["repair_within_days"]) == (0.25, 7, {"repair": 14})
    wrong = boss.post("/api/v1/contractor/preview", {"repair_within_days": {"soon": 1}})
    assert (wrong.status_code, list(wrong.json()["errors"])) == (422, ["repair_within_days.soon"])
