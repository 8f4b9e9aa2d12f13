"""Log-ins of people by the API: links shown once, versions, and what a token may not do."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Client, Person, Role, User, Webhook
from fleet.services.access import create_token, create_user
from tests.cast import NOON
from tests.web.opened import shown_again

PASSWORD = "a-long-enough-secret"


@pytest.fixture
def boss(installation: User, settings: Any) -> User:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    return create_user(username="boss", password=PASSWORD, role=Role.MANAGER, name="Bo Boss")


@pytest.fixture
def api(boss: User) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.force_login(boss, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def cy(installation: User) -> Person:
    return Person.objects.create(name="Cy Cooper", email="cy@heating.example")


def act(api: APIClient, cy: Person, what: str, body: Any = None, version: int | None = None) -> Any:
    version = version or Person.objects.get(id=cy.id).version
    path = f"/api/v1/accounts/{cy.id}/{what}"
    return api.post(path, body or {}, format="json", HTTP_IF_MATCH=f'"{version}"')


def test_somebody_is_invited_ended_let_back_and_reset(api: APIClient, cy: Person, client_of_ours: Client) -> None:
    asked = {"username": "cy", "role": "auditor", "clients": [str(client_of_ours.id)]}
    made = act(api, cy, "invite", asked)
    said = made.json()
    assert (made.status_code, made["Cache-Control"], made["ETag"]) == (200, "no-store", '"2"')
    assert (said["state"], said["clients"], said["email"]) == ("invited", asked["clients"], "")
    assert "/new-password/" in said["link"]
    ended = act(api, cy, "end").json()
    assert ended["state"] == "ended" and "link" not in ended
    back = act(api, cy, "let-back").json()
    again = act(api, cy, "reset", {"second_factor": True, "why": "phone lost"}).json()
    assert len({said["link"], back["link"], again["link"]}) == 3
    one = api.get(f"/api/v1/accounts/{cy.id}").json()
    assert (one["state"], one["version"], one["deeds"]) == ("invited", 5, []) and "link" not in one


def test_another_address_is_taken_from_who_has_just_shown_who_they_are(
    api: APIClient, cy: Person, boss: User, settings: Any
) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    act(api, cy, "invite", {"username": "cy", "role": "auditor", "clients": None})

    def change(**fields: str) -> Any:
        match = f'"{Person.objects.get(id=cy.id).version}"'
        return api.patch(f"/api/v1/accounts/{cy.id}", fields, format="json", HTTP_IF_MATCH=match)

    assert change(email="cy@heating.example").json()["code"] == "log_in_again"
    assert change(phone="0001", email="").status_code == 200
    shown_again(api, boss)
    assert change(email="cy@heating.example").json()["email"] == "cy@heating.example"


def test_webhooks_of_who_leaves_are_said_and_may_be_kept(api: APIClient, cy: Person, boss: User) -> None:
    act(api, cy, "invite", {"username": "cy", "role": "manager", "clients": None})
    cy.refresh_from_db()
    assert cy.user
    said: dict[str, Any] = {"kinds": ["flag_opened"], "is_on": True, "made_by": cy.user, "made_at": NOON}
    hook = Webhook.objects.create(name="office", url="https://a.test/x?key=1", **said)
    (listed,) = api.get(f"/api/v1/accounts/{cy.id}").json()["webhooks"]
    assert (listed["name"], listed["host"], listed["owner"]) == ("office", "a.test", str(cy.user_id))
    act(api, cy, "end", {"keep_webhooks": True})
    (listed,) = api.get(f"/api/v1/accounts/{cy.id}").json()["webhooks"]
    assert (listed["is_on"], listed["owner"]) == (True, str(boss.id))
    assert api.get(f"/api/v1/webhooks/{hook.id}").json()["owner"] == str(boss.id)


def test_the_list_says_who_has_no_log_in(api: APIClient, boss: User, cy: Person) -> None:
    rows = {each["name"]: each for each in api.get("/api/v1/accounts").json()["results"]}
    assert (rows["Cy Cooper"]["state"], rows["Cy Cooper"]["username"]) == ("none", None)
    assert (rows["Bo Boss"]["state"], rows["Bo Boss"]["clients"], rows["Bo Boss"]["role"]) == ("open", None, "manager")


@pytest.mark.parametrize(
    ("body", "code", "field"),
    [
        ({"username": "cy", "role": "king", "clients": None}, "invalid", "role"),
        ({"username": "cy", "role": "auditor"}, "invalid", "clients"),
        ({"username": "cy", "role": "auditor", "clients": []}, "invalid", "clients"),
        ({"username": "boss", "role": "auditor", "clients": None}, "invalid", "username"),
        ({"username": "cy", "role": "auditor", "clients": ["0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f"]}, "not_found", ""),
    ],
)
def test_a_refused_invitation_names_the_field(api: APIClient, cy: Person, body: Any, code: str, field: str) -> None:
    said = act(api, cy, "invite", body).json()
    assert said["code"] == code and (not field or field in said["errors"])
    assert not User.objects.filter(username="cy").exists()


def test_role_and_clients_change_by_the_version_and_the_last_manager_stays(
    api: APIClient, boss: User, cy: Person, client_of_ours: Client
) -> None:
    act(api, cy, "invite", {"username": "cy", "role": "auditor", "clients": None})
    path = f"/api/v1/accounts/{cy.id}"
    change = {"role": "dispatcher", "clients": [str(client_of_ours.id)]}
    assert api.patch(path, change, format="json").status_code == 428
    assert api.patch(path, change, format="json", HTTP_IF_MATCH='"1"').json()["code"] == "changed_meanwhile"
    said = api.patch(path, change, format="json", HTTP_IF_MATCH='"2"').json()
    assert (said["role"], said["clients"], said["version"]) == ("dispatcher", change["clients"], 3)
    mine = f"/api/v1/accounts/{boss.person.id}"
    assert api.patch(mine, {"role": "auditor"}, format="json", HTTP_IF_MATCH='"1"').json()["code"] == "last_manager"
    person = f"/api/v1/people/{cy.id}"
    refused = api.patch(person, {"role": "manager"}, format="json", HTTP_IF_MATCH='"3"')
    assert refused.status_code == 422 and "role" in refused.json()["errors"]
    for name, value in (("name", "Cy Weir"), ("email", "mine@heating.example")):
        refused = api.patch(person, {name: value}, format="json", HTTP_IF_MATCH='"3"')
        assert refused.json()["errors"] == {name: "is changed with the log-in, by a manager"}
    assert api.patch(person, {"phone": "0000 1"}, format="json", HTTP_IF_MATCH='"3"').status_code == 200


def test_a_token_neither_ends_access_nor_lets_anybody_in(boss: User, api: APIClient, cy: Person) -> None:
    asked = {"username": "cy", "role": "auditor", "clients": None}
    _token, secret = create_token(user=boss, actor=boss, name="hr", scope="write", days=1, now=NOON)
    other = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    assert act(other, cy, "invite", asked).json()["code"] == "log_in_by_token"
    act(api, cy, "invite", asked)
    path = f"/api/v1/accounts/{cy.id}"
    refused = other.patch(path, {"role": "manager"}, format="json", HTTP_IF_MATCH='"2"')
    assert refused.json()["code"] == "log_in_by_token"
    assert act(other, cy, "end").json()["code"] == "log_in_by_token"
    assert act(other, cy, "let-back").json()["code"] == "log_in_by_token"
