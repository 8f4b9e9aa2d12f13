"""Flags and questions: answered for and resolved by a named person, by version, by the rule of who may."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Analyser, Appliance, Flag, Person, Question, User, Visit
from tests import cast
from tests.api.conftest import Door


@pytest.fixture
def unsafe(body: dict[str, Any], technician: User) -> Flag:
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spills"}}
    return Flag.objects.get(visit=cast.store(body, technician), kind=Flag.Kind.UNSAFE)


@pytest.fixture
def outside(boiler: Appliance) -> Flag:
    return Flag.objects.create(appliance=boiler, kind=Flag.Kind.OUTSIDE, key="high o2", sentence="O2 is outside.",
                               opened_at=cast.NOON, updated_at=cast.NOON)  # fmt: skip


def path(flag: Flag, act: str = "") -> str:
    return f"/api/v1/flags/{flag.id}{act}"


def test_a_flag_is_acknowledged_once_by_version(field: APIClient, unsafe: Flag) -> None:
    read = field.get(path(unsafe))
    said = field.post(path(unsafe, "/acknowledge"), {"note": "on my way"}, headers={"If-Match": read["ETag"]})
    assert said.status_code == 200
    assert said.json()["acknowledged_by"] == "technician"
    assert said.json()["closed_at"] is None
    again = field.post(path(unsafe, "/acknowledge"), {}, headers={"If-Match": read["ETag"]})
    assert again.status_code == 412
    assert field.post(path(unsafe, "/acknowledge"), {}).status_code == 428


def test_the_office_does_not_close_an_unsafe_flag(office: APIClient, unsafe: Flag) -> None:
    refused = office.post(path(unsafe, "/close"), {"why": "looks fine"}, headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.json()["code"]) == (403, "not_qualified")


def test_a_qualified_technician_closes_it_only_after_a_test(
    field: APIClient, unsafe: Flag, boiler: Appliance, body: dict[str, Any]
) -> None:
    close = {"why": "flue repaired and tested"}
    early = field.post(path(unsafe, "/close"), close, headers={"If-Match": '"1"'})
    assert early.json()["code"] == "no_test_since"
    later = cast.visit_body(boiler, *_who(body), day="2026-03-04")
    assert field.post("/api/v1/visits", later).status_code == 201
    closed = field.post(path(unsafe, "/close"), close, headers={"If-Match": '"1"'})
    assert (closed.status_code, closed.json()["closed_why"]) == (200, close["why"])


def _who(body: dict[str, Any]) -> tuple[Person, Analyser]:
    first = body["readings"][0]
    return Person.objects.get(id=first["person"]), Analyser.objects.get(id=first["analyser"])


def test_other_flags_are_the_offices_to_close(field: APIClient, office: APIClient, outside: Flag) -> None:
    why = {"why": "meter was wrong"}
    assert field.post(path(outside, "/close"), why, headers={"If-Match": '"1"'}).status_code == 403
    assert office.post(path(outside, "/close"), {"why": " "}, headers={"If-Match": '"1"'}).status_code == 422
    assert office.post(path(outside, "/close"), why, headers={"If-Match": '"1"'}).status_code == 200


def test_flags_are_narrowed_by_kind_and_state(office: APIClient, unsafe: Flag, outside: Flag) -> None:
    def kinds(**query: str) -> set[str]:
        return {each["kind"] for each in office.get("/api/v1/flags", query).json()["results"]}

    assert kinds() == {"unsafe", "outside_a_limit"}
    assert kinds(kind="unsafe", open="true") == {"unsafe"}
    assert kinds(acknowledged="true") == kinds(open="false") == set()


def test_a_foreign_flag_is_not_found(door: Door, others: dict[str, Any], outside: Flag) -> None:
    theirs = door(others["dispatcher"])
    for act, said in (("/acknowledge", {}), ("/close", {"why": "x"})):
        assert theirs.post(path(outside, act), said, headers={"If-Match": '"1"'}).status_code == 404
    assert theirs.get(path(outside)).status_code == 404


def test_a_mark_is_resolved_once_with_what_came_of_it(
    office: APIClient, field: APIClient, body: dict[str, Any], technician: User
) -> None:
    body["readings"][0]["analyser"] = "borrowed"
    visit: Visit = cast.store(body, technician)
    question = Question.objects.get(visit=visit, code="analyser_unknown")
    resolve = f"/api/v1/questions/{question.id}/resolve"
    assert field.post(resolve, {"note": "x"}, headers={"If-Match": '"1"'}).status_code == 403
    resolved = office.post(resolve, {"note": "the manufacturer's own"}, headers={"If-Match": '"1"'})
    assert (resolved.json()["resolved_by"], resolved.json()["version"]) == ("dispatcher", 2)
    assert office.post(resolve, {"note": "again"}, headers={"If-Match": '"2"'}).status_code == 412
    still_open = office.get("/api/v1/questions", {"visit": str(visit.id), "open": "true"}).json()["results"]
    assert question.code not in [each["code"] for each in still_open]
