"""Every page as every role: what opens, what is refused, what is not found; and how many queries a page takes."""

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.models import Analyser, Appliance, Client, Flag, Person, Role, User, Visit
from tests.cast import NOON, make_user
from tests.web.opened import browser_of, opened, queries_of, sent
from tests.web.world import (
    Foreign,
    add_yearly_required_check,
    called_unsafe,
    make_foreign,
    may_be_outside,
    more_of_the_same,
    visited,
)

ROLES = tuple(Role.values)


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def users(manager: User, dispatcher: User, technician: User, auditor: User) -> dict[str, User]:
    return {user.role: user for user in (manager, dispatcher, technician, auditor)}


@pytest.fixture
def visit(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> Visit:
    add_yearly_required_check(boiler, manager)
    return visited(boiler, person, analyser, manager)


@pytest.fixture
def foreign(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> Foreign:
    return make_foreign(boiler, person, analyser, manager)


def paths(visit: Visit) -> list[str]:
    appliance = visit.appliance
    client = appliance.building.client_id
    return [
        "/buildings/",
        f"/buildings/{appliance.building_id}/",
        f"/appliances/{appliance.id}/",
        f"/visits/{visit.id}/",
        "/required-checks/",
        "/records/",
        f"/sheets/{appliance.sheet_id}/",
        f"/records/?appliance={appliance.id}",
        f"/buildings/?client={client}&name=house",
    ]


@pytest.mark.parametrize("role", ROLES)
def test_pages_that_everybody_reads_open_for_every_role(users: dict[str, User], visit: Visit, role: str) -> None:
    for path in paths(visit):
        assert "Test Heating" in opened(users[role], path)


def test_attention_is_for_those_who_act_and_leads_an_auditor_to_statements(users: dict[str, User]) -> None:
    for role in (Role.MANAGER, Role.DISPATCHER, Role.TECHNICIAN):
        assert "Monday 2 March: nothing waits" in opened(users[role], "/")
    assert browser_of(users[Role.AUDITOR]).get("/")["Location"] == "/statements/"


def test_statements_are_not_for_technicians(users: dict[str, User], client_of_ours: Client) -> None:
    query = f"?client={client_of_ours.id}&begins=2026-01-01&ends=2026-03-02"
    for path in (f"/statements/{query}", f"/statements/statement.pdf{query}", f"/statements/statement.csv{query}"):
        assert "Your role may not do this." in opened(users[Role.TECHNICIAN], path, 403)
        for role in (Role.MANAGER, Role.DISPATCHER, Role.AUDITOR):
            assert browser_of(users[role]).get(path).status_code == 200


def test_nobody_logged_in_is_asked_to_log_in(visit: Visit) -> None:
    from django.test import Client as Browser

    for path in ["/", "/statements/", *paths(visit)]:
        answer = Browser().get(path)
        assert (answer.status_code, answer["Location"][:13]) == (302, "/log-in/?next")


def test_what_belongs_to_another_client_is_not_found(users: dict[str, User], foreign: Foreign) -> None:
    there = foreign.appliance
    for path in (
        f"/buildings/{there.building_id}/",
        f"/appliances/{there.id}/",
        f"/visits/{foreign.visit.id}/",
        f"/visits/{foreign.visit.id}/paper.pdf",
        f"/records/?appliance={there.id}",
        f"/buildings/?client={foreign.client.id}",
        f"/required-checks/?client={foreign.client.id}",
        f"/statements/?client={foreign.client.id}&begins=2026-01-01&ends=2026-03-02",
        f"/statements/?building={there.building_id}&begins=2026-01-01&ends=2026-03-02",
        f"/statements/statement.pdf?client={foreign.client.id}&begins=2026-01-01&ends=2026-03-02",
    ):
        page = opened(users[Role.AUDITOR], path, 404)
        assert not any(name in page for name in ("Far House", "Far boiler", foreign.client.name))
    for path in ("/buildings/", "/required-checks/", "/records/", "/statements/"):
        assert "Far House" not in opened(users[Role.AUDITOR], path)
    assert "Far boiler" in opened(users[Role.MANAGER], f"/appliances/{there.id}/")


def test_an_outsider_finds_empty_lists_and_a_quiet_start_page(outsider: User, foreign: Foreign) -> None:
    assert "nothing waits" in opened(outsider, "/")
    assert "No building yet" in opened(outsider, "/buildings/")
    assert sent(outsider, f"/flags/{foreign.flag.id}/acknowledge/", version=1).status_code == 404


def test_ids_that_are_none_are_not_found_and_never_a_fault(users: dict[str, User]) -> None:
    for path in ("/records/?appliance=x", "/required-checks/?client=1", "/buildings/?after=zz", "/?client=%00"):
        opened(users[Role.MANAGER], path, 404)


def test_an_auditor_changes_nothing(users: dict[str, User], visit: Visit, unsafe: Flag) -> None:
    auditor = users[Role.AUDITOR]
    for path in (
        f"/flags/{unsafe.id}/acknowledge/",
        f"/flags/{unsafe.id}/close/",
        f"/records/questions/{visit.id}/resolve/",
    ):
        assert sent(auditor, path, version=1, words="mine").status_code == 403
    unsafe.refresh_from_db()
    assert (unsafe.acknowledged_at, unsafe.closed_at, unsafe.version) == (None, None, 1)
    page = opened(auditor, f"/appliances/{unsafe.appliance_id}/")
    assert "I am answering for it" not in page
    assert "Close it" not in page


@pytest.fixture
def unsafe(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> Flag:
    return called_unsafe(boiler, person, analyser, manager)


def test_pages_take_no_form_that_they_do_not_name(users: dict[str, User], visit: Visit) -> None:
    for path in ["/", "/statements/", *paths(visit)]:
        assert sent(users[Role.MANAGER], path, anything="1").status_code == 403


def test_an_address_for_forms_opened_as_a_page_leads_to_its_place(users: dict[str, User], unsafe: Flag) -> None:
    browser = browser_of(users[Role.DISPATCHER])
    assert browser.get(f"/flags/{unsafe.id}/acknowledge/")["Location"] == "/"
    assert browser.get(f"/records/questions/{unsafe.id}/resolve/")["Location"] == "/records/"


def test_every_page_takes_as_many_queries_for_many_rows_as_for_few(
    users: dict[str, User], visit: Visit, person: Person, analyser: Analyser, boiler: Appliance
) -> None:
    manager = users[Role.MANAGER]
    visited(boiler, person, analyser, manager, day="2026-03-01", left=("10.30", "9.10"))
    lists = [
        "/",
        "/buildings/",
        "/required-checks/",
        "/records/",
        f"/appliances/{boiler.id}/",
        f"/buildings/{boiler.building_id}/",
    ]
    lists.append(f"/statements/?client={boiler.building.client_id}&begins=2026-01-01&ends=2026-03-02")
    more_of_the_same(boiler, person, analyser, manager, 1)
    _flag_drift()
    before = {path: queries_of(manager, path) for path in lists}
    for each in more_of_the_same(boiler, person, analyser, manager, 4)[:2]:
        Appliance.objects.filter(id=each.id).update(building=boiler.building)
    for day in ("2026-02-10", "2026-02-20"):
        visited(boiler, person, analyser, manager, day=day)
    _flag_drift()
    assert {path: queries_of(manager, path) for path in lists} == before
    assert max(before.values()) <= 46


def _flag_drift() -> None:
    """Every appliance with a forecast may be outside."""
    for each in Appliance.objects.filter(forecasts__isnull=False).distinct():
        forecast = each.forecasts.filter(rate="low").first()
        if forecast and not each.flags.filter(kind=Flag.Kind.DRIFT).exists():
            may_be_outside(each, forecast)


def test_names_are_written_as_text_wherever_they_stand(
    users: dict[str, User], visit: Visit, foreign: Foreign, client_of_ours: Client
) -> None:
    hostile = '<img src=x onerror="alert(1)">'
    Appliance.objects.filter(id=visit.appliance_id).update(name=hostile, serial=hostile, room=hostile)
    type(visit.appliance.building).objects.update(name=hostile, address=hostile, access_notes=hostile)
    Client.objects.update(name=hostile)
    Person.objects.update(name=hostile)
    Analyser.objects.update(name=hostile)
    Flag.objects.update(sentence=hostile)
    query = f"?client={client_of_ours.id}&begins=2026-01-01&ends=2026-03-02"
    for path in ["/", f"/statements/{query}", *paths(visit)]:
        text = opened(users[Role.MANAGER], path)
        assert "<img" not in text
        assert "&lt;img src=x" in text


def test_a_user_name_is_escaped_in_the_head(installation: User) -> None:
    user = make_user("<b>bold</b>", Role.MANAGER)
    assert "&lt;b&gt;bold&lt;/b&gt;, manager" in opened(user, "/buildings/")
