"""Alerts, webhooks and calendars at the door."""

from typing import Any

import pytest
from django.test import Client as Browser
from rest_framework.test import APIClient

from fleet.models import Analyser, Appliance, Client, Person, User
from fleet.services import alerts
from fleet.services.access import create_token
from tests.api.conftest import Door
from tests.cast import NOON
from tests.web.opened import has_shown, shown_again
from tests.web.world import called_unsafe

HOOK = {"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened", "visit_recorded"]}


def test_ones_own_choices_are_changed_by_their_version(office: APIClient, dispatcher: User, settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    given = {"email": "d@heating.example"}
    refused = office.patch("/api/v1/alert-settings", given, headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.json()["code"]) == (403, "log_in_again")
    shown_again(office, dispatcher)
    own = office.get("/api/v1/alert-settings")
    assert (own.json()["daily_summary"], own.json()["hour"], own["ETag"]) == (True, 7, '"1"')
    changed = office.patch(
        "/api/v1/alert-settings", {"email": "d@heating.example", "hour": 5}, headers={"If-Match": '"1"'}
    )
    assert (changed.status_code, changed.json()["email"], changed.json()["hour"]) == (200, "d@heating.example", 5)
    assert office.patch("/api/v1/alert-settings", {"hour": 6}, headers={"If-Match": '"1"'}).status_code == 412


def test_a_token_changes_no_address_and_makes_no_calendar_link(office: APIClient, dispatcher: User) -> None:
    _token, secret = create_token(user=dispatcher, actor=dispatcher, name="screen", scope="write", days=1, now=NOON)
    other = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    version = {"If-Match": '"1"'}
    refused = other.patch("/api/v1/alert-settings", {"email": "x@heating.example"}, headers=version)
    assert (refused.status_code, refused.json()["code"]) == (403, "log_in_by_token")
    assert other.post("/api/v1/calendar-links", {"user": str(dispatcher.id)}).json()["code"] == "log_in_by_token"
    wanted = {"user": str(dispatcher.id)}
    assert office.post("/api/v1/calendar-links", wanted).json()["code"] == "log_in_again"
    made = has_shown(office).post("/api/v1/calendar-links", wanted).json()
    renewed = other.post(f"/api/v1/calendar-links/{made['id']}/renew", headers=version)
    assert renewed.json()["code"] == "log_in_by_token"
    assert other.patch("/api/v1/alert-settings", {"hour": 5}, headers=version).json()["hour"] == 5


@pytest.mark.parametrize(
    ("field", "value"),
    [("email", "nobody"), ("hour", 24), ("hour", "7"), ("daily_summary", "yes"), ("time_zone", "Here")],
)
def test_a_choice_that_can_not_be_names_its_field(office: APIClient, field: str, value: Any) -> None:
    refused = office.patch("/api/v1/alert-settings", {field: value}, headers={"If-Match": '"1"'})
    assert refused.status_code == 422
    assert list(refused.json()["errors"]) == [field]


def test_the_list_is_the_managers_to_change(boss: APIClient, office: APIClient, dispatcher: User) -> None:
    made = boss.post("/api/v1/on-call", {"user": str(dispatcher.id), "after_minutes": 10})
    assert made.status_code == 201
    path = f"/api/v1/on-call/{made.json()['id']}"
    assert office.get(path).json()["after_minutes"] == 10
    assert boss.patch(path, {"after_minutes": 20}, headers={"If-Match": '"1"'}).json()["version"] == 2
    assert boss.delete(path).status_code == 428
    assert boss.delete(path, headers={"If-Match": '"2"'}).status_code == 204
    assert boss.get("/api/v1/on-call").json()["results"] == []


def test_alerts_show_who_was_told_without_their_address(
    office: APIClient, door: Door, others: dict[str, Any], dispatcher: User, boiler: Appliance, person: Person,
    analyser: Analyser, technician: User,
) -> None:  # fmt: skip
    User.objects.filter(id=dispatcher.id).update(email="d@heating.example")
    flag = called_unsafe(boiler, person, analyser, technician)
    alerts.plan_alerts(flag=flag, now=NOON)
    answer = office.get(f"/api/v1/alerts?flag={flag.id}&open=true")
    assert [(each["name"], each["round"]) for each in answer.json()["results"]] == [
        ("dispatcher", 0),
        ("dispatcher", 1),
    ]
    assert "heating.example" not in answer.content.decode()
    assert office.get("/api/v1/attention").json()["told"] == answer.json()["results"]
    assert door(others["dispatcher"]).get("/api/v1/alerts").json()["results"] == []


def test_a_hooks_secret_is_shown_once(boss: APIClient) -> None:
    made = boss.post("/api/v1/webhooks", HOOK)
    assert (made.status_code, made["Cache-Control"], made.json()["is_on"]) == (201, "no-store", False)
    path = f"/api/v1/webhooks/{made.json()['id']}"
    assert made.json()["secret"] not in boss.get(path).content.decode()
    renewed = boss.post(f"{path}/secret", headers={"If-Match": '"1"'})
    assert renewed.json()["secret"] != made.json()["secret"]
    assert boss.patch(path, {"is_on": True}, headers={"If-Match": '"2"'}).json()["is_on"]
    assert boss.post(f"{path}/trial").json()["kind"] == "trial"
    assert [each["tries"] for each in boss.get(f"{path}/attempts").json()["results"]] == [0]
    assert boss.delete(path, headers={"If-Match": '"3"'}).status_code == 204
    assert boss.get(path).status_code == 404


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("url", "https://10.0.0.1/"),
        ("url", "http://office.example/"),
        ("kinds", ["nothing"]),
        ("kinds", []),
        ("name", ""),
    ],
)
def test_a_hook_that_can_not_be_names_its_field(boss: APIClient, field: str, value: Any) -> None:
    refused = boss.post("/api/v1/webhooks", HOOK | {field: value})
    assert refused.status_code == 422
    assert field in "".join(refused.json()["errors"])


