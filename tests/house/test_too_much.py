"""What is longer, deeper or more than anything can be: answered shortly at every door, and read by none."""

import json

import pytest
from django.test import Client as Browser

from fleet.errors import FleetError
from fleet.intake.fields import fields_of, read_shape
from fleet.models import User
from fleet.web.middleware import Tries
from tests.house import test_access_matrix
from tests.house.test_access_matrix import TABLE, Caller
from tests.house.test_whose import SHAPES

people, things = test_access_matrix.people, test_access_matrix.things
FORM = "application/x-www-form-urlencoded"
SHORT = 20_000
BODIES = {
    "deep lists": "[" * 1000 + "]" * 1000,
    "deep objects": '{"a":' * 1000 + "1" + "}" * 1000,
    "a long list": json.dumps([1] * 100_000),
    "a long text": json.dumps("é" * 140_000),
    "a long number": "9" * 900_000,
    "more than a megabyte": " " * 1_000_001,
}


def test_a_form_longer_than_any_is_read_by_no_page(things: dict[str, str], manager: User) -> None:
    caller, wrong = Caller(manager), {}
    caller.client.raise_request_exception = False
    posted = {name: row for name, row in TABLE.items() if row.kind != "api" and "POST" in row.allowed}
    assert len(posted) > 40
    for name, row in posted.items():
        path = caller.path(name, row, things)
        for what, body in (("long", "why=" + "<" * 990_000), ("many", "&".join(f"a{n}=1" for n in range(6000)))):
            if what == "long" and name in Tries.longer:
                body = body[:400_000]
            caller.client.cookies.load(caller.cookies)
            answer = caller.client.post(path, body, content_type=FORM)
            most = 120_000 if name in Tries.longer else SHORT
            if answer.status_code not in (302, 400, 422, 429) or len(answer.content) > most:
                wrong[f"{name} {what}"] = (answer.status_code, len(answer.content))
    assert wrong == {}


@pytest.mark.parametrize("body", BODIES.values(), ids=list(BODIES))
@pytest.mark.parametrize("path", ["/api/v1/visits", "/api/v1/limit-sets", "/api/v1/tokens"])
def test_a_body_deeper_or_longer_than_any_is_answered_shortly(manager: User, path: str, body: str) -> None:
    browser = Browser()
    browser.force_login(manager)
    answer = browser.post(path, body, content_type="application/json")
    assert 400 <= answer.status_code < 500
    assert len(answer.content) < 2000


def test_of_lists_without_end_in_every_field_twenty_faults_are_said_at_most(manager: User) -> None:
    said = {}
    for shape in sorted(SHAPES, key=lambda each: each.__name__):
        for item in ({}, "x" * 50):
            with pytest.raises(FleetError) as refused:
                read_shape(shape, dict.fromkeys(fields_of(shape), [item] * 1000), partial=False, viewer=manager)
            said[shape.__name__] = len(refused.value.errors)
    assert len(said) > 50 and min(said.values()) > 0 and max(said.values()) <= 20


@pytest.mark.parametrize(
    "header", ["If-Match", "Idempotency-Key", "Authorization", "Cookie", "X-Forwarded-For", "Referer"]
)
@pytest.mark.parametrize("path", ["/api/v1/clients", "/log-in/"])
def test_a_header_without_end_is_answered_shortly(manager: User, header: str, path: str) -> None:
    browser = Browser()
    browser.force_login(manager)
    for given in ("x" * 200_000, "x," * 100_000):
        answer = browser.post(path, "{}", content_type="application/json", headers={header: given})
        assert answer.status_code < 500 and len(answer.content) < SHORT


@pytest.mark.parametrize("name", ["client", "cursor", "x" * 100, "q"])
@pytest.mark.parametrize("path", ["/api/v1/appliances", "/", "/buildings/", "/log-in/"])
def test_a_query_without_end_is_answered_shortly(manager: User, path: str, name: str) -> None:
    browser = Browser()
    browser.force_login(manager)
    for query in (f"{name}=" + "x" * 1_000_000, "&".join(f"{name}{n}=1" for n in range(3000))):
        answer = browser.get(f"{path}?{query}")
        assert answer.status_code < 500 and len(answer.content) < SHORT
