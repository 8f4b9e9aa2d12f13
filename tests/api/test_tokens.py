"""Tokens of other programs: shown once, hashed at rest, ending, revocable, and no more than their scope."""

from collections.abc import Collection, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from fleet import clock
from fleet.models import ApiToken, Client, User
from fleet.services.access import create_token
from tests import cast
from tests.api.conftest import Door
from tests.web.opened import has_shown

TOKENS = "/api/v1/tokens"
WANTED = {"name": "office computer", "scope": "write", "days": 30}


def program(token: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def made(client: APIClient, **changes: Any) -> dict[str, Any]:
    response = has_shown(client).post(TOKENS, WANTED | changes)
    assert response.status_code == 201
    assert response["Cache-Control"] == "no-store"
    body: dict[str, Any] = response.json()
    return body


def dump(tables: Collection[str] = ()) -> Iterator[str]:
    """Every cell of these tables as text; none named: of the whole database."""
    with connection.cursor() as cursor:
        for table in tables or connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            for row in cursor.fetchall():
                yield from (
                    bytes(each).decode("latin-1") if isinstance(each, bytes | memoryview) else str(each) for each in row
                )


def test_a_token_opens_the_api_as_its_owner(office: APIClient) -> None:
    token = made(office)["token"]
    assert token.startswith("flt_")
    assert program(token).get("/api/v1/clients").status_code == 200
    assert program(token).post("/api/v1/clients", {"name": "Lock Trust"}).status_code == 201


def test_a_token_stands_nowhere_in_the_database(office: APIClient) -> None:
    token = made(office)["token"]
    cells = list(dump())
    assert any(token[:15] == cell for cell in cells)
    assert not [cell for cell in cells if token in cell or token[15:] in cell]


def test_a_token_is_shown_once(office: APIClient) -> None:
    token = made(office)
    (listed,) = office.get(TOKENS).json()["results"]
    assert listed["key"] == token["key"]
    assert "token" not in listed
    assert token["token"] not in office.get(TOKENS).content.decode()


def test_a_token_with_scope_read_changes_nothing(office: APIClient, client_of_ours: Client) -> None:
    reader = program(made(office, scope="read")["token"])
    path = f"/api/v1/clients/{client_of_ours.id}"
    assert reader.get(path).status_code == 200
    assert reader.patch(path, {"name": "x"}, headers={"If-Match": '"1"'}).status_code == 403
    assert reader.post("/api/v1/clients", {"name": "x"}).status_code == 403
    assert reader.delete(f"{TOKENS}/flt_").status_code == 403


def test_a_session_that_was_left_open_makes_none(office: APIClient) -> None:
    refused = office.post(TOKENS, WANTED)
    assert (refused.status_code, refused.json()["code"]) == (403, "log_in_again")
    assert not ApiToken.objects.exists()


def test_an_expired_token_opens_nothing(office: APIClient) -> None:
    token = made(office)["token"]
    ApiToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert program(token).get("/api/v1/clients").status_code == 401


def test_a_revoked_token_opens_nothing(office: APIClient) -> None:
    token = made(office)
    assert office.delete(f"{TOKENS}/{token['key']}").status_code == 204
    assert program(token["token"]).get("/api/v1/clients").status_code == 401
    assert office.delete(f"{TOKENS}/{token['key']}").status_code == 404


def test_a_token_ends_with_its_owners_account(office: APIClient, dispatcher: User) -> None:
    token = made(office)["token"]
    User.objects.filter(id=dispatcher.id).update(is_active=False)
    assert program(token).get("/api/v1/clients").status_code == 401


def test_a_token_makes_no_tokens(office: APIClient) -> None:
    writer = program(made(office)["token"])
    refused = writer.post(TOKENS, WANTED)
    assert (refused.status_code, refused.json()["code"]) == (403, "token_by_token")


def test_tokens_are_ones_own(door: Door, office: APIClient, technician: User) -> None:
    token = made(office)
    limited = cast.make_user("limited", "manager", sees_all_clients=False)
    for other in (technician, limited):
        assert door(other).get(TOKENS).json()["results"] == []
        assert door(other).delete(f"{TOKENS}/{token['key']}").status_code == 404
    assert program(token["token"]).get(TOKENS).status_code == 200


def test_the_day_of_its_last_use_is_written_once(office: APIClient, manager: User, door: Door, settings: Any) -> None:
    token = made(office)
    assert token["used_on"] is None
    for days, writes in ((0, 1), (0, 0), (1, 1), (1, 0)):
        settings.CLOCK_OFFSET = timedelta(days=days)
        with CaptureQueriesContext(connection) as asked:
            assert program(token["token"]).get("/api/v1/clients").status_code == 200
        assert len([each for each in asked if each["sql"].startswith("UPDATE")]) == writes
        (listed,) = door(manager).get(TOKENS).json()["results"]
        assert listed["used_on"] == str(clock.today())


def test_a_manager_of_all_clients_sees_and_ends_everybody_s(door: Door, office: APIClient, manager: User) -> None:
    token = made(office)
    (listed,) = door(manager).get(TOKENS).json()["results"]
    assert (listed["key"], listed["user"]) == (token["key"], "dispatcher")
    assert door(manager).delete(f"{TOKENS}/{token['key']}").status_code == 204
    assert program(token["token"]).get("/api/v1/clients").status_code == 401


# ---- limited to clients ----


def names(client: APIClient) -> list[str]:
    return [each["name"] for each in client.get("/api/v1/clients").json()["results"]]


def test_a_limited_token_sees_its_clients_of_its_owner_s(
    door: Door, dispatcher: User, auditor: User, client_of_ours: Client
) -> None:
    other = Client.objects.create(name="Lock Trust")
    wanted: dict[str, Any] = {"clients": [str(other.id)]}
    limited = program(made(door(dispatcher), **wanted)["token"])
    assert names(limited) == ["Lock Trust"]
    assert limited.get(f"/api/v1/clients/{client_of_ours.id}").status_code == 404
    assert names(program(made(door(dispatcher))["token"])) == ["Weir Trust", "Lock Trust"]
    assert has_shown(door(auditor)).post(TOKENS, WANTED | wanted).status_code == 404
    auditor.clients.add(other)
    refused = has_shown(door(auditor)).post(TOKENS, WANTED | wanted)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["scope"])
    wanted["scope"] = "read"
    limited = program(made(door(auditor), **wanted)["token"])
    assert names(limited) == ["Lock Trust"]
    auditor.clients.remove(other)
    assert names(limited) == []


