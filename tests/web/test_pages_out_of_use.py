"""An appliance out of use, replaced, converted on its pages; what the required checks' page says of visits and
standstills.
"""

from collections.abc import Callable
from datetime import date
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Appliance, GasConversion, LimitSet, OutOfUse, RequiredCheck, User
from fleet.models.register import new_id
from fleet.services.limit_sets import assign_limit_set
from fleet.services.out_of_use import begin_out_of_use
from tests.cast import NOON, SHEET, make_sheet, store


@pytest.fixture
def browser() -> Callable[[User], Client]:
    def of(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return of


def text_of(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return " ".join(unescape(answer.content.decode()).split())


def attach(key: str, actor: User, boiler: Appliance) -> None:
    place = {"limit_set": LimitSet.objects.get(key=key), "appliance": boiler, "since": date(2025, 1, 1), "why": "x"}
    assign_limit_set(values=place, actor=actor, now=NOON)


def test_the_required_checks_page_says_what_a_visit_lacked(
    browser: Callable[[User], Client], body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body | {"inspection_points": {}}, technician)
    attach("uk-gsiur-36", manager, boiler)
    page = text_of(browser(manager), reverse("required-checks"))
    assert "a visit was made that doesn't count." in page
    assert "Visited on 2 March 2026, doesn't count: its record lacks" in page


def test_the_required_checks_page_lists_what_is_suspended(
    browser: Callable[[User], Client], boiler: Appliance, manager: User
) -> None:
    content = {"begins": "2026-01-20", "why": "closed", "said_by": "the caretaker"}
    begin_out_of_use(appliance=boiler, content=content, actor=manager, now=NOON, id=new_id())
    attach("demo-neutral", manager, boiler)
    page = text_of(browser(manager), reverse("required-checks"))
    assert "one is suspended, of 1." in page
    assert "Out of use since 20 January 2026: nothing is due until its restart." in page


def test_the_office_takes_it_out_of_use_and_starts_it_again_from_its_page(
    browser: Callable[[User], Client], boiler: Appliance, dispatcher: User
) -> None:
    client, place = browser(dispatcher), reverse("appliance", args=[boiler.id])
    begin = reverse("appliance-out-of-use", args=[boiler.id])
    assert begin in text_of(client, place)
    answer = client.post(begin, {"begins": "2026-01-20", "why": "closed", "said_by": "the caretaker", "proof": ""})
    assert answer.url == place
    period = OutOfUse.objects.get()
    shown = text_of(client, place)
    assert "Out of use since" in shown and reverse("out-of-use-end", args=[period.id]) in shown
    client.post(reverse("out-of-use-end", args=[period.id]), {"ends": "2026-02-10", "restart_said_by": "us"})
    period.refresh_from_db()
    assert period.ends == date(2026, 2, 10)
    assert "restart said by us" in text_of(client, place)


def test_what_is_wrong_is_said_and_what_was_typed_is_kept(
    browser: Callable[[User], Client], boiler: Appliance, dispatcher: User
) -> None:
    begin = reverse("appliance-out-of-use", args=[boiler.id])
    answer = browser(dispatcher).post(begin, {"begins": "2001-01-01", "why": "closed", "said_by": "the caretaker"})
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "2001-01-01" in page and "the caretaker" in page and 'role="alert"' in page
    assert "<b>Out of use from</b>: is 1 January 2001; it must lie from" in page
    assert not OutOfUse.objects.exists()


def test_a_technician_sees_it_and_may_not_change_it(
    browser: Callable[[User], Client], boiler: Appliance, technician: User
) -> None:
    client = browser(technician)
    assert reverse("appliance-out-of-use", args=[boiler.id]) not in text_of(
        client, reverse("appliance", args=[boiler.id])
    )
    for name in ("appliance-out-of-use", "appliance-replace", "appliance-convert"):
        assert client.get(reverse(name, args=[boiler.id])).status_code == 403


def test_the_office_replaces_it_and_chooses_what_is_taken_over(
    browser: Callable[[User], Client], boiler: Appliance, manager: User
) -> None:
    attach("demo-neutral", manager, boiler)
    path, client = reverse("appliance-replace", args=[boiler.id]), browser(manager)
    page = text_of(client, path)
    mine = RequiredCheck.objects.get().assignment
    assert mine and f'value="{mine.id}"' in page and "checked" not in page
    typed = {"version": 1, "day": "2026-02-20", "name": "Boiler 1", "serial": "N-7", "sheet": str(boiler.sheet_id)}
    answer = client.post(path, typed | {"assignments": [str(mine.id)]})
    new = Appliance.objects.get(replaces=boiler)
    assert answer.url == reverse("appliance", args=[new.id])
    assert RequiredCheck.objects.filter(appliance=new).count() == 1
    boiler.refresh_from_db()
    assert boiler.in_service_to == date(2026, 2, 20)


def test_a_serial_number_that_is_missing_is_asked_for(
    browser: Callable[[User], Client], boiler: Appliance, manager: User
) -> None:
    path = reverse("appliance-replace", args=[boiler.id])
    answer = browser(manager).post(path, {"version": 1, "day": "2026-02-20", "name": "Boiler 1", "serial": ""})
    assert (answer.status_code, Appliance.objects.count()) == (400, 1)
    assert "Give its serial number." in answer.content.decode()


def test_the_office_records_a_conversion(browser: Callable[[User], Client], boiler: Appliance, manager: User) -> None:
    sheet = make_sheet(manager, SHEET | {"fuel": "propane"}, name="For propane")
    path, client = reverse("appliance-convert", args=[boiler.id]), browser(manager)
    assert "falls due" in text_of(client, path)
    typed = {"version": 1, "converted_on": "2026-02-20", "to_fuel": "propane", "kit": "K-31", "label": "inside",
             "analyser_fuel": "propane", "sheet": str(sheet.id), "done_by": "Ada", "test_within_days": 14}  # fmt: skip
    assert client.post(path, typed).url == reverse("appliance", args=[boiler.id])
    assert GasConversion.objects.get().sheet == sheet
    assert RequiredCheck.objects.get(source="conversion").due == date(2026, 3, 6)
    again = client.post(path, typed | {"version": 2, "converted_on": "2026-03-01"})
    assert again.status_code == 400
    assert "<b>It burns now</b>: is propane; it burns that already." in again.content.decode()
    assert GasConversion.objects.count() == 1
