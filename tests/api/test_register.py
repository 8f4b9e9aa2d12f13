"""Entries of the register: made once, changed by version, with every field named that can't be accepted."""

import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Analyser, Appliance, Building, Client, Job, LimitSet, Person, RequiredCheck, User
from fleet.models.register import new_id
from fleet.presentation.due_dates import doubt_words
from fleet.services.limit_sets import assign_limit_set
from tests import cast
from tests.api.conftest import Door
from tests.web.world import visited

BUILDING = {"name": "Lock House", "address": "3 Test Lane", "time_zone": "Europe/Lisbon"}


def test_a_client_is_made_read_and_changed(office: APIClient) -> None:
    made = office.post("/api/v1/clients", {"name": "Lock Trust", "external_reference": "L-1"})
    assert made.status_code == 201
    assert made["ETag"] == '"1"'
    read = office.get(made["Location"])
    assert read.json() == made.json()
    changed = office.patch(made["Location"], {"contact": "the porter"}, headers={"If-Match": read["ETag"]})
    assert changed.status_code == 200
    assert (changed.json()["contact"], changed.json()["version"], changed["ETag"]) == ("the porter", 2, '"2"')


def test_a_change_without_if_match_is_refused_with_428(office: APIClient, client_of_ours: Client) -> None:
    refused = office.patch(f"/api/v1/clients/{client_of_ours.id}", {"name": "x"})
    assert (refused.status_code, refused.json()["code"]) == (428, "version_missing")


def test_a_change_by_an_older_version_is_refused_with_412_and_changes_nothing(
    office: APIClient, client_of_ours: Client
) -> None:
    path = f"/api/v1/clients/{client_of_ours.id}"
    assert office.patch(path, {"name": "First"}, headers={"If-Match": '"1"'}).status_code == 200
    late = office.patch(path, {"name": "Second"}, headers={"If-Match": '"1"'})
    assert (late.status_code, late.json()["code"]) == (412, "changed_meanwhile")
    assert office.get(path).json()["name"] == "First"


@pytest.mark.parametrize("given", ["*", "W/x", '"one"', '"1", "2"'])
def test_an_if_match_that_is_no_version_is_refused(office: APIClient, client_of_ours: Client, given: str) -> None:
    refused = office.patch(f"/api/v1/clients/{client_of_ours.id}", {"name": "x"}, headers={"If-Match": given})
    assert refused.status_code == 400
    assert "If-Match" in refused.json()["errors"]


def test_the_same_id_and_content_again_makes_no_second(office: APIClient) -> None:
    body = {"id": str(new_id()), "name": "Lock Trust"}
    first, again = office.post("/api/v1/clients", body), office.post("/api/v1/clients", body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert Client.objects.filter(name="Lock Trust").count() == 1


def test_the_same_id_with_other_content_is_a_conflict(office: APIClient) -> None:
    body = {"id": str(new_id()), "name": "Lock Trust"}
    office.post("/api/v1/clients", body)
    refused = office.post("/api/v1/clients", body | {"name": "Quay Trust"})
    assert (refused.status_code, refused.json()["code"]) == (409, "id_taken")
    assert list(refused.json()["errors"]) == ["name"]


def test_an_idempotency_key_stands_for_the_id(office: APIClient) -> None:
    key = {"Idempotency-Key": str(new_id())}
    first = office.post("/api/v1/clients", {"name": "Lock Trust"}, headers=key)
    again = office.post("/api/v1/clients", {"name": "Lock Trust"}, headers=key)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["id"] == key["Idempotency-Key"]
    differing = {"id": str(new_id()), "name": "Lock Trust"}
    assert office.post("/api/v1/clients", differing, headers=key).status_code == 400
    assert office.post("/api/v1/clients", {"name": "x"}, headers={"Idempotency-Key": "one"}).status_code == 400


def test_an_id_that_belongs_to_somebody_else_is_not_found(
    door: Door, others: dict[str, Any], client_of_ours: Client
) -> None:
    theirs = door(others["dispatcher"])
    body = {"id": str(client_of_ours.id), "name": client_of_ours.name}
    assert theirs.post("/api/v1/clients", body).status_code == 404


def test_unknown_fields_are_refused_by_name(office: APIClient) -> None:
    refused = office.post("/api/v1/clients", {"name": "Lock Trust", "nmae": "x", "version": 7})
    assert refused.status_code == 422
    assert set(refused.json()["errors"]) == {"nmae", "version"}
    assert "known are" in refused.json()["errors"]["nmae"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("altitude_m", True),
        ("altitude_m", "high"),
        ("altitude_m", 9000),
        ("latitude", "1e1"),
        ("fuel", "peat"),
        ("time_zone", "Mars/Base"),
        ("name", 7),
        ("client", "7"),
    ],
)
def test_a_wrong_value_is_named_with_what_is_allowed(
    office: APIClient, client_of_ours: Client, field: str, value: Any
) -> None:
    refused = office.post("/api/v1/buildings", BUILDING | {"client": str(client_of_ours.id), field: value})
    assert refused.status_code == 422
    assert list(refused.json()["errors"]) == [field]
    assert Building.objects.count() == 0


