"""Sheets at the door: previewed, compared, copied, retired, carried from house to house as files."""

import copy
import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from jsonschema import Draft202012Validator
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from fleet.errors import Conflict
from fleet.models import Analyser, Appliance, Job, ModelSheet, Person, Record, User
from fleet.models.register import new_id
from fleet.services.appliances import add_sheet_version
from tests import cast
from tests.api.conftest import Door

SHEETS = "/api/v1/sheets"
ONE_RATE_TWICE = {"quantity": "co2", "higher_rate": "high", "lower_rate": "high"}


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = cast.NOON - timezone.now()


@pytest.fixture
def path(boiler: Appliance) -> str:
    """The address of the boiler's sheet."""
    return f"{SHEETS}/{boiler.sheet_id}"


def content(tolerance: str = "0.1", **changes: Any) -> dict[str, Any]:
    changed = copy.deepcopy(cast.SHEET) | changes
    changed["targets"][0]["tolerance"] = tolerance
    return changed


# ---- preview and compare ----


def test_a_preview_says_what_differs_and_who_changes_and_writes_nothing(
    boss: APIClient, path: str, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = cast.store(
        cast.visit_body(boiler, person, analyser, found=("9.40", "9.10"), left=("9.60", "9.10")), technician
    )
    before = (Record.objects.count(), Job.objects.count())
    said = boss.post(f"{path}/versions/preview", content())
    assert said.status_code == 200
    preview = said.json()
    assert (preview["based_on"], preview["number"], preview["day"]) == (1, 2, "2026-03-02")
    tolerance = {"path": "target CO₂ at high fire, casing closed: tolerance", "before": "0.3", "after": "0.1"}
    assert tolerance | {"milder": ""} in preview["differences"]
    (changed,) = preview["changed"]
    assert (changed["appliance"], changed["visit"]) == (str(boiler.id), str(visit.id))
    assert (changed["outcome_before"], changed["outcome_after"]) == ("within", "outside")
    assert changed["verdicts"][0]["sentence"].startswith(
        "CO₂ 9.60 % at high fire, as left, by the limits of Test sheet: within"
    )
    assert (Record.objects.count(), Job.objects.count()) == before


def test_a_preview_of_a_target_without_a_basis_is_refused_by_its_path(boss: APIClient, path: str) -> None:
    wrong = content()
    del wrong["targets"][1]["tolerance_basis"]
    for where, prefix in ((f"{path}/versions/preview", ""), (f"{path}/versions", "content.")):
        refused = boss.post(where, {"content": wrong} if prefix else wrong)
        assert refused.status_code == 422
        assert list(refused.json()["errors"]) == [f"{prefix}targets.1.tolerance_basis"]


def test_only_managers_preview_copy_and_import(office: APIClient, path: str) -> None:
    for where in (f"{path}/versions/preview", f"{path}/copy", f"{SHEETS}/import"):
        assert office.post(where, content()).status_code == 403


def test_versions_are_compared_both_ways(boss: APIClient, office: APIClient, path: str) -> None:
    boss.post(f"{path}/versions", {"content": content("0.2", condensing=False)})
    forth = office.get(f"{path}/versions/compare", {"from": 1, "to": 2}).json()
    back = office.get(f"{path}/versions/compare", {"from": 2, "to": 1}).json()
    assert (forth["before"], forth["after"]) == (1, 2)
    assert [each["path"] for each in forth["differences"]] == [
        "condensing",
        "target CO₂ at high fire, casing closed: tolerance",
        "target CO₂ at high fire, casing closed: band",
    ]
    swapped = [(each["path"], each["after"], each["before"]) for each in back["differences"]]
    assert [(each["path"], each["before"], each["after"]) for each in forth["differences"]] == swapped
    assert [each["milder"] for each in [*forth["differences"], *back["differences"]] if each["milder"]] == [
        "it keeps what was outside"
    ]
    assert office.get(f"{path}/versions/compare", {"from": 1, "to": 1}).json()["differences"] == []


@pytest.mark.parametrize(
    ("query", "status", "said"),
    [({"from": 1, "to": 9}, 404, "no version 9"), ({"from": "one", "to": 1}, 400, "from"), ({"to": 1}, 400, "from")],
)
def test_a_comparison_with_what_is_not_there_is_refused(
    boss: APIClient, path: str, query: dict[str, Any], status: int, said: str
) -> None:
    refused = boss.get(f"{path}/versions/compare", query)
    assert refused.status_code == status
    assert said in refused.content.decode()


# ---- two managers at once ----


def test_a_version_made_from_an_overtaken_one_is_refused_when_it_says_so(boss: APIClient, path: str) -> None:
    first = boss.post(f"{path}/versions", {"content": content("0.2")}, headers={"If-Match": '"1"'})
    second = boss.post(f"{path}/versions", {"content": content("0.1")}, headers={"If-Match": '"1"'})
    assert (first.status_code, second.status_code) == (201, 412)
    assert second.json()["code"] == "changed_meanwhile"
    assert boss.post(f"{path}/versions", {"content": content("0.1")}).json()["number"] == 3


def test_a_retry_finds_its_version_though_another_one_came_meanwhile(boss: APIClient, path: str) -> None:
    body = {"id": str(new_id()), "content": content("0.2")}
    first = boss.post(f"{path}/versions", body, headers={"If-Match": '"1"'})
    boss.post(f"{path}/versions", {"content": content("0.25")})
    again = boss.post(f"{path}/versions", body, headers={"If-Match": '"1"'})
    assert (again.status_code, again.json()) == (200, first.json())


def test_the_service_refuses_whoever_comes_second(boiler: Appliance, manager: User) -> None:
    def add(tolerance: str) -> None:
        add_sheet_version(
            sheet=boiler.sheet, content=content(tolerance), actor=manager, now=cast.NOON, id=new_id(), based_on=1
        )

    add("0.2")
    with pytest.raises(Conflict) as refused:
        add("0.1")
    assert refused.value.code == "changed_meanwhile"
    assert boiler.sheet.versions.count() == 2


# ---- copy ----


def test_a_copy_says_where_it_comes_from_and_is_made_once_an_id(boss: APIClient, path: str) -> None:
    body = {"id": str(new_id()), "name": "Model 8"}
    made, again = boss.post(f"{path}/copy", body), boss.post(f"{path}/copy", body)
    assert (made.status_code, again.status_code) == (201, 200)
    assert made.json()["name"] == "Model 8"
    assert made.json()["current_number"] == 1
    (version,) = boss.get(f"{SHEETS}/{body['id']}/versions").json()["results"]
    assert version["content"] == cast.SHEET | {"source": "Copied from Test sheet v1. invented for tests"}
    assert ModelSheet.objects.filter(name="Model 8").count() == 1


def test_two_sheets_in_use_have_two_names(boss: APIClient, path: str) -> None:
    taken = boss.get(path).json()["name"]
    other = boss.post(SHEETS, {"name": "Another model"}).json()["id"]
    refused = [
        boss.post(SHEETS, {"name": taken}),
        boss.post(f"{path}/copy", {"name": taken}),
        boss.patch(f"{SHEETS}/{other}", {"name": taken}, headers={"If-Match": '"1"'}),
    ]
    assert [each.status_code for each in refused] == [422, 422, 422]
    assert {each.json()["errors"]["name"] for each in refused} == {
        f"is {taken}; another sheet in use has that very name"
    }
    assert retire(boss, path, 1, "2026-03-02").status_code == 200
    assert boss.patch(f"{SHEETS}/{other}", {"name": taken}, headers={"If-Match": '"1"'}).status_code == 200
    assert list(retire(boss, path, 2, None).json()["errors"]) == ["name"]


def test_a_sheet_without_a_version_has_nothing_to_copy_or_export(boss: APIClient) -> None:
    empty = ModelSheet.objects.create(name="Empty")
    refused = boss.post(f"{SHEETS}/{empty.id}/copy", {"name": "Another"})
    assert (refused.status_code, refused.json()["code"]) == (400, "nothing_to_copy")
    assert not ModelSheet.objects.filter(name="Another").exists()
    assert boss.get(f"{SHEETS}/{empty.id}/export").status_code == 404


# ---- retire ----


def retire(client: APIClient, path: str, version: int, day: Any) -> Any:
    return client.patch(path, {"retired_on": day}, headers={"If-Match": f'"{version}"'})


def test_a_retired_sheet_is_given_to_no_further_appliance_and_kept_by_those_that_have_it(
    boss: APIClient, office: APIClient, path: str, boiler: Appliance
) -> None:
    retired = retire(boss, path, 1, "2026-03-02")
    assert (retired.status_code, retired.json()["retired_on"]) == (200, "2026-03-02")
    body = {"building": str(boiler.building_id), "name": "Boiler 2", "in_service_from": "2026-01-01"}
    refused = office.post("/api/v1/appliances", body | {"sheet": str(boiler.sheet_id)})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["sheet"])
    assert "retired on 2026-03-02" in refused.json()["errors"]["sheet"]
    bare = office.post("/api/v1/appliances", body).json()
    given = office.patch(
        f"/api/v1/appliances/{bare['id']}", {"sheet": str(boiler.sheet_id)}, headers={"If-Match": '"1"'}
    )
    assert list(given.json()["errors"]) == ["sheet"]
    kept = office.patch(
        f"/api/v1/appliances/{boiler.id}",
        {"sheet": str(boiler.sheet_id), "room": "cellar"},
        headers={"If-Match": '"1"'},
    )
    assert (kept.status_code, kept.json()["sheet"]) == (200, str(boiler.sheet_id))
    assert retire(boss, path, 2, None).json()["retired_on"] is None
    assert office.post("/api/v1/appliances", body | {"sheet": str(boiler.sheet_id)}).status_code == 201