def test_a_private_host_is_allowed_by_its_name(boss: APIClient) -> None:
    allowed = boss.post("/api/v1/webhook-hosts", {"host": "10.0.0.1", "why": "ours"})
    assert allowed.status_code == 201
    assert boss.post("/api/v1/webhooks", HOOK | {"url": "http://10.0.0.1/"}).status_code == 201
    assert boss.delete(f"/api/v1/webhook-hosts/{allowed.json()['id']}").status_code == 204
    assert boss.post("/api/v1/webhooks", HOOK | {"url": "http://10.0.0.1/"}).status_code == 422


def test_a_calendars_address_is_shown_once_renewed_and_revoked(office: APIClient, client_of_ours: Client) -> None:
    made = has_shown(office).post("/api/v1/calendar-links", {"client": str(client_of_ours.id)})
    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    path = f"/api/v1/calendar-links/{made.json()['id']}"
    opens = [made.json()["address"]]
    assert opens[0] not in office.get(path).content.decode()
    opens.append(office.post(f"{path}/renew", headers={"If-Match": '"1"'}).json()["address"])
    places = [f"/calendar/{each.rpartition('/')[2]}" for each in opens]
    assert [Browser().get(each).status_code for each in places] == [404, 200]
    assert office.post(f"{path}/revoke", headers={"If-Match": '"2"'}).json()["revoked_at"]
    assert Browser().get(places[1]).status_code == 404
    assert office.get("/api/v1/calendar-links?open=true").json()["results"] == []


def test_a_calendar_of_nobody_is_refused(office: APIClient, others: dict[str, Any], client_of_ours: Client) -> None:
    assert has_shown(office).post("/api/v1/calendar-links", {}).status_code == 422
    theirs = Client.objects.create(name="Nobody's").id
    assert office.post("/api/v1/calendar-links", {"client": str(theirs)}).status_code == 201
    stranger = APIClient()
    stranger.force_login(others["dispatcher"])
    has_shown(stranger)
    assert stranger.post("/api/v1/calendar-links", {"client": str(client_of_ours.id)}).status_code == 404


def test_the_documentation_says_how_a_signature_is_checked(boss: APIClient) -> None:
    page = boss.get("/api/v1/documentation").content.decode()
    assert "hmac.compare_digest(expected, signature)" in page
