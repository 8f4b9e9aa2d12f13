"""Bodies that two readers could take differently are refused; every refusal has one shape and a documented code."""

import ast
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError
from rest_framework.test import APIClient

from api.documentation import PROBLEMS
from fleet.models import Client, User
from fleet.queries import access
from tests.api.conftest import Door

ROOT = Path(__file__).resolve().parents[2]
JSON = "application/json"
REFUSALS = {"FleetError", "Conflict", "NotFound", "Forbidden", "Malformed"}


def problem_of(response: Any) -> dict[str, Any]:
    """The body of a refusal, whose shape is checked on the way."""
    assert response["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = response.json()
    assert body["status"] == response.status_code
    assert body["type"].endswith(f"#problem-{body['code']}")
    assert body["title"]
    assert body["detail"]
    assert body["code"] in PROBLEMS
    return body


STRANGE = {
    "a key twice": (b'{"name": "a", "name": "b"}', "twice"),
    "NaN": (b'{"name": NaN}', "NaN"),
    "infinity": (b'{"name": -Infinity}', "Infinity"),
    "too deep": (b'{"name": ' + b"[" * 32 + b"]" * 32 + b"}", "deeper than 32"),
    "a NUL": (b'{"name": "a\\u0000b"}', "NUL"),
    "a NUL in a list": (b'{"name": ["a\\u0000b"]}', "NUL"),
    "half a surrogate pair": (b'{"name": "\\ud800"}', "surrogate"),
    "a number too large": (b'{"name": 9007199254740993}', "too large"),
    "a number of many digits": (b'{"name": 1' + b"0" * 5000 + b"}", "too large"),
    "a key that isn't ASCII": ('{"näme": "a"}'.encode(), "ASCII"),
    "not UTF-8": (b'{"name": "\xff"}', "UTF-8"),
    "cut short": (b'{"name": "a', "isn't JSON"),
    "nothing but words": (b"hello", "isn't JSON"),
}


@pytest.mark.parametrize("name", STRANGE)
def test_strange_json_is_refused_saying_what_is_wrong(office: APIClient, name: str) -> None:
    body, words = STRANGE[name]
    refused = problem_of(office.post("/api/v1/clients", body, content_type=JSON))
    assert (refused["status"], refused["code"]) == (400, "not_json")
    assert words in refused["detail"]


def test_a_body_of_32_levels_is_read(office: APIClient) -> None:
    body = b'{"name": ' + b"[" * 31 + b"]" * 31 + b"}"
    assert office.post("/api/v1/clients", body, content_type=JSON).status_code == 422


def test_a_body_over_one_megabyte_is_refused(office: APIClient) -> None:
    body = b'{"name": "' + b"a" * 1_000_000 + b'"}'
    assert problem_of(office.post("/api/v1/clients", body, content_type=JSON))["code"] == "too_long"


@pytest.mark.parametrize("body", [b"[]", b"null", b"7", b'"name"', b"true"])
def test_a_body_that_is_no_object_is_refused(office: APIClient, body: bytes) -> None:
    refused = problem_of(office.post("/api/v1/clients", body, content_type=JSON))
    assert (refused["status"], list(refused["errors"])) == (422, ["body"])


def test_other_media_types_are_refused(office: APIClient) -> None:
    refused = office.post("/api/v1/clients", "<client/>", content_type="application/xml")
    assert problem_of(refused)["status"] == 415


def test_nobody_is_asked_to_log_in(door: Door) -> None:
    refused = door(None).get("/api/v1/clients")
    assert problem_of(refused)["status"] == 401
    assert refused["WWW-Authenticate"] == "Bearer"


def test_a_role_that_may_not_is_refused(field: APIClient) -> None:
    assert problem_of(field.post("/api/v1/clients", {"name": "x"}))["code"] == "not_allowed"


def test_a_session_without_its_csrf_token_changes_nothing(dispatcher: User) -> None:
    strict = APIClient(enforce_csrf_checks=True)
    strict.force_login(dispatcher)
    assert problem_of(strict.post("/api/v1/clients", {"name": "x"}))["status"] == 403
    assert Client.objects.count() == 0


@pytest.mark.parametrize(
    "path", ["/api/v1/nothing", "/api/v1/", "/api/nothing", "/api/v1/clients/", "/api/v1/clients/7"]
)
@pytest.mark.django_db
def test_unknown_paths_are_not_found_in_the_same_shape(door: Door, path: str) -> None:
    assert problem_of(door(None).get(path))["status"] == 404
    assert problem_of(door(None).post(path, {}))["status"] == 404


def test_a_method_that_an_address_does_not_know_is_refused(office: APIClient) -> None:
    assert problem_of(office.put("/api/v1/clients", {}))["status"] == 405
    assert problem_of(office.options("/api/v1/clients"))["status"] == 405


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ("clent=1", "clent"),
        ("page_size=0", "page_size"),
        ("page_size=201", "page_size"),
        ("page_size=02000", "page_size"),
        ("after=last", "after"),
        ("after=%00", "after"),
        ("client=7", "client"),
        ("external_reference=%00", "external_reference"),
        ("external_reference=a&external_reference=b", "external_reference"),
    ],
)
def test_query_parameters_that_cannot_be_read_are_named(office: APIClient, query: str, wrong: str) -> None:
    refused = problem_of(office.get(f"/api/v1/buildings?{query}"))
    assert (refused["status"], list(refused["errors"])) == (400, [wrong])


