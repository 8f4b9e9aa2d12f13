"""A tenancy that begins, on the building's page: what waits because of it, refusals with what was typed, and roles."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from fleet.models import Appliance, Delivery, Tenancy, User
from tests.cast import make_appliance, make_building, store
from tests.services.test_deliveries import under
from tests.web.markup import words_of
from tests.web.test_pages_follow_ups import browser

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(dispatcher: User, boiler: Appliance, manager: User) -> Browser:
    under(boiler, "uk-gsiur-36", manager)
    return browser(dispatcher)


def address(appliance: Appliance) -> str:
    return reverse("building-tenancies", args=[appliance.building_id])


def test_the_office_records_it_and_reads_what_waits(
    office: Browser, boiler: Appliance, body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    typed = {"begins": "2126-04-01", "appliance": str(boiler.id), "source": "the agent"}
    shown = office.post(address(boiler), typed, follow=True).content.decode()
    assert "the new tenant must have one record; it waits among the deliveries." in shown
    assert "the agent" in shown
    waiting = Delivery.objects.get(tenancy=Tenancy.objects.get())
    assert waiting.words in office.get(reverse("deliveries")).content.decode()


def test_where_nothing_waits_the_page_says_why(office: Browser, boiler: Appliance) -> None:
    shown = office.post(address(boiler), {"begins": "2026-04-01", "source": "the agent"}, follow=True).content.decode()
    assert "no set asks for it, or no check has been made yet" in shown
    assert Tenancy.objects.get().appliance is None


def test_a_refusal_keeps_what_was_typed_and_writes_nothing(office: Browser, boiler: Appliance) -> None:
    elsewhere = make_appliance(make_building(boiler.building.client, "Mill"), None)
    for typed in ({"begins": "", "source": "the agent"},
                  {"begins": "2026-04-01", "appliance": str(elsewhere.id), "source": "the agent"}):  # fmt: skip
        answer = office.post(address(boiler), typed)
        assert answer.status_code >= 400
        assert 'value="the agent"' in answer.content.decode()
    assert not Tenancy.objects.exists()


def test_who_may_not_change_anything_sees_no_form(office: Browser, boiler: Appliance, technician: User) -> None:
    assert address(boiler) in office.get(reverse("building", args=[boiler.building_id])).content.decode()
    theirs = browser(technician)
    assert address(boiler) not in theirs.get(reverse("building", args=[boiler.building_id])).content.decode()
    assert theirs.post(address(boiler), {"begins": "2026-04-01", "source": "x"}).status_code == 403


def test_one_called_off_still_says_of_what(office: Browser, boiler: Appliance) -> None:
    Tenancy.objects.create(
        building=boiler.building,
        appliance=boiler,
        begins="2126-04-01",
        source="the agent",
        called_off="no tenant found",
    )
    shown = words_of(office.get(reverse("building", args=[boiler.building_id])).content.decode())
    assert f"from 1 Apr 2126 {boiler.name}, called off : no tenant found said by the agent" in shown


def test_with_none_to_come_the_page_says_so(office: Browser, boiler: Appliance) -> None:
    assert (
        "No tenancy to come is recorded." in office.get(reverse("building", args=[boiler.building_id])).content.decode()
    )
