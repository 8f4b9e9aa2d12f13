"""An empty installation begins in the browser, by the printed code alone, and leads on to a second factor."""

from typing import Any

import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from fleet import tries
from fleet.models import Contractor, LimitSet, Person, User
from fleet.web.beginning import make_code
from tests.web.opened import checked

GIVEN = {
    "contractor": "Own Heating",
    "numbers": "0000 111, 0000 222",
    "person": "Bo Boss",
    "username": "boss",
    "email": "boss@heating.example",
    "password": "a-long-enough-secret",
}


@pytest.fixture
def empty(db: None, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing has begun; what ships with an installation is left out, as it takes longer than all the rest."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    monkeypatch.setattr(tries, "HELD_S", 0.0)
    tries.forget_all()
    monkeypatch.setattr("fleet.services.contractor._ship_limit_sets", lambda *_given: None)
    monkeypatch.setattr("fleet.services.limit_sets.set_stop_levels", lambda **_given: None)
    Contractor.objects.all().delete()
    User.objects.update(username="former")


def begun(client: Client, code: str, **changes: str) -> Any:
    return client.post("/begin/", GIVEN | {"code": code} | changes, headers={"host": "localhost"})


def test_the_code_begins_and_leads_the_first_manager_to_a_second_factor(client: Client, empty: None) -> None:
    assert client.get("/", follow=True).redirect_chain[-1][0] == "/begin/"
    assert "first manager" in checked(client.get("/begin/", headers={"host": "localhost"}))
    code = make_code()
    assert begun(client, code.lower().replace("-", " "))["Location"] == "/account/app/"
    assert Contractor.objects.get().emergency_numbers == ["0000 111", "0000 222"]
    assert (Person.objects.get().name, User.objects.get(username="boss").role) == ("Bo Boss", "manager")
    assert User.objects.get(username="boss").email == Person.objects.get().email == "boss@heating.example"
    assert client.get("/buildings/")["Location"] == "/account/app/"
    assert "Set up an authenticator app" in checked(client.get("/account/app/"))
    assert begun(Client(), code)["Location"] == "/log-in/"


@pytest.mark.parametrize("code", ["", "AAAA-BBBB-CCCC"])
def test_another_code_begins_nothing(client: Client, empty: None, code: str) -> None:
    make_code()
    assert begun(client, code).status_code == 200
    assert not Contractor.objects.exists()


def test_without_a_printed_code_nothing_begins(client: Client, empty: None) -> None:
    assert begun(client, "").status_code == begun(client, "-").status_code == 200
    assert not Contractor.objects.exists()


def test_an_earlier_code_opens_nothing(client: Client, empty: None) -> None:
    earlier = make_code()
    make_code()
    assert "printed last" in checked(begun(client, earlier))


@pytest.mark.parametrize(
    "change", [{"password": "short"}, {"username": "two words"}, {"contractor": ""}, {"numbers": "0000 111, abc"}]
)
def test_what_is_refused_stands_at_its_field_and_leaves_nothing_and_the_code_works_on(
    client: Client, empty: None, change: dict[str, str]
) -> None:
    code, (field,) = make_code(), change
    page = checked(begun(client, code, **change))
    assert f'<p class="wrong" id="id_{field}_error">' in page and f'aria-describedby="id_{field}_error"' in page
    assert not Contractor.objects.exists() and not Person.objects.exists()
    assert begun(client, code).status_code == 302


def test_guesses_come_to_an_end(client: Client, empty: None, settings: Settings) -> None:
    settings.WEB_PROCESSES = 1
    assert [begun(client, "AAAA-BBBB-CCCC").status_code for _ in range(31)] == [200] * 30 + [429]


def test_elsewhere_than_on_the_machine_it_begins_over_https_alone(
    client: Client, empty: None, settings: Settings
) -> None:
    settings.ALLOWED_HOSTS = ["heating.example"]
    refused = client.get("/begin/", headers={"host": "heating.example"})
    assert refused.status_code == 403
    assert "begun over https" in checked(refused) and "Your role" not in refused.content.decode()
    posing = {"headers": {"host": "localhost"}, "REMOTE_ADDR": "192.0.2.7"}
    settings.ALLOWED_HOSTS = ["heating.example", "localhost"]
    assert client.get("/begin/", **posing).status_code == 403
    assert client.get("/begin/", headers={"host": "localhost"}, REMOTE_ADDR="::1").status_code == 200
    assert client.get("/begin/", headers={"host": "heating.example"}, secure=True).status_code == 200


def test_it_begins_once(client: Client, installation: User) -> None:
    assert client.get("/begin/")["Location"] == "/log-in/"
    assert LimitSet.objects.exists()
