"""A tenancy that begins, on the building's page: what waits because of it, refusals with what was typed, and roles."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from fleet import clock
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Client, Delivery, Tenancy, User
from fleet.presentation.due_dates import date_words
from fleet.services.tenancies import change_tenancy
from fleet.services.visits import amend_visit
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
    assert date_words(waiting.steps) in office.get(reverse("deliveries")).content.decode()


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


def test_the_office_calls_one_off_with_the_reason(
    office: Browser, boiler: Appliance, body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    office.post(address(boiler), {"begins": "2126-04-01", "source": "the agent"})
    tenancy = Tenancy.objects.get()
    off = reverse("tenancy-call-off", args=[tenancy.id])
    assert off in office.get(reverse("building", args=[boiler.building_id])).content.decode()
    assert office.post(off, {"words": "", "version": tenancy.version}).status_code == 400
    late = office.post(off, {"words": "withdrew", "version": 9})
    assert late.status_code == 409
    assert 'role="alert"' in late.content.decode()
    assert Delivery.objects.filter(tenancy=tenancy).exists()
    shown = office.post(off, {"words": "withdrew", "version": tenancy.version}, follow=True).content.decode()
    assert "The tenancy from 1 April 2126 is called off." in shown
    assert "called off : withdrew" in words_of(shown)
    assert off not in shown
    assert not Delivery.objects.filter(tenancy=tenancy).exists()


def test_with_none_to_come_the_page_says_so(office: Browser, boiler: Appliance) -> None:
    assert (
        "No tenancy to come is recorded." in office.get(reverse("building", args=[boiler.building_id])).content.decode()
    )


def test_a_tenancy_without_a_record_is_named_among_the_deliveries_until_there_is_one(
    office: Browser, boiler: Appliance, body: dict[str, Any], technician: User
) -> None:
    office.post(address(boiler), {"begins": "2126-04-01", "source": "the agent"})
    shown = words_of(office.get(reverse("deliveries")).content.decode())
    assert "Moving in, and no record yet" in shown
    assert f"1 Apr 2126 {boiler.name}, {boiler.building.name} : " in shown
    elsewhere = Client.objects.create(name="Other")
    assert "no record yet" not in office.get(f"{reverse('deliveries')}?client={elsewhere.id}").content.decode()
    store(body, technician)
    assert "no record yet" not in office.get(reverse("deliveries")).content.decode()


def test_what_failed_before_a_tenancy_that_is_called_off_waits_no_longer_and_stays_to_be_read(
    office: Browser, boiler: Appliance, body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    store(body, technician)
    office.post(address(boiler), {"begins": "2126-04-01", "source": "the agent"})
    tenancy, waiting = Tenancy.objects.get(), Delivery.objects.get(tenancy__isnull=False)
    words = {"how": "post", "address": "the new tenant", "version": waiting.version}
    office.post(reverse("delivery-send", args=[waiting.id]), words)
    waiting.refresh_from_db()
    office.post(reverse("delivery-fail", args=[waiting.id]), {"words": "came back", "version": waiting.version})
    change_tenancy(tenancy=tenancy, version=tenancy.version, changes={"called_off": "withdrew"}, now=clock.now())
    assert f"delivery-{waiting.id}" not in office.get(reverse("deliveries")).content.decode()
    shown = words_of(office.get(f"{reverse('deliveries')}?which=sent").content.decode())
    assert "Not to be sent any more: The tenancy was called off: withdrew" in shown


def test_what_was_sent_before_a_correction_can_be_said_to_have_failed_on_the_page(
    office: Browser, boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    waiting = Delivery.objects.get()
    fail = reverse("delivery-fail", args=[waiting.id])
    assert fail not in office.get(reverse("deliveries")).content.decode()
    words = {"how": "post", "address": "the tenant", "version": waiting.version}
    office.post(reverse("delivery-send", args=[waiting.id]), words)
    amend_visit(draft=read_visit(body | {"note": "repaired"}), reason="x", version=1, actor=manager, now=clock.now())
    shown = office.get(reverse("deliveries")).content.decode()
    assert fail in shown and reverse("delivery-send", args=[waiting.id]) in shown
    waiting.refresh_from_db()
    office.post(fail, {"words": "came back", "version": waiting.version})
    assert fail not in office.get(reverse("deliveries")).content.decode()
    assert waiting.sendings.get().failed_why == "came back"
