"""Tenancies at the door: made once, changed by version, and the delivery that waits because of one."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Building, Tenancy, User
from fleet.models.register import new_id
from tests.cast import make_appliance, make_building, store
from tests.services.test_deliveries import under

pytestmark = pytest.mark.django_db

PATH = "/api/v1/tenancies"


@pytest.fixture
def tenancy(boiler: Appliance) -> dict[str, Any]:
    place = {"id": str(new_id()), "building": str(boiler.building_id), "appliance": str(boiler.id)}
    return place | {"begins": "2026-04-01", "source": "the agent"}


def test_a_tenancy_is_made_once_and_its_delivery_waits(
    office: APIClient, boiler: Appliance, body: dict[str, Any], tenancy: dict[str, Any], manager: User, technician: User
) -> None:
    under(boiler, "uk-gsiur-36", manager)
    store(body, technician)
    first, again = (office.post(PATH, tenancy) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == tenancy | {"external_reference": None, "called_off": "", "version": 1}
    waiting = office.get("/api/v1/deliveries?open=true").json()["results"]
    assert ("new tenant", "2026-03-31") in {(each["recipient"], each["due"]) for each in waiting}
    assert office.get(f"{PATH}?building={boiler.building_id}").json()["results"] == [first.json()]


def test_it_is_called_off_by_its_version(office: APIClient, tenancy: dict[str, Any]) -> None:
    made = office.post(PATH, tenancy)
    changed = office.patch(made["Location"], {"called_off": "the tenant withdrew"}, headers={"if-match": made["ETag"]})
    assert (changed.status_code, changed.json()["called_off"]) == (200, "the tenant withdrew")
    assert office.get(f"{PATH}?called_off=false").json()["results"] == []


def test_an_appliance_of_another_building_is_refused_and_nothing_written(
    office: APIClient, building: Building, tenancy: dict[str, Any]
) -> None:
    elsewhere = make_appliance(make_building(building.client, "Mill"), None)
    refused = office.post(PATH, tenancy | {"appliance": str(elsewhere.id)})
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["appliance"])
    assert not Tenancy.objects.exists()


@pytest.mark.parametrize("value", ["soon", "2026-02-30", 2026, True])
def test_a_fact_that_is_a_day_by_its_name_must_be_one(office: APIClient, boiler: Appliance, value: Any) -> None:
    path = f"/api/v1/appliances/{boiler.id}"
    version = office.get(path)["ETag"]
    refused = office.patch(path, {"facts": {"burner_change_on": value}}, headers={"if-match": version})
    assert refused.status_code == 400 or refused.status_code == 422
    assert "burner_change_on" in str(refused.json()["errors"])
    days = {"facts": {"burner_change_on": "2025-05-04, 2026-02-01"}}
    assert office.patch(path, days, headers={"if-match": version}).status_code == 200
