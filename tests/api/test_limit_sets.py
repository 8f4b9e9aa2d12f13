"""Limit sets at the door: previewed, compared, copied unreviewed, reviewed by a named person, carried as files."""

import copy
import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from jsonschema import Draft202012Validator
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from fleet.errors import FleetError
from fleet.models import (
    Analyser,
    Appliance,
    LimitSet,
    LimitSetAssignment,
    LimitSetVersion,
    Person,
    Record,
    RequiredCheck,
    User,
)
from fleet.models.register import new_id
from fleet.services.limit_sets import assign_limit_set, review_limit_set
from tests import cast
from tests.api.conftest import Door

SETS = "/api/v1/limit-sets"
REVIEW = {"by": "P. Example", "on": "2026-03-01", "source": "the text of 2024", "number": 1}


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = cast.NOON - timezone.now()


@pytest.fixture
def neutral(boiler: Appliance, manager: User) -> LimitSet:
    limit_set = LimitSet.objects.get(key="demo-neutral")
    place = {"limit_set": limit_set, "building": boiler.building, "since": "2025-01-01", "why": "chosen for a test"}
    assign_limit_set(values=place, actor=manager, now=cast.NOON)
    return limit_set


@pytest.fixture
def path(neutral: LimitSet) -> str:
    return f"{SETS}/{neutral.id}"


def content_of(limit_set: LimitSet, **changes: Any) -> dict[str, Any]:
    return copy.deepcopy(limit_set.current.content) | changes


def test_a_version_opens_and_ends_the_required_checks_that_it_begins_and_ends(
    boss: APIClient, path: str, neutral: LimitSet, boiler: Appliance
) -> None:
    def standing() -> list[str]:
        return sorted(RequiredCheck.objects.filter(appliance=boiler, until__isnull=True).values_list("part", flat=True))

    assert standing() == [""]
    content = content_of(neutral)
    extra = [{"name": "sweep", "type": "max_months", "months": 24}]
    for more, parts in (({"extra_intervals": extra}, ["", "sweep"]), ({}, [""]), ({"interval": {"type": "none"}}, [])):
        made = boss.post(f"{path}/versions", {"id": str(new_id()), "content": content | more})
        assert (made.status_code, standing()) == (201, parts)


# ---- preview and compare ----


def test_a_preview_says_which_verdicts_and_dates_change_and_writes_nothing(
    boss: APIClient,
    path: str,
    neutral: LimitSet,
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
) -> None:
    cast.store(cast.visit_body(boiler, person, analyser, found=("9.40", "9.10")), technician)
    draft = content_of(neutral, interval={"type": "max_months", "months": 6})
    next(each for each in draft["limits"] if each["id"] == "demo-co-adjust")["fires_when"]["value"] = "10"
    before = Record.objects.count()
    preview = boss.post(f"{path}/versions/preview", draft).json()
    assert [each["path"] for each in preview["differences"]] == [
        "interval",
        "limit CO air-free at most 100 ppm, as left: figures",
    ]
    (changed,) = preview["changed"]
    assert {(each["before"], each["after"]) for each in changed["verdicts"]} == {("within", "outside")}
    (due,) = changed["dues"]
    assert (due["before"], due["after"]) == ("2027-03-02", "2026-09-02")
    assert Record.objects.count() == before
    assert neutral.versions.count() == 1


def test_a_preview_of_what_cannot_be_calculated_with_names_the_path(
    boss: APIClient, path: str, neutral: LimitSet
) -> None:
    rule = boss.post(f"{path}/versions/preview", content_of(neutral, interval={"type": "max_months"}))
    assert (rule.status_code, list(rule.json()["errors"])) == (422, ["interval.months"])
    twice = content_of(neutral)
    twice["limits"][1]["id"] = twice["limits"][0]["id"]
    assert list(boss.post(f"{path}/versions/preview", twice).json()["errors"]) == ["limits.1.id"]


def test_two_versions_are_compared_in_words(boss: APIClient, path: str, neutral: LimitSet) -> None:
    draft = content_of(neutral, notes="ours")
    draft["limits"][0]["action"] = "Find the cause"
    assert boss.post(f"{path}/versions", {"content": draft}).json()["number"] == 2
    said = boss.get(f"{path}/versions/compare", {"from": 1, "to": 2}).json()["differences"]
    assert said == [
        {"path": "notes", "before": "", "after": "ours", "milder": ""},
        {
            "path": "limit CO air-free at most 100 ppm, as left: what it asks for",
            "before": "Adjust or explain",
            "after": "Find the cause",
            "milder": "",
        },
    ]


