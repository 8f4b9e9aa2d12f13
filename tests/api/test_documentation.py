"""The API described by itself: without a warning, whole, and true to what the addresses answer."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client as Browser
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.validation import validate_schema
from rest_framework.test import APIClient

from api import urls
from api.documentation import PROBLEMS
from api.schema import document
from fleet.models import User
from tests.api.conftest import Door


@pytest.fixture(scope="module")
def described() -> dict[str, Any]:
    document.cache_clear()
    GENERATOR_STATS.reset()
    return document()


def test_the_description_is_made_without_a_warning(described: dict[str, Any]) -> None:
    assert dict(GENERATOR_STATS._warn_cache) == {}
    assert dict(GENERATOR_STATS._error_cache) == {}
    validate_schema(described)


def test_every_address_is_described(described: dict[str, Any]) -> None:
    addresses = {
        "/api/v1/" + re.sub(r"<\w+:(\w+)>", r"{\1}", str(each.pattern))
        for each in urls.urlpatterns
        if hasattr(each.callback, "cls")
    }
    assert set(described["paths"]) == addresses


def test_every_operation_has_words_a_name_of_its_own_and_problems(described: dict[str, Any]) -> None:
    operations = [each for path in described["paths"].values() for each in path.values()]
    assert len({each["operationId"] for each in operations}) == len(operations)
    assert all(each["description"] for each in operations)
    assert all("application/problem+json" in each["responses"]["default"]["content"] for each in operations)


def test_changes_say_that_they_need_the_version(described: dict[str, Any]) -> None:
    for path, item in described["paths"].items():
        if "patch" in item:
            headers = {each["name"]: each["required"] for each in item["patch"]["parameters"] if each["in"] == "header"}
            assert headers == {"If-Match": True}, path


def test_an_answer_has_the_fields_that_its_description_says(
    described: dict[str, Any], field: APIClient, body: dict[str, Any]
) -> None:
    shown = field.post("/api/v1/visits", body).json()
    shapes = described["components"]["schemas"]
    assert set(shown) == set(shapes["VisitOut"]["properties"])
    assert set(shown["readings"][0]) == set(shapes["ReadingOut"]["properties"])
    assert set(shown["readings"][0]["derived"]) == set(shapes["DerivedOut"]["properties"])
    assert set(body["readings"][0]) <= set(shapes["ReadingIn"]["properties"])


def test_the_description_is_for_whoever_is_logged_in(door: Door, auditor: User) -> None:
    assert door(None).get("/api/v1/schema").status_code == 401
    served = door(auditor).get("/api/v1/schema")
    assert served.status_code == 200
    assert served.json()["openapi"].startswith("3.")


def test_the_documentation_page_shows_every_address_shape_and_code(
    described: dict[str, Any], client: Browser, auditor: User
) -> None:
    assert client.get("/api/v1/documentation").status_code == 302
    client.force_login(auditor)
    page = client.get("/api/v1/documentation")
    text = page.content.decode()
    assert all(path in text for path in described["paths"])
    assert all(f'id="shape-{name}"' in text for name in described["components"]["schemas"])
    assert all(f'id="problem-{code}"' in text for code in PROBLEMS)
    assert "'unsafe-inline'" not in page["Content-Security-Policy"]
    assert not re.search(r"<script|<style|\sstyle=|\son\w+=", text)


# What isn't a word of ours: units, "as read" of a value, the names of what is exported, and nothing.
NOT_CODES = {"%", "=", "", "degC", "degF", "Pa", "hPa", "kPa", "inHg", "inH2O", "mmH2O",
             ">", ">=", "<", "!=", "fleet-sheet/1", "fleet-limit-set/1", "visit/1"}  # fmt: skip


def enumerated(described: Any) -> Iterator[Any]:
    if isinstance(described, list):
        for each in described:
            yield from enumerated(each)
    elif isinstance(described, dict):
        if isinstance(named := described.get("enum"), list):
            yield from named
        for each in described.values():
            yield from enumerated(each)


def test_every_value_of_a_list_is_a_code(described: dict[str, Any]) -> None:
    values = {str(each) for each in enumerated(described) if each is not None}
    assert {"as_found", "natural_gas_h"} & values
    assert {each for each in values - NOT_CODES if not re.fullmatch(r"[a-z0-9_]+", each)} == set()