def test_retiring_is_not_for_a_day_to_come(boss: APIClient, path: str) -> None:
    ahead = retire(boss, path, 1, f"{cast.NOON.date() + timedelta(days=1)}")
    assert (ahead.status_code, list(ahead.json()["errors"])) == (422, ["retired_on"])
    assert retire(boss, path, 1, "2026-02-01").status_code == 200


def test_retired_sheets_can_be_asked_for(boss: APIClient, path: str) -> None:
    ModelSheet.objects.create(name="Another")
    retire(boss, path, 1, "2026-03-02")
    for wanted, names in (("true", ["Test sheet"]), ("false", ["Another"])):
        assert [each["name"] for each in boss.get(SHEETS, {"retired": wanted}).json()["results"]] == names


# ---- files ----


def exported(client: APIClient, path: str) -> dict[str, Any]:
    answer = client.get(f"{path}/export")
    assert answer.status_code == 200
    assert answer["Content-Disposition"].endswith('.json"')
    return dict(json.loads(answer.content))


def test_a_sheet_is_carried_to_another_house_and_made_there_once(boss: APIClient, path: str) -> None:
    file = exported(boss, path)
    assert {name: file[name] for name in ("schema", "name", "version")} == {
        "schema": "fleet-sheet/1",
        "name": "Test sheet",
        "version": 1,
    }
    here = boss.post(f"{SHEETS}/import", file)
    assert (here.status_code, here.json()["made"]) == (200, False)
    assert here.json()["words"] == "Test sheet v1 says the same already; nothing was made."
    file["name"] = "From elsewhere"
    made, again = boss.post(f"{SHEETS}/import", file), boss.post(f"{SHEETS}/import", file)
    assert (made.status_code, again.status_code) == (201, 200)
    assert made.json()["id"] == again.json()["id"]
    assert made.json()["words"] == "Made From elsewhere v1."
    assert exported(boss, f"{SHEETS}/{made.json()['id']}") == file