def test_a_version_on_top_of_an_overtaken_one_is_refused_when_it_says_so(
    boss: APIClient, path: str, neutral: LimitSet
) -> None:
    by_first = {"If-Match": '"1"'}
    first = boss.post(f"{path}/versions", {"content": content_of(neutral, notes="one")}, headers=by_first)
    second = boss.post(f"{path}/versions", {"content": content_of(neutral, notes="two")}, headers=by_first)
    assert (first.status_code, second.status_code) == (201, 412)


# ---- review ----


def test_a_review_names_who_when_and_by_which_source(boss: APIClient, path: str) -> None:
    reviewed = boss.post(f"{path}/review", REVIEW)
    assert reviewed.status_code == 200
    shown = {name: reviewed.json()[name] for name in ("number", "reviewed_by", "reviewed_on", "review_source")}
    assert shown == {
        "number": 2,
        "reviewed_by": "P. Example",
        "reviewed_on": "2026-03-01",
        "review_source": "the text of 2024",
    }
    assert boss.post(f"{path}/review", REVIEW).status_code == 412


def test_a_review_on_a_day_to_come_is_refused(boss: APIClient, path: str, neutral: LimitSet, manager: User) -> None:
    ahead = f"{cast.NOON.date() + timedelta(days=1)}"
    refused = boss.post(f"{path}/review", REVIEW | {"on": ahead})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["on"])
    with pytest.raises(FleetError) as said:
        review_limit_set(
            limit_set=neutral, review={"by": "x", "on": ahead, "source": "y"}, actor=manager, now=cast.NOON
        )
    assert said.value.code == "invalid"
    assert neutral.versions.count() == 1
    assert boss.post(f"{path}/review", REVIEW | {"on": "2026-03-02"}).status_code == 200


def test_a_new_version_of_a_reviewed_set_is_unreviewed(boss: APIClient, path: str, neutral: LimitSet) -> None:
    boss.post(f"{path}/review", REVIEW)
    assert boss.get(path).json()["reviewed_by"] == "P. Example"
    boss.post(f"{path}/versions", {"content": content_of(neutral, notes="other")})
    assert boss.get(path).json()["reviewed_by"] == ""


# ---- copy and retire ----


def test_a_copy_is_unreviewed_whatever_the_set_was(boss: APIClient, path: str, neutral: LimitSet) -> None:
    boss.post(f"{path}/review", REVIEW)
    body = {"id": str(new_id()), "key": "ours", "name": "Our own"}
    made, again = boss.post(f"{path}/copy", body), boss.post(f"{path}/copy", body)
    assert (made.status_code, again.status_code) == (201, 200)
    assert (made.json()["reviewed_by"], made.json()["current_number"]) == ("", 1)
    copied = LimitSet.objects.get(key="ours").current
    assert isinstance(copied, LimitSetVersion)
    assert not copied.is_reviewed
    assert copied.content["limits"] == neutral.current.content["limits"]
    assert copied.content["notes"] == f"Copied from {neutral.name} v2."
    assert not LimitSetAssignment.objects.filter(limit_set__key="ours").exists()


def test_a_key_that_is_taken_is_refused_by_name(boss: APIClient, path: str) -> None:
    refused = boss.post(f"{path}/copy", {"key": "demo-neutral", "name": "Again"})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["key"])


def test_a_retired_set_is_attached_nowhere_more_and_goes_on_where_it_is(
    boss: APIClient, office: APIClient, path: str, neutral: LimitSet, boiler: Appliance
) -> None:
    retired = boss.patch(path, {"retired_on": "2026-03-02"}, headers={"If-Match": '"1"'})
    assert (retired.status_code, retired.json()["retired_on"]) == (200, "2026-03-02")
    place = {"limit_set": str(neutral.id), "appliance": str(boiler.id), "since": "2026-01-01", "why": "more of it"}
    refused = office.post("/api/v1/limit-set-assignments", place)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["limit_set"])
    assert "retired on 2026-03-02" in refused.json()["errors"]["limit_set"]
    card = office.get(f"/api/v1/appliances/{boiler.id}/card").content.decode()
    assert "demo-neutral" in card
    assert boss.patch(path, {"retired_on": None}, headers={"If-Match": '"2"'}).status_code == 200
    assert office.post("/api/v1/limit-set-assignments", place).status_code == 201


