"""The door: strange names and cookies are refused before the database, and tries at an account are bounded."""

import logging
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.backends import ModelBackend
from django.db.models import F
from django.test import Client
from pytest_django.fixtures import Settings

from fleet.models import User
from tests.web.conftest import PASSWORD

CANARY = "CanaryPerson"


@pytest.fixture
def counted(visitor: Client, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """An account under the lock; the list grows by each password that is held against it."""
    settings.AXES_ENABLED = True
    User.objects.create_user("somebody", password=PASSWORD, role="manager")
    tried: list[str] = []
    evaluate = ModelBackend.authenticate

    def spy(self: ModelBackend, request: Any, **given: Any) -> Any:
        tried.append(given["password"])
        return evaluate(self, request, **given)

    monkeypatch.setattr(ModelBackend, "authenticate", spy)
    return tried


def attempt(visitor: Client, number: int, password: str) -> int:
    """From one of three addresses, each time with another browser."""
    given = {"username": "somebody", "password": password}
    address = f"192.0.2.{number % 3}"
    return visitor.post("/log-in/", given, REMOTE_ADDR=address, HTTP_USER_AGENT=f"browser {number}").status_code


def pass_minutes(minutes: int) -> None:
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=minutes))


def test_ten_wrong_passwords_lock_an_account_whatever_the_address(visitor: Client, counted: list[str]) -> None:
    for number in range(10):
        attempt(visitor, number, f"wrong {number}")
    assert len(counted) == 10
    assert attempt(visitor, 10, "wrong again") == 429
    assert attempt(visitor, 11, PASSWORD) == 429
    assert len(counted) == 10


def test_the_right_password_opens_again_after_a_quarter_of_an_hour(visitor: Client, counted: list[str]) -> None:
    for number in range(10):
        attempt(visitor, number, "wrong")
    pass_minutes(14)
    assert attempt(visitor, 11, PASSWORD) == 429
    pass_minutes(2)
    assert attempt(visitor, 12, PASSWORD) == 302


def test_a_name_longer_than_any_can_be_is_refused_in_words_and_not_counted(visitor: Client, counted: list[str]) -> None:
    answer = visitor.post("/log-in/", {"username": "n" * 300, "password": "wrong"})
    assert (answer.status_code, counted) == (200, [])
    assert "it may have at most 150" in answer.content.decode()
    assert not AccessAttempt.objects.exists()


@pytest.mark.parametrize("cookie", ['"a\\000bcdefgh"', "short", "k" * 65, "ABCDEFGHIJ", '"abcdefgh\\012"'])
def test_a_session_cookie_that_cannot_be_ours_never_reaches_the_database(
    client: Client, db: None, cookie: str, django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(0):
        answer = client.get("/", HTTP_COOKIE=f"session={cookie}")
    assert answer["Location"].startswith("/log-in/")


def test_a_session_of_ours_still_opens(client: Client, manager: User) -> None:
    client.force_login(manager)
    assert client.get("/required-checks/").status_code == 200


def test_no_name_sent_in_a_query_body_or_header_stands_in_the_log(
    client: Client, settings: Settings, manager: User, caplog: pytest.LogCaptureFixture
) -> None:
    settings.AXES_ENABLED = True
    caplog.set_level(logging.DEBUG)
    client.post(f"/log-in/?name={CANARY}", {"username": CANARY, "password": CANARY}, HTTP_USER_AGENT=CANARY)
    client.force_login(manager)
    client.get(f"/api/v1/clients?name={CANARY}", HTTP_USER_AGENT=CANARY)
    client.post("/api/v1/clients", {"name": CANARY, "no such": CANARY}, content_type="application/json")
    lines = [each.getMessage() for each in caplog.records if each.name != "django.db.backends"]
    assert any("request_started" in each and "GET /api/v1/clients'" in each for each in lines)
    assert not [each for each in lines if CANARY in each or "user_agent" in each]
