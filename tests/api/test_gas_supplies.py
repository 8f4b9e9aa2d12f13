"""Gas supplies at the door: made once, repaired by version, refused in words that name the field."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, GasSupply
from fleet.models.register import new_id

pytestmark = pytest.mark.django_db

PATH = "/api/v1/gas-supplies"
BLEND = {"CH4": "0.85", "H2": "0.15"}


@pytest.fixture
def body(boiler: Appliance) -> dict[str, Any]:
    return {
        "id": str(new_id()),
        "building": str(boiler.building_id),
        "since": "2026-02-01",
        "fuel": "grid gas of the trial",
        "composition": BLEND,
        "source": "notice of the network",
    }


def test_a_supply_is_made_once_and_read_back(office: APIClient, body: dict[str, Any]) -> None:
    first, again = (office.post(PATH, body) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert office.get(first["Location"]).json() == first.json() == body | {"external_reference": None, "version": 1}


def test_the_appliance_says_what_it_burns_today(office: APIClient, boiler: Appliance, body: dict[str, Any]) -> None:
    office.post(PATH, body)
    assert office.get(f"/api/v1/appliances/{boiler.id}").json()["burns"] == "grid gas of the trial"


def test_a_supply_is_repaired_by_its_version(office: APIClient, body: dict[str, Any]) -> None:
    made = office.post(PATH, body)
    said = {"since": "2026-02-10", "source": "second notice"}
    unproven = office.patch(made["Location"], {"since": "2026-02-10"}, headers={"If-Match": '"1"'})
    assert unproven.json()["errors"] == {"source": "must be given: it says what since rests on"}
    both = office.patch(made["Location"], {"fuel": "lpg", "since": "2026-02-10"}, headers={"If-Match": '"1"'})
    assert both.json()["errors"] == unproven.json()["errors"]  # the first of several is named, whatever their order
    repaired = office.patch(made["Location"], said, headers={"If-Match": '"1"'})
    late = office.patch(made["Location"], said, headers={"If-Match": '"1"'})
    assert (repaired.status_code, repaired.json()["since"], late.status_code) == (200, "2026-02-10", 412)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"composition": {"CH4": "0.5"}}, "composition"),
        ({"composition": {"CH4": "half"}}, "composition.CH4"),
        ({"composition": {"Xe": "1"}}, "composition.Xe"),
        ({"composition": {}}, "fuel"),
        ({"since": "soon"}, "since"),
        ({"source": ""}, "source"),
    ],
)
def test_what_cannot_be_calculated_with_is_refused(
    office: APIClient, body: dict[str, Any], change: dict[str, Any], field: str
) -> None:
    refused = office.post(PATH, body | change)
    assert refused.status_code in (400, 422)
    assert list(refused.json()["errors"]) == [field]
    assert not GasSupply.objects.exists()


def test_the_supplies_of_a_building_are_listed(office: APIClient, boiler: Appliance, body: dict[str, Any]) -> None:
    office.post(PATH, body)
    found = office.get(PATH, {"building": str(boiler.building_id)}).json()["results"]
    assert [each["since"] for each in found] == ["2026-02-01"]


def test_another_clients_supply_is_not_found(
    others: dict[str, Any], office: APIClient, door: Any, body: dict[str, Any]
) -> None:
    made = office.post(PATH, body)
    assert door(others["dispatcher"]).get(made["Location"]).status_code == 404
    assert door(others["dispatcher"]).post(PATH, body | {"id": str(new_id())}).status_code == 404