def test_what_a_limited_token_adds_it_sees_and_its_owner_stays_as_before(
    door: Door, manager: User, client_of_ours: Client
) -> None:
    limited = program(made(door(manager), clients=[str(client_of_ours.id)])["token"])
    added = limited.post("/api/v1/clients", {"name": "Mill Trust"})
    assert added.status_code == 201 and names(limited) == ["Weir Trust", "Mill Trust"]
    manager.refresh_from_db()
    assert manager.sees_all_clients


@pytest.mark.parametrize("key", ["%00", "flt_%00", "a b", "k" * 26])
def test_what_no_key_can_be_never_reaches_the_database(office: APIClient, key: str) -> None:
    with CaptureQueriesContext(connection) as asked:
        refused = office.delete(f"{TOKENS}/{key}")
    assert (refused.status_code, refused.json()["code"]) == (404, "not_found")
    assert not [each for each in asked if ApiToken._meta.db_table in each["sql"]]


@pytest.mark.parametrize("given", ["flt_wrong", "", "a b", "flt_\xff", "flt_" + "0" * 64])
def test_what_is_no_token_opens_nothing(installation: User, given: str) -> None:
    assert program(given).get("/api/v1/clients").status_code == 401


@pytest.mark.parametrize(
    ("field", "value"), [("days", 366), ("days", 0), ("days", True), ("scope", "all"), ("name", "")]
)
def test_a_token_that_may_not_be_is_refused(office: APIClient, field: str, value: Any) -> None:
    refused = office.post(TOKENS, WANTED | {field: value})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, [field])


def test_a_manager_s_token_opens_nothing_while_they_lack_a_second_factor(manager: User, settings: Any) -> None:
    _token, secret = create_token(user=manager, actor=manager, name="x", scope="read", days=1, now=clock.now())
    http = APIClient(HTTP_AUTHORIZATION=f"Bearer {secret}")
    assert http.get("/api/v1/clients").status_code == 200
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    refused = http.get("/api/v1/clients")
    assert (refused.status_code, refused.json()["code"]) == (401, "not_authenticated")
