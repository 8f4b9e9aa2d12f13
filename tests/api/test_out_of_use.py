"""Out of use, replaced and converted at the door; the fields that a visit is to fill on the phone's card."""

from datetime import date
from typing import Any

from rest_framework.test import APIClient

from fleet.models import Appliance, Flag, LimitSet, OutOfUse, RequiredCheck, User
from fleet.models.register import new_id
from fleet.services.limit_sets import assign_limit_set
from tests.api.conftest import Door
from tests.cast import NOON, store

STILL = {"begins": "2026-01-20", "why": "the hall is closed", "said_by": "the caretaker"}


def attach(key: str, actor: User, boiler: Appliance) -> None:
    place = {"limit_set": LimitSet.objects.get(key=key), "appliance": boiler, "since": date(2025, 1, 1), "why": "x"}
    assign_limit_set(values=place, actor=actor, now=NOON)


def test_it_is_recorded_once_listed_and_ended(office: APIClient, boiler: Appliance) -> None:
    path, body = f"/api/v1/appliances/{boiler.id}/out-of-use", STILL | {"id": str(new_id())}
    first, again = (office.post(path, body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert office.post(path, body | {"why": "another"}).status_code == 409
    assert [each["ends"] for each in office.get(path).json()["results"]] == [None]
    ending = f"/api/v1/out-of-use/{body['id']}/end"
    ended = office.post(ending, {"ends": "2026-02-10", "restart_said_by": "us"})
    assert (ended.status_code, ended.json()["ends"]) == (200, "2026-02-10")
    assert office.post(ending, {"ends": "2026-02-11", "restart_said_by": "us"}).status_code == 409


def test_a_misspelt_field_or_a_day_to_come_is_named(office: APIClient, boiler: Appliance) -> None:
    path = f"/api/v1/appliances/{boiler.id}/out-of-use"
    for body, field in ((STILL | {"begins": "2199-01-01"}, "begins"), (STILL | {"whyy": "x"}, "whyy")):
        refused = office.post(path, body)
        assert refused.status_code in (400, 422)
        assert list(refused.json()["errors"]) == [field]
    assert not OutOfUse.objects.exists()


def test_another_clients_appliance_is_not_there(door: Door, others: dict[str, Any], boiler: Appliance) -> None:
    theirs = door(others["dispatcher"])
    for path in ("out-of-use", "gas-conversions"):
        assert theirs.get(f"/api/v1/appliances/{boiler.id}/{path}").status_code == 404
        assert theirs.post(f"/api/v1/appliances/{boiler.id}/{path}", STILL).status_code == 404
    assert theirs.post(f"/api/v1/appliances/{boiler.id}/replacement", {}).status_code == 404


def test_a_replacement_is_made_once(office: APIClient, boiler: Appliance) -> None:
    path, id = f"/api/v1/appliances/{boiler.id}/replacement", str(new_id())
    body = {"id": id, "day": "2026-02-20", "appliance_version": 1, "appliance": {"name": "Boiler 1", "serial": "N-7"}}
    first, again = (office.post(path, body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert (first.json()["id"], first.json()["in_service_from"]) == (id, "2026-02-20")
    assert Appliance.objects.count() == 2
    assert office.post(path, body | {"id": str(new_id())}).status_code in (409, 412)


def test_a_conversion_is_recorded_once_and_its_test_is_a_required_check(office: APIClient, boiler: Appliance) -> None:
    path = f"/api/v1/appliances/{boiler.id}/gas-conversions"
    body = {"id": str(new_id()), "converted_on": "2026-02-20", "to_fuel": "propane", "kit": "K-31", "label": "inside",
            "analyser_fuel": "propane", "sheet": None, "done_by": "Ada", "test_within_days": 14,
            "appliance_version": 1}  # fmt: skip
    first, again = (office.post(path, body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["from_fuel"] == "natural_gas"
    required_checks = office.get("/api/v1/required-checks", {"source": "conversion"}).json()["results"]
    assert [each["due"] for each in required_checks] == ["2026-03-06"]


# ---- required checks ----


def test_a_required_check_names_what_the_last_visit_lacked(
    office: APIClient, body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body | {"inspection_points": {"flue_ok": True}}, technician)
    attach("uk-gsiur-36", manager, boiler)
    shown = office.get("/api/v1/required-checks?not_counted=true").json()["results"][0]
    assert shown["visited_on"] == "2026-03-02"
    assert shown["lacks"][0]["words"] in shown["not_counted"]
    assert {"name", "words", "why", "found"} == set(shown["lacks"][0])


def test_a_field_that_nothing_declares_is_refused_by_name(
    field: APIClient, body: dict[str, Any], boiler: Appliance
) -> None:
    refused = field.post("/api/v1/visits", body | {"inspection_points": {"co": "40", "flue_ok": 3}})
    assert {each.rsplit(".", 1)[-1] for each in refused.json()["errors"]} == {"co"}
    refused = field.post("/api/v1/visits", body | {"inspection_points": {"flue_ok": 3}})
    assert "true, false or words" in str(refused.json()["errors"])


# ---- the card ----


def asked(client: APIClient, boiler: Appliance) -> dict[str, dict[str, Any]]:
    return {each["name"]: each for each in client.get(f"/api/v1/appliances/{boiler.id}/card").json()["fields_asked"]}


def test_the_card_tells_the_union_of_what_the_required_checks_ask(
    field: APIClient, boiler: Appliance, manager: User
) -> None:
    assert asked(field, boiler) == {}
    for key in ("uk-gsiur-36", "demo-neutral"):
        attach(key, manager, boiler)
    shown = asked(field, boiler)
    law, plain = (
        RequiredCheck.objects.get(required_fields="gb_landlord_check").name,
        RequiredCheck.objects.get(required_fields="plain").name,
    )
    assert set(shown["disposition"]["mandatory_for"]) == {law, plain}
    assert shown["flue_ok"]["mandatory_for"] == [law]
    assert (shown["flue_ok"]["inspection_points"], shown["flue_ok"]["answered"]) == (True, False)
    assert shown["premises_address"]["answered"] is True
    assert shown["gas_tightness"]["condition"] == "after work on parts that carry gas"


def test_after_a_stop_the_card_asks_for_nothing_that_needs_firing(
    field: APIClient, boiler: Appliance, manager: User
) -> None:
    attach("uk-gsiur-36", manager, boiler)
    assert any(each["fires"] for each in asked(field, boiler).values())
    Flag.objects.create(appliance=boiler, kind=Flag.Kind.UNSAFE, key="k", sentence="s", opened_at=NOON, updated_at=NOON)
    card = field.get(f"/api/v1/appliances/{boiler.id}/card").json()
    assert card["fields_asked"]
    assert not any(each["fires"] for each in card["fields_asked"])
    assert card["fields_left_out"].startswith("Stopped for safety")


def test_what_is_out_of_use_or_done_asks_for_nothing(
    office: APIClient, field: APIClient, boiler: Appliance, manager: User
) -> None:
    attach("uk-gsiur-36", manager, boiler)
    RequiredCheck.objects.update(suspended_since=date(2026, 1, 1))
    assert asked(field, boiler) == {}