def test_a_foreign_key_to_what_you_may_not_see_is_not_found(
    door: Door, others: dict[str, Any], client_of_ours: Client
) -> None:
    theirs = door(others["dispatcher"])
    for unseen in (client_of_ours.id, uuid.uuid4()):
        refused = theirs.post("/api/v1/buildings", BUILDING | {"client": str(unseen)})
        assert refused.status_code == 404
        assert list(refused.json()["errors"]) == ["client"]
    assert theirs.post("/api/v1/buildings", BUILDING | {"client": str(others["client"].id)}).status_code == 201


def test_a_building_stays_with_its_client(office: APIClient, building: Building, others: dict[str, Any]) -> None:
    moved = office.patch(
        f"/api/v1/buildings/{building.id}", {"client": str(others["client"].id)}, headers={"If-Match": '"1"'}
    )
    assert moved.status_code == 422
    assert list(moved.json()["errors"]) == ["client"]


def test_an_external_reference_is_one_entrys_own_and_can_be_asked_for(office: APIClient) -> None:
    office.post("/api/v1/clients", {"name": "Lock Trust", "external_reference": "L-1"})
    office.post("/api/v1/clients", {"name": "Quay Trust", "external_reference": ""})
    twice = office.post("/api/v1/clients", {"name": "Weir Trust", "external_reference": "L-1"})
    assert list(twice.json()["errors"]) == ["external_reference"]
    found = office.get("/api/v1/clients", {"external_reference": "L-1"}).json()["results"]
    assert [each["name"] for each in found] == ["Lock Trust"]


