"""What if it were done on this day, at the door."""

from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from fleet.models import Appliance, User
from fleet.services.required_checks import add_required_check
from tests.api.conftest import Door
from tests.cast import NOON, store


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def boiler_with_a_required_check(body: dict[str, Any], boiler: Appliance, technician: User, manager: User) -> Appliance:
    store(body, technician)
    rule = {"type": "max_months", "months": 12}
    values = {"appliance": boiler, "name": "Yearly", "source": "contract", "rule": rule, "why": "c"}
    add_required_check(values=values | {"since": date(2015, 1, 1)}, actor=manager, now=NOON)
    return boiler


def test_every_required_check_answers_with_its_dates_and_words(
    office: APIClient, boiler_with_a_required_check: Appliance
) -> None:
    places = (f"appliances/{boiler_with_a_required_check.id}", f"buildings/{boiler_with_a_required_check.building_id}")
    for place in places:
        said = office.get(f"/api/v1/{place}/what-if", {"day": "2026-12-01"}).json()
        assert (said["building"], said["today"], said["day"]) == (
            str(boiler_with_a_required_check.building_id), "2026-03-02", "2026-12-01",
        )  # fmt: skip
        (required_check,) = said["required_checks"]
        words = (
            "In time: due by 2 March 2027. It gives up 92 days: the next check is then due by 1 December 2027, not "
            "2 March 2028."
        )
        assert required_check | {"required_check": "", "appliance": ""} == {
            "required_check": "", "appliance": "", "name": "Yearly", "due": "2027-03-02", "cannot_tell": "",
            "earliest_keep": None, "in_time": True, "serves": True, "keeps_rhythm": False, "days_lost": 92,
            "next_due": "2027-12-01", "next_cannot_tell": "", "words": words,
        }  # fmt: skip


def test_without_a_day_it_is_asked_for_today(office: APIClient, boiler: Appliance) -> None:
    assert office.get(f"/api/v1/appliances/{boiler.id}/what-if").json()["day"] == "2026-03-02"


@pytest.mark.parametrize("day", ["", "soon", "2026-02-30", "2026-03-01", "2099-01-01"])
def test_a_day_that_cannot_be_asked_about_is_refused_by_name(office: APIClient, boiler: Appliance, day: str) -> None:
    refused = office.get(f"/api/v1/appliances/{boiler.id}/what-if", {"day": day})
    assert refused.status_code == 400
    assert "day" in str(refused.json())


def test_another_client_s_is_not_found(door: Door, others: dict[str, Any], boiler: Appliance) -> None:
    theirs = door(others["dispatcher"])
    for place in (f"appliances/{boiler.id}", f"buildings/{boiler.building_id}"):
        assert theirs.get(f"/api/v1/{place}/what-if").status_code == 404