def test_a_set_is_not_retired_for_a_day_to_come(boss: APIClient, path: str) -> None:
    refused = boss.patch(path, {"retired_on": "2026-03-03"}, headers={"If-Match": '"1"'})
    assert list(refused.json()["errors"]) == ["retired_on"]
    assert boss.get(SETS, {"retired": "true"}).json()["results"] == []


# ---- files ----


def exported(client: APIClient, path: str) -> dict[str, Any]:
    answer = client.get(f"{path}/export")
    assert answer.status_code == 200
    return dict(json.loads(answer.content))


def test_every_shipped_set_is_exported_by_the_schema_and_known_again(boss: APIClient) -> None:
    schema = Draft202012Validator(boss.get("/api/v1/schemas/limit-set").json())
    for each in LimitSet.objects.all():
        file = exported(boss, f"{SETS}/{each.id}")
        assert [fault.message for fault in schema.iter_errors(file)] == []
        known = boss.post(f"{SETS}/import", file)
        assert (known.status_code, known.json()["made"], known.json()["number"]) == (200, False, 1), each.key


def test_an_imported_set_is_unreviewed_whatever_its_file_says(boss: APIClient, path: str) -> None:
    boss.post(f"{path}/review", REVIEW)
    file = exported(boss, path)
    assert file["review"] == {"by": "P. Example", "on": "2026-03-01", "source": "the text of 2024"}
    file["key"] = "from-elsewhere"
    made, again = boss.post(f"{SETS}/import", file), boss.post(f"{SETS}/import", file)
    assert (made.status_code, again.status_code) == (201, 200)
    assert boss.get(f"{SETS}/{made.json()['id']}").json()["reviewed_by"] == ""
    assert exported(boss, f"{SETS}/{made.json()['id']}") == file | {"version": 1, "review": None}


def test_a_file_of_a_known_key_that_says_something_else_changes_nothing(boss: APIClient, path: str) -> None:
    file = exported(boss, path)
    file["content"]["notes"] = "something else"
    refused = boss.post(f"{SETS}/import", file)
    assert (refused.status_code, refused.json()["code"]) == (409, "content_differs")
    assert LimitSet.objects.get(key="demo-neutral").versions.count() == 1


def limit_of(file: dict[str, Any]) -> dict[str, Any]:
    limit: dict[str, Any] = file["content"]["limits"][0]
    return limit


@pytest.mark.parametrize(
    ("break_it", "named"),
    [
        (lambda file: file["content"]["limits"][1]["fires_when"].update(op="about"), "content.limits.1.fires_when.op"),
        (lambda file: limit_of(file)["fires_when"].update(value="lots, really"), "content.limits.0.fires_when.value"),
        (lambda file: limit_of(file).update(select={"output_kW_gt": "big"}), "content.limits.0.select.output_kW_gt"),
        (lambda file: file["content"]["interval"].update(months=0), "content.interval.months"),
        (lambda file: file["content"].update(evidence="unverified"), "content.sources"),
        (lambda file: file.update(key="not a key"), "key"),
    ],
)  # fmt: skip
def test_a_broken_file_names_the_path_and_makes_nothing(boss: APIClient, path: str, break_it: Any, named: str) -> None:
    file = exported(boss, path) | {"key": "broken"}
    break_it(file)
    refused = boss.post(f"{SETS}/import", file)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, [named])
    assert not LimitSet.objects.filter(key="broken").exists()


def test_files_and_schemas_are_for_whoever_is_logged_in_and_imports_for_managers(
    door: Door, office: APIClient, path: str, auditor: User
) -> None:
    file = exported(door(auditor), path)
    assert office.post(f"{SETS}/import", file).status_code == 403
    assert office.post(f"{path}/copy", {"key": "x", "name": "x"}).status_code == 403
    assert office.post(f"{path}/versions/preview", file["content"]).status_code == 403
    assert door(None).get(f"{path}/export").status_code == 401