@pytest.mark.parametrize("made", [True, False])
def test_a_reference_of_another_clients_entry_is_refused_without_saying_that_it_is_there(
    door: Door, others: dict[str, Any], client_of_ours: Client, made: bool
) -> None:
    Client.objects.filter(id=client_of_ours.id).update(external_reference="L-1")
    theirs, body = door(others["dispatcher"]), {"external_reference": "L-1"}
    if made:
        refused = theirs.post("/api/v1/clients", body | {"name": "Lock Trust"})
    else:
        refused = theirs.patch(f"/api/v1/clients/{others['client'].id}", body, headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_taken")
    assert refused.json()["errors"] == {"external_reference": "is taken; it can't be used"}
    assert "exist" not in refused.content.decode()
    assert Client.objects.count() == 2


def test_who_sees_named_clients_only_sees_the_client_they_make(door: Door, others: dict[str, Any]) -> None:
    theirs, body = door(others["dispatcher"]), {"id": str(new_id()), "name": "Lock Trust"}
    first, again = (theirs.post("/api/v1/clients", body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert theirs.get(first["Location"]).json() == first.json()
    assert set(others["dispatcher"].clients.values_list("name", flat=True)) == {"Mill Trust", "Lock Trust"}


def test_what_its_manufacturer_could_not_see_is_not_made(office: APIClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.clients.Clients.query", lambda _viewer: Client.objects.none())
    assert office.post("/api/v1/clients", {"name": "Lock Trust"}).status_code == 404
    assert not Client.objects.filter(name="Lock Trust").exists()


def test_an_appliance_is_taken_on_with_the_required_checks_of_its_place(
    office: APIClient, building: Building, manager: User
) -> None:
    limit_set = next(
        each for each in LimitSet.objects.all() if each.current.content["interval"]["type"] == "max_months"
    )
    place = {"limit_set": limit_set, "building": building, "since": "2025-01-01", "why": "local law"}
    assign_limit_set(values=place, actor=manager, now=cast.NOON)
    body = {"building": str(building.id), "name": "Boiler 2", "in_service_from": "2025-06-01",
            "facts": {"output_kw": 58.5, "new_plant": False, "construction": "room-sealed"}}  # fmt: skip
    made = office.post("/api/v1/appliances", body)
    assert made.status_code == 201
    assert made.json()["facts"] == body["facts"]
    assert made.json()["burns"] == "natural_gas"
    assert RequiredCheck.objects.filter(appliance=made.json()["id"]).count() == 1
    assert Job.objects.filter(kind="refresh_appliance", key=made.json()["id"]).exists()


@pytest.mark.parametrize("name", ["installation_on", "Installation_On"])
@pytest.mark.parametrize("value", ["9999-01-01", "2026-02-01, 2201-01-01", "1899-12-31"])
def test_a_day_among_the_facts_lies_in_years_that_are_calculated_with(
    office: APIClient, boiler: Appliance, name: str, value: str
) -> None:
    path = f"/api/v1/appliances/{boiler.id}"
    refused = office.patch(path, {"facts": {name: value}}, headers={"If-Match": '"1"'})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, [f"facts.{name}"])
    assert "a day from 1900 to 2200" in str(refused.json()["errors"])
    assert office.patch(path, {"facts": {name: "1900-01-01"}}, headers={"If-Match": '"1"'}).status_code == 200


def test_a_set_is_attached_where_a_day_beyond_reach_was_once_accepted(office: APIClient, boiler: Appliance) -> None:
    Appliance.objects.filter(id=boiler.id).update(facts={"installation_on": "9999-01-01"})
    limit_set = LimitSet.objects.get(key="de-geg-60b")
    place = {"limit_set": str(limit_set.id), "appliance": str(boiler.id), "since": "2026-01-01", "why": "law"}
    assert office.post("/api/v1/limit-set-assignments", {"id": str(new_id())} | place).status_code == 201
    assert doubt_words(RequiredCheck.objects.get(appliance=boiler).cannot_tell) == "no date of installation recorded"


def test_an_appliance_can_only_be_on_a_flue_of_its_building(
    office: APIClient, boiler: Appliance, others: dict[str, Any]
) -> None:
    elsewhere = office.post("/api/v1/flue-groups", {"building": str(others["building"].id), "name": "Chimney"})
    path = f"/api/v1/appliances/{boiler.id}"
    refused = office.patch(path, {"flue_group": elsewhere.json()["id"]}, headers={"If-Match": '"1"'})
    assert list(refused.json()["errors"]) == ["flue_group"]
    here = office.post("/api/v1/flue-groups", {"building": str(boiler.building_id), "name": "Chimney"})
    joined = office.patch(path, {"flue_group": here.json()["id"]}, headers={"If-Match": '"1"'})
    assert joined.json()["flue_group"] == here.json()["id"]
    assert office.patch(path, {"flue_group": None}, headers={"If-Match": '"2"'}).json()["flue_group"] is None


def test_an_analyser_says_what_it_measures_and_how_well(office: APIClient) -> None:
    body = {"name": "Analyser 2", "measures": ["o2", "co"], "co2": "calculated",
            "accuracy": {"o2": {"absolute": "0.3"}, "co": {"absolute": 20, "relative_pct": 5}}}  # fmt: skip
    made = office.post("/api/v1/analysers", body)
    assert made.status_code == 201
    assert made.json()["accuracy"] == {"o2": {"absolute": 0.3}, "co": {"absolute": 20.0, "relative_pct": 5.0}}
    wrong = office.post("/api/v1/analysers", body | {"measures": ["soot"], "accuracy": {"soot": {}}})
    assert set(wrong.json()["errors"]) == {"measures.0", "accuracy.soot"}


def test_how_to_reach_a_person_is_for_colleagues(
    door: Door, office: APIClient, auditor: User, boiler: Appliance, dispatcher: User, analyser: Analyser
) -> None:
    """Nor what they work as; an auditor knows nobody who stands on no record of theirs."""
    made = office.post("/api/v1/people", {"name": "Bo Test", "phone": "000", "email": "bo@example.org"})
    assert made.json()["phone"] == "000"
    path = f"/api/v1/people/{made.json()['id']}"
    assert door(auditor).get(path).status_code == 404
    visited(boiler, Person.objects.get(name="Bo Test"), analyser, dispatcher)
    shown = door(auditor).get(path).json()
    assert (shown["name"], set(shown)) == ("Bo Test", {"id", "external_reference", "version", "name"})
    assert door(auditor).get("/api/v1/people?role=technician").status_code == 403


def test_whose_log_in_a_person_has_sees_who_manages_it(door: Door, office: APIClient, boss: APIClient) -> None:
    user = User.objects.create(username="tess", role="technician")
    path = f"/api/v1/people/{Person.objects.create(name='Tess', user=user).id}"
    assert "user" not in office.get(path).json() and office.get(path).json()["role"] == "technician"
    assert boss.get(path).json()["user"] == str(user.id)
    few = User.objects.create(username="few", role="manager", last_name="Few")
    assert door(few).get(path).json()["user"] is None


def test_keys_and_whom_to_ask_for_are_for_who_goes_there(
    door: Door, auditor: User, technician: User, boiler: Appliance
) -> None:
    type(boiler.building).objects.update(access_notes="code 2718")
    for path, name in (("buildings", "access_notes"), ("clients", "contact")):
        for user, shown in ((technician, True), (auditor, False)):
            rows = door(user).get(f"/api/v1/{path}").json()["results"]
            assert [name in each for each in rows] == [shown]


def test_by_what_the_contractor_plans_is_for_who_sees_its_page(door: Door, manager: User, dispatcher: User) -> None:
    few = User.objects.create(username="few", role="manager")
    for user in (dispatcher, few):
        told = set(door(user).get("/api/v1/contractor").json())
        assert told == {"name", "address", "emergency_numbers", "is_demo", "version"}
    assert "steadiness" in door(manager).get("/api/v1/contractor").json()
