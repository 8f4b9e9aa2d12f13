"""Pages under addresses of their own, with static files as they lie."""

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from fleet.models import Contractor, User
from fleet.tries import forget_all

PASSWORD = "a long password for tests"


@pytest.fixture
def pages(settings: Settings) -> None:
    settings.ROOT_URLCONF = "tests.web.page_urls"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    plain = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    settings.STORAGES = settings.STORAGES | {"staticfiles": plain}


@pytest.fixture
def contractor(db: None) -> Contractor:
    numbers = ["0000 123 456", "0000 999"]
    values = {"name": "Invented & Daughters", "emergency_numbers": numbers}
    return Contractor.objects.update_or_create(id=1, defaults=values)[0]


@pytest.fixture
def visitor(pages: None, contractor: Contractor) -> Client:
    """Nobody logged in, and nobody has tried."""
    forget_all()
    return Client(raise_request_exception=False)


@pytest.fixture
def logged_in(visitor: Client) -> Callable[[str], Client]:
    """logged_in("auditor") is a browser of somebody in that role."""

    def log_in(role: str) -> Client:
        user = User.objects.create_user(role, password=PASSWORD, role=role, first_name="Somebody", last_name="Invented")
        visitor.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return visitor

    return log_in