def test_a_post_takes_no_query_parameters(office: APIClient) -> None:
    assert problem_of(office.post("/api/v1/clients?name=x", {"name": "x"}))["code"] == "bad_query"


def test_our_own_fault_is_told_without_its_cause(office: APIClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_viewer: User) -> None:
        raise RuntimeError("the secret cause")

    monkeypatch.setattr("api.clients.Clients.query", broken)
    refused = office.get("/api/v1/clients")
    assert problem_of(refused)["status"] == 500
    assert "secret" not in refused.content.decode()
    assert access.visible_clients is not broken


@pytest.mark.parametrize("said", ["database is locked", "canceling statement due to lock timeout"])
def test_a_database_kept_by_another_writer_is_busy_and_says_when_to_try_again(
    office: APIClient, monkeypatch: pytest.MonkeyPatch, said: str
) -> None:
    def kept(_viewer: User) -> None:
        raise OperationalError(said)

    monkeypatch.setattr("api.clients.Clients.query", kept)
    refused = office.get("/api/v1/clients")
    assert (problem_of(refused)["status"], refused.json()["code"], refused["Retry-After"]) == (503, "busy", "2")


def test_a_database_that_fails_otherwise_is_our_fault(office: APIClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_viewer: User) -> None:
        raise OperationalError("disk I/O error")

    monkeypatch.setattr("api.clients.Clients.query", broken)
    assert problem_of(office.get("/api/v1/clients"))["status"] == 500


@pytest.mark.django_db
def test_a_host_that_is_not_ours_is_refused_in_the_same_shape(door: Door) -> None:
    refused = door(None).get("/api/v1/clients", headers={"Host": "elsewhere.example"})
    assert (problem_of(refused)["status"], refused.json()["code"]) == (400, "bad_request")
    page = door(None).get("/log-in/", headers={"Host": "elsewhere.example"})
    assert (page.status_code, page["Content-Type"].split(";")[0]) == (400, "text/html")


def test_answers_are_json_whatever_is_asked_for(office: APIClient) -> None:
    assert office.get("/api/v1/clients", headers={"Accept": "text/html"})["Content-Type"] == JSON
    assert problem_of(office.get("/api/v1/clients?format=xml"))["code"] == "bad_query"


def test_every_code_in_the_source_is_documented() -> None:
    """A refusal without words on the documentation page would be a code that nobody can look up."""
    raised: set[str] = set()
    for room in ("api", "fleet/services", "fleet/queries", "fleet/intake", "reports"):
        for path in (ROOT / room).rglob("*.py"):
            raised |= set(_codes(ast.parse(path.read_text())))
    assert raised >= {"visit_differs", "not_found", "id_taken"}
    assert raised <= set(PROBLEMS)


def _codes(tree: ast.AST) -> list[str]:
    calls = [each for each in ast.walk(tree) if isinstance(each, ast.Call) and each.args]
    return [
        each.args[0].value
        for each in calls
        if isinstance(each.func, ast.Name)
        and each.func.id in REFUSALS
        and isinstance(each.args[0], ast.Constant)
        and isinstance(each.args[0].value, str)
    ]