def test_a_file_that_was_taken_and_then_changed_here_still_makes_nothing(boss: APIClient, path: str) -> None:
    file = exported(boss, path) | {"name": "From elsewhere"}
    id = boss.post(f"{SHEETS}/import", file).json()["id"]
    boss.post(f"{SHEETS}/{id}/versions", {"content": content("0.2")})
    boss.patch(f"{SHEETS}/{id}", {"name": "Renamed here"}, headers={"If-Match": '"1"'})
    again = boss.post(f"{SHEETS}/import", file)
    assert (again.status_code, again.json()["id"], again.json()["number"]) == (200, id, 1)


def test_a_file_that_says_something_else_than_what_stands_here_changes_nothing(boss: APIClient, path: str) -> None:
    file = exported(boss, path) | {"content": content("0.2")}
    refused = boss.post(f"{SHEETS}/import", file)
    assert (refused.status_code, refused.json()["code"]) == (409, "content_differs")
    assert refused.json()["entry"] == path.rsplit("/", 1)[1]
    by_reference = file | {"name": "Under another name", "external_reference": "M-7"}
    ModelSheet.objects.update(external_reference="M-7")
    assert boss.post(f"{SHEETS}/import", by_reference).json()["code"] == "content_differs"
    assert ModelSheet.objects.count() == 1
    assert ModelSheet.objects.get().versions.count() == 1


@pytest.mark.parametrize(
    ("break_it", "named"),
    [
        (lambda file: file["content"]["targets"][0].pop("tolerance_basis"), "content.targets.0.tolerance_basis"),
        (
            lambda file: file["content"]["adjusters"][1].update(largest_step_turns="0"),
            "content.adjusters.1.largest_step_turns",
        ),
        (lambda file: file["content"].update(order_rules=[ONE_RATE_TWICE]), "content.order_rules.0.lower_rate"),
        (lambda file: file["content"].update(natural_draught="no"), "content.natural_draught"),
        (lambda file: file.update(schema="fleet-limit-set/1"), "schema"),
        (lambda file: file.update(colour="red"), "colour"),
        (lambda file: file.pop("name"), "name"),
    ],
)  # fmt: skip
def test_a_broken_file_names_the_path_and_makes_nothing(boss: APIClient, path: str, break_it: Any, named: str) -> None:
    file = exported(boss, path)
    file["name"] = "Broken"
    break_it(file)
    refused = boss.post(f"{SHEETS}/import", file)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, [named])
    assert ModelSheet.objects.count() == 1


def test_what_is_exported_keeps_the_published_schema(door: Door, path: str, auditor: User) -> None:
    reader = door(auditor)
    schema = reader.get("/api/v1/schemas/sheet").json()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert Draft202012Validator(schema).is_valid(exported(reader, path))
    assert door(None).get("/api/v1/schemas/sheet").status_code == 401
