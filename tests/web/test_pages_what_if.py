"""The page on which one asks what a check on another day would do."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.models import Appliance, User
from fleet.services.required_checks import add_required_check
from tests.cast import NOON, make_appliance, store
from tests.web.markup import words_of
from tests.web.opened import browser_of, opened


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


def add(appliance: Appliance, name: str, actor: User, **rule: Any) -> None:
    values = {"appliance": appliance, "name": name, "source": "contract", "why": "clause 4", "since": date(2015, 1, 1)}
    add_required_check(values=values | {"rule": rule}, actor=actor, now=NOON)


@pytest.fixture
def asked(body: dict[str, Any], boiler: Appliance, technician: User, manager: User) -> str:
    store(body, technician)
    add(boiler, "Yearly", manager, type="max_months", months=12)
    add(boiler, "Every third month", manager, type="max_months", months=3)
    add(boiler, "By hours", manager, type="months_or_hours_later", months=12, hours=2000)
    add(make_appliance(boiler.building, None, "Boiler 2"), "Next door's", manager, type="max_months", months=12)
    return f"/appliances/{boiler.id}/what-if/"


def test_the_answer_comes_first_then_each_required_check_then_the_others_of_the_building(
    asked: str, dispatcher: User
) -> None:
    page = words_of(opened(dispatcher, f"{asked}?day=2026-12-01"))
    assert "two required checks are in time and one is late. At most 92 days are given up." in page
    assert "It gives up 92 days: the next check is then due by 1 December 2027, not 2 March 2028." in page
    assert "Were it done on 1 December 2026" in page
    assert "Planned for" not in page
    assert "Others in the building, done on that day too" in page
    assert page.index("Yearly") < page.index("Next door's")
    assert "a date says nothing of whether an appliance may be used" in page


def test_without_a_day_it_is_today_and_the_appliance_s_page_leads_there(
    asked: str, boiler: Appliance, dispatcher: User
) -> None:
    assert f'href="{asked}"' in opened(dispatcher, f"/appliances/{boiler.id}/")
    page = opened(dispatcher, asked)
    assert 'value="2026-03-02"' in page


@pytest.mark.parametrize("day", ["soon", "2026-03-01", str((NOON + timedelta(days=4000)).date()), "0001-01-01"])
def test_a_day_that_cannot_be_asked_about_is_told_and_today_shown(asked: str, dispatcher: User, day: str) -> None:
    answer = browser_of(dispatcher).get(asked, {"day": day})
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "Shown is today." in page
    assert 'value="2026-03-02"' in page


def test_a_date_that_cannot_be_told_is_never_drawn_as_late(asked: str, dispatcher: User) -> None:
    rows = opened(dispatcher, f"{asked}?day=2026-12-01").split("<li")
    (row,) = (each for each in rows if "By hours" in each)
    assert "<span>at the earliest</span>" in row
    assert "<svg" not in row
    assert 'class="outside"' not in row


def test_where_no_required_check_stands_it_says_what_would_appear(boiler: Appliance, dispatcher: User) -> None:
    page = words_of(opened(dispatcher, f"/appliances/{boiler.id}/what-if/?day=2026-12-01"))
    assert "No required check stands on" in page
    assert "A required check appears here when a limit set with an interval is assigned" in page
    assert "What if it were done" not in words_of(opened(dispatcher, f"/appliances/{boiler.id}/"))
