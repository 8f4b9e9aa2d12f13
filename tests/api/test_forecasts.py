"""Forecasts towards a ceiling, and forecast accuracy, at the door."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Analyser, Appliance, ForecastCheck, Snapshot, User
from fleet.services.revisits import refresh_appliance
from tests.api.conftest import Door
from tests.cast import NOON, store


@pytest.fixture
def refreshed(body: dict[str, Any], boiler: Appliance, technician: User) -> Appliance:
    store(body, technician)
    refresh_appliance(appliance=boiler, now=NOON)
    return boiler


def test_co_comes_with_its_unit_and_the_limit_that_it_nears(office: APIClient, refreshed: Appliance) -> None:
    asked = {"appliance": str(refreshed.id), "rate": "high", "quantity": "co"}
    (made,) = office.get("/api/v1/forecasts", asked).json()["results"]
    assert (made["quantity"], made["unit"], made["upper"]) == ("co", "ppm", 250.0)
    assert made["limit_words"] == "Test sheet: CO air-free ≤ 250 ppm"
    assert made["basis"] == "assumptions"


def test_another_clients_forecasts_are_not_listed(door: Door, refreshed: Appliance, others: dict[str, Any]) -> None:
    assert door(others["dispatcher"]).get("/api/v1/forecasts").json()["results"] == []


def test_forecasts_held_say_what_was_forecast_and_found_and_nothing_is_null_by_chance(
    office: APIClient, refreshed: Appliance, analyser: Analyser
) -> None:
    visit, snapshot = refreshed.visits.get(), Snapshot.objects.get(quantity="co2", rate="high")
    ForecastCheck.objects.create(
        visit=visit, quantity="co2", rate="high", day=visit.local_date, analyser=analyser, snapshot=snapshot,
        chance=0.07, outside=True, surprise=-2.1, ahead=True,
    )  # fmt: skip
    (told,) = office.get("/api/v1/forecasts/accuracy").json()["quantities"]
    assert (told["quantity"], told["accepted_risk"], told["learnt"]) == ("co2", 0.08, None)
    ahead = told["ahead"]
    assert (ahead["readings"], ahead["outside"], ahead["found_share"], ahead["forecast_share"]) == (1, 1, 1.0, 0.07)
    assert ahead["reliability"]["count"][2] == 1
    assert ahead["reliability"]["share"][0] is None
    assert ahead["by_analyser"][0]["analyser"] == "Analyser 1"
    assert ahead["by_analyser"][0]["mean"] is None
    assert not ahead["lost"]


def test_a_technician_does_not_read_them(field: APIClient, refreshed: Appliance) -> None:
    assert field.get("/api/v1/forecasts/accuracy").status_code == 403
