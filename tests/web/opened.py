"""Pages opened by somebody, in the true addresses."""

import time
from typing import Any

from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from fleet.models import User
from tests.web.markup import read


def browser_of(user: User) -> Client:
    browser = Client()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def shown_again(browser: Client, user: User) -> None:
    """That it is them, by a password."""
    user.set_password("a long password for tests")
    user.save(update_fields=["password"])
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    as_sent = {"content_type": "application/x-www-form-urlencoded"}
    assert browser.post("/log-in/again/?next=/", "password=a+long+password+for+tests", **as_sent).status_code == 302


def has_shown(browser: Client) -> Client:
    """As after showing it; without the price of a password."""
    session = browser.session
    session["account_authentication_methods"] = [{"method": "password", "at": time.time(), "reauthenticated": True}]
    session["account_authentication_methods_user"] = session["_auth_user_id"]
    session.save()
    return browser


def opened(user: User, path: str, status: int = 200) -> str:
    """The page's text, well formed and under the content security policy."""
    answer = browser_of(user).get(path)
    assert answer.status_code == status
    return checked(answer)


def checked(answer: Any) -> str:
    """A page's text, having been read as a browser would."""
    assert isinstance(answer, HttpResponse)
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    text = answer.content.decode()
    read(text)
    return text


def sent(user: User, path: str, **values: Any) -> Any:
    return browser_of(user).post(path, values)


def queries_of(user: User, path: str) -> int:
    """How many queries the page takes, logging in left out."""
    browser = browser_of(user)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(path).status_code == 200
    return len(captured)
