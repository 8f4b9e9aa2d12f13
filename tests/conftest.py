"""The cast, ready in a database."""

from typing import Any

import hypothesis
import pytest
from django.conf import settings
from pytest_django import DjangoDbBlocker

from fleet.models import Analyser, Appliance, Building, Client, Person, Role, User
from fleet.services.contractor import begin_installation
from tests import cast


def pytest_configure() -> None:
    # How long an example takes says how busy the machine is, and nothing of the code.
    hypothesis.settings.register_profile("house", deadline=None)
    hypothesis.settings.load_profile("house")
    # Pages under test take files from their folders: nothing needs gathering first.
    plain = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    settings.STORAGES = settings.STORAGES | {"staticfiles": plain}
    settings.MANAGERS_NEED_SECOND_FACTOR = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long files first, so that no worker ends with one of them while the other waits."""
    long_first = ("test_demo", "test_access_matrix", "test_in_a_browser", "test_postgresql", "test_serve")
    items.sort(key=lambda item: next((n for n, name in enumerate(long_first) if name in item.nodeid), len(long_first)))


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    """The installation stands in the test database once: shipping its limit sets takes longer than most tests."""
    with django_db_blocker.unblock():
        begin_installation(
            name="Test Heating", address="2 Test Lane", emergency_numbers=["000"], is_demo=False, now=cast.NOON
        )


@pytest.fixture
def installation(db: None) -> User:
    return User.objects.get(username="installation")


@pytest.fixture
def manager(installation: User) -> User:
    return cast.make_user("manager", Role.MANAGER)


@pytest.fixture
def dispatcher(installation: User) -> User:
    return cast.make_user("dispatcher", Role.DISPATCHER)


@pytest.fixture
def technician(installation: User) -> User:
    return cast.make_user("technician", Role.TECHNICIAN)


@pytest.fixture
def auditor(installation: User, client_of_ours: Client) -> User:
    user = cast.make_user("auditor", Role.AUDITOR, sees_all_clients=False)
    user.clients.add(client_of_ours)
    return user


@pytest.fixture
def outsider(installation: User) -> User:
    """A technician who is given no client at all."""
    return cast.make_user("outsider", Role.TECHNICIAN, sees_all_clients=False)


@pytest.fixture
def client_of_ours(db: None) -> Client:
    return Client.objects.create(name="Weir Trust")


@pytest.fixture
def building(client_of_ours: Client) -> Building:
    return cast.make_building(client_of_ours)


@pytest.fixture
def boiler(building: Building, manager: User) -> Appliance:
    return cast.make_appliance(building, cast.make_sheet(manager))


@pytest.fixture
def person(technician: User, manager: User) -> Person:
    return cast.make_person("Ada Test", technician, manager)


@pytest.fixture
def analyser(manager: User) -> Analyser:
    return cast.make_analyser(manager)


@pytest.fixture
def body(boiler: Appliance, person: Person, analyser: Analyser) -> dict[str, Any]:
    return cast.visit_body(boiler, person, analyser)
