"""What opens something, and what tells of somebody: in no log line, on no trail, in no job and on no page of an error;
a copy of the database opens nothing."""

import base64
import json
import logging
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from smtplib import SMTPRecipientsRefused
from typing import Any, NamedTuple
from urllib.parse import quote

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, hotp_value
from django.core import mail
from django.db import DatabaseError, connection, transaction
from django.test import Client as Browser
from pytest_django.fixtures import Settings
from structlog.stdlib import ProcessorFormatter

from fleet import tries
from fleet.models import AuditEntry, Client, Contractor, Job, Person, Role, User
from fleet.presentation.addresses import password_link
from fleet.services.access import create_token, create_user
from fleet.services.calendars import make_address
from fleet.services.people import invite_newcomer
from fleet.services.webhooks import add_hook
from fleet.tasks import HANDLERS, run_job
from fleet.web.beginning import make_code
from tests.api.test_tokens import dump
from tests.cast import NOON

JSON: dict[str, Any] = {"content_type": "application/json"}
RIGHT, CHANGED, CHOSEN = "canary pässword to begin", "canary другой password", "canary password of the invited"


class Canaries(dict[str, str]):
    """What was sent or shown, by what it is."""

    def add(self, what: str, value: str) -> str:
        self[what] = value
        return value

    def among(self, text: str, *, but: tuple[str, ...] = ()) -> list[str]:
        """Which of them stand in the text, as they are or as something writes them down."""
        return [what for what, value in self.items() if not what.startswith(but) and is_written(value, text)]


def is_written(value: str, text: str) -> bool:
    if value.isdigit():  # a code of six digits, not among those of a longer number
        return bool(re.search(rf"(?<![0-9a-f]){value}(?![0-9a-f])", text))
    raw = value.encode()
    forms = (value, quote(value), json.dumps(value)[1:-1], repr(value)[1:-1], raw.hex(), base64.b64encode(raw).decode())
    return any(each.rstrip("=") in text for each in forms)


class Heard(logging.Handler):
    """All that is logged: the lines as they are written, and what each record carries besides."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.lines: list[str] = []
        self.records: list[str] = []
        self.loggers: set[str] = set()

    def emit(self, record: logging.LogRecord) -> None:
        line = json.loads(self.format(record))
        line.pop("timestamp")  # its digits could be any code's
        self.loggers.add(record.name)
        self.lines.append(json.dumps(line))
        left_out = ("created", "msecs", "relativeCreated", "request")
        about = {name: each for name, each in record.__dict__.items() if name not in left_out}
        self.records.append(f"{record.getMessage()} {about} {record.exc_text or ''} {record.exc_info}")


@pytest.fixture
def heard() -> Iterator[Heard]:
    """Every logger at its loudest, but for the one that the settings keep quiet for good."""
    root, handler = logging.getLogger(), Heard()
    handler.setFormatter(
        next(each.formatter for each in root.handlers if isinstance(each.formatter, ProcessorFormatter))
    )
    named = [each for each in logging.root.manager.loggerDict.values() if isinstance(each, logging.Logger)]
    named = [each for each in named if each.name != "django.template"]
    before = [(each, each.level, each.propagate) for each in (root, *named)]
    for each in (root, *named):
        each.setLevel(logging.DEBUG)
        each.propagate = True
    root.addHandler(handler)
    yield handler
    root.removeHandler(handler)
    for each, level, propagate in before:
        each.setLevel(level)
        each.propagate = propagate


@contextmanager
def broken_after(queries: int) -> Iterator[None]:
    """The database fails for good after so many queries."""
    left = queries

    def ask(execute: Any, *given: Any) -> Any:
        nonlocal left
        left -= 1
        if left < 0:
            raise DatabaseError("broken on purpose")
        return execute(*given)

    with connection.execute_wrapper(ask):
        yield


class Visitor:
    """Sends everything twice while the database breaks, then in earnest; keeps the pages of errors."""

    errors: list[tuple[str, str]]

    def __init__(self, canaries: Canaries, errors: list[str], **meta: Any) -> None:
        self.browser = Browser(raise_request_exception=False, **meta)
        self.canaries, self.pages = canaries, errors

    def send(self, method: str, path: str, data: Any = None, **more: Any) -> Any:
        given = {} if data is None else {"data": data}
        for queries in (0, 6):
            cookies = self.browser.cookies.output(header="", sep=";")
            with transaction.atomic():
                with broken_after(queries):
                    self._keep(getattr(self.browser, method)(path, **given, **more))
                transaction.set_rollback(True)
            self.browser.cookies.clear()
            self.browser.cookies.load(cookies)
            tries.forget_all()
        answer = getattr(self.browser, method)(path, **given, **more)
        self._keep(answer)
        for name in ("session", "csrftoken"):
            if name in self.browser.cookies and self.browser.cookies[name].value:
                value = self.browser.cookies[name].value
                if value not in self.canaries.values():
                    self.canaries.add(f"{name} {len(self.canaries)}", value)
        return answer

    def post(self, path: str, **data: Any) -> Any:
        return self.send("post", path, data)

    def _keep(self, answer: Any) -> None:
        if answer.status_code in (400, 401, 403, 404, 405, 413, 429) or answer.status_code >= 500:
            self.pages.append(answer.content.decode())


def led(visitor: Visitor, answer: Any) -> Any:
    return visitor.send("get", answer["Location"])


def code_of(secret: str, later: int = 0) -> str:
    return f"{hotp_value(secret, int(time.time()) // 30 + later):06d}"


def shown(pattern: str, answer: Any) -> str:
    found = re.search(pattern, answer.content.decode())
    assert found, (pattern, answer.status_code, answer.content.decode()[-3000:])
    return found[1]


@pytest.fixture
def begun(body: dict[str, Any], auditor: User, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """A house with a boiler in it, whose installation is to begin anew; the body of a visit to it."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    monkeypatch.setattr(tries, "HELD_S", 0.0)
    monkeypatch.setattr("fleet.services.contractor._ship_limit_sets", lambda *_given: None)
    monkeypatch.setattr("fleet.services.limit_sets.set_stop_levels", lambda **_given: None)
    tries.forget_all()
    Contractor.objects.all().delete()
    User.objects.filter(username="installation").update(username="former")
    return body


def came_in(visitor: Visitor) -> str:
    """Through the beginning, to a second factor and recovery codes; gives the key of the codes."""
    known, here = visitor.canaries, {"headers": {"host": "localhost"}}
    given = {"contractor": "Own Heating", "numbers": "0000", "person": "Bo Boss", "username": "boss", "password": RIGHT}
    given["email"] = known.add("e-mail of a person", "canary.boss@heating.example")
    known.add("password", RIGHT)
    code = known.add("code of the beginning", make_code())
    visitor.send(
        "post", "/begin/", given | {"code": known.add("wrong code of the beginning", "WXYZ-WXYZ-2345")}, **here
    )
    assert visitor.send("post", "/begin/", given | {"code": code}, **here)["Location"] == "/account/app/"
    key = known.add(
        "key of the second factor",
        shown(r'class="code">([\w ]+)<', visitor.send("get", "/account/app/")).replace(" ", ""),
    )
    visitor.post("/account/app/", code=known.add("wrong code of the app", "918273"))
    visitor.post("/account/app/", code=known.add("code of the app", code_of(key)))
    codes = re.findall(r'class="code"><b>(\w+)<', visitor.send("get", "/account/recovery-codes/").content.decode())
    assert len(codes) == 10
    for number, each in enumerate(codes):
        known.add(f"recovery code {number}", each)
    return key


def log_in_in_every_way(visitor: Visitor, key: str) -> None:
    known = visitor.canaries
    visitor.post("/log-out/")
    visitor.post("/log-in/", login="boss", password=known.add("wrong password", "canary wrong päss"))
    visitor.post(
        "/log-in/", login=known.add("password as the name", "canary password in the wrong field"), password="x"
    )
    visitor.send("get", f"/log-in/?login=boss&password={quote(RIGHT)}")
    assert visitor.post("/log-in/", login="boss", password=RIGHT)["Location"] == "/log-in/code/"
    visitor.post("/log-in/code/", code=known.add("wrong code", "564738"))
    visitor.post("/log-in/code/", code=known.add("wrong recovery code", "canaryrecover"))
    assert visitor.post("/log-in/code/", code=known["recovery code 0"])["Location"] == "/"
    known.add("new password", CHANGED)
    both = {"new_password1": CHANGED, "new_password2": CHANGED}
    visitor.post("/account/password/", old_password=known.add("wrong old password", "canary wrong old"), **both)
    assert visitor.post("/account/password/", old_password=RIGHT, **both).status_code == 302
    visitor.post("/log-in/again/", password=known.add("wrong password again", "canary wrong again"))
    visitor.post("/log-in/again/code/", code=known.add("code once more", code_of(key, later=1)))


def use_tokens(visitor: Visitor, canaries: Canaries, body: dict[str, Any], auditor: User) -> None:
    visitor.post("/account/tokens/", name="export", scope="write", days="3")
    token = canaries.add("token", shown(r'class="code"><b>(flt_\w+)<', visitor.send("get", "/account/")))
    wrong = canaries.add("wrong token", "flt_" + "canary0" * 9)
    program = Visitor(canaries, visitor.pages, REMOTE_ADDR="198.51.100.7")
    for given in (f"Bearer {token}", f"Bearer {wrong}", f"Token {token}", f"Bearer {token} {wrong}"):
        program.send("get", "/api/v1/clients", headers={"authorization": given})
    basic = canaries.add("basic", base64.b64encode(f"boss:{RIGHT}".encode()).decode())
    program.send("get", "/api/v1/clients", headers={"authorization": f"Basic {basic}"})
    looking_on = Visitor(canaries, visitor.pages)
    looking_on.browser.force_login(auditor)
    for path in ("/api/v1/clients", "/api/v1/nothing", "/nothing/", "/buildings/"):
        visitor.send("get", f"{path}?token={token}&access_token={wrong}")
        program.send("get", f"{path}?token={token}")
        looking_on.send("get", f"{path}?token={token}&for={wrong}")
    looking_on.send("get", f"/webhooks/?token={token}&for={wrong}")
    bearer = {"headers": {"authorization": f"Bearer {token}", "idempotency-key": "canary-key-that-is-no-uuid"}}
    canaries.add("key of a message", "canary-key-that-is-no-uuid")
    client = {
        "name": "Own Trust",
        "address": canaries.add("client's address", "17 Canary Lane"),
        "contact": canaries.add("client's contact", "canary.client@trust.example, 0000 918 273 645"),
    }
    program.send("post", "/api/v1/clients", client, **JSON, **bearer)
    bearer["headers"].pop("idempotency-key")
    assert program.send("post", "/api/v1/clients", client, **JSON, **bearer).status_code == 201
    program.send("post", "/api/v1/clients", f'{{"password": "{RIGHT}", ', **JSON, **bearer)
    program.send("post", "/api/v1/clients", {"name": 7, "password": RIGHT}, **JSON, **bearer)
    body["note"] = canaries.add("note of a visit", "canary: the key lies under the third stone")
    assert program.send("post", "/api/v1/visits", body, **JSON, **bearer).status_code == 201
    program.send("post", "/api/v1/visits", json.dumps(body)[:-9], **JSON, **bearer)


def make_links(visitor: Visitor, canaries: Canaries) -> None:
    """A calendar's, a webhook's secret, an invitation, a reset."""
    boss = User.objects.get(username="boss")
    visitor.post("/calendars/", whose=f"user {boss.id}")
    secret = canaries.add(
        "address of a calendar", shown(r"/calendar/([\w-]+)\.ics", visitor.send("get", "/calendars/"))
    )
    wrong = canaries.add("address of no calendar", "canary0calendar0123456789")
    anybody = Visitor(canaries, visitor.pages)
    for each in (secret, wrong):
        for method in ("get", "head", "post", "put", "patch", "delete", "options"):
            anybody.send(method, f"/calendar/{each}.ics")
            anybody.send(method, f"/calendar/{each}/")
    hook = {"name": "office", "url": "https://canary-hook.example/in?key=1", "kinds": ["flag_opened"], "client": None}
    made = visitor.send("post", "/api/v1/webhooks", hook, **JSON).json()
    canaries.add("secret of a webhook", made["secret"])
    person = {"name": "Cy Cooper", "username": "cy", "role": "technician", "sees": "all"}
    person["phone"] = canaries.add("phone of a person", "0000-918-27-42")
    person["email"] = canaries.add("e-mail of the invited", "canary.cy@heating.example")
    invited = shown(r"(/new-password/[^<]+)<", led(visitor, visitor.post("/people/", **person)))
    open_link(anybody, "invitation", invited)
    cy = Person.objects.get(name="Cy Cooper")
    reset = visitor.post(f"/people/{cy.id}/", act="reset", version=str(cy.version), why="lost")
    open_link(anybody, "reset", shown(r"(/new-password/[^<]+)<", led(visitor, reset)))
    anybody.post("/forgotten/", email=canaries.add("e-mail of nobody", "canary.nobody@heating.example"))
    anybody.post("/forgotten/", email=person["email"])


def open_link(anybody: Visitor, what: str, link: str) -> None:
    anybody.canaries.add(f"address of the {what}", link.rstrip("/").split("/")[-1])
    anybody.canaries.add("password of the invited", CHOSEN)
    anybody.send("post", link, {"new_password1": "x"})
    there = anybody.send("get", link)["Location"]
    weak = anybody.canaries.add("weak password", "cnry7 weak")
    anybody.send("post", there, {"new_password1": weak, "new_password2": weak})
    assert anybody.send("post", there, {"new_password1": CHOSEN, "new_password2": CHOSEN}).status_code == 302
    anybody.send("get", link)


def do_the_work(canaries: Canaries, settings: Settings) -> None:
    """Background work with mail that is taken, and with a server that refuses whom it is for."""
    for job in Job.objects.filter(kind="send_password_link"):
        HANDLERS[job.kind](job)
    for message in mail.outbox:
        if link := re.search(r"/new-password/\S+/(\S+)/", str(message.body)):
            canaries.add(f"address by mail {len(canaries)}", link[1])
    settings.EMAIL_BACKEND = "tests.house.test_secrets.Refusing"
    for job in Job.objects.filter(kind="send_password_link", state=Job.State.WAITING):
        assert not run_job(job.id)


class Refusing:
    """A mail server that takes nothing from nobody."""

    def __init__(self, **_given: Any) -> None:
        pass

    def send_messages(self, messages: list[Any]) -> int:
        raise SMTPRecipientsRefused({each: (550, b"no such user") for one in messages for each in one.to})


def test_no_secret_stands_in_a_log_on_the_trail_in_a_job_or_on_the_page_of_an_error(
    begun: dict[str, Any], auditor: User, heard: Heard, settings: Settings
) -> None:
    canaries, pages = Canaries(), list[str]()
    visitor = Visitor(canaries, pages)
    key = came_in(visitor)
    log_in_in_every_way(visitor, key)
    use_tokens(visitor, canaries, begun, auditor)
    make_links(visitor, canaries)
    do_the_work(canaries, settings)
    assert len(canaries) >= 30 and len(heard.lines) > 500 and len(pages) > 100
    assert {"django.request", "django_structlog.middlewares.request", "api.errors", "fleet.tasks"} <= heard.loggers
    assert canaries.among("\n".join(heard.lines)) == []
    # Django's own records carry the path, of which the line leaves out what opens something.
    assert logging.getLogger("django.template").level == logging.INFO
    assert canaries.among("\n".join(heard.records), but=("address", "e-mail")) == []
    assert AuditEntry.objects.filter(kind=AuditEntry.Kind.VIEW_REFUSED, path__contains="token=flt_...").exists()
    assert canaries.among(str(list(AuditEntry.objects.values()))) == []
    # Where a message could not go is for managers, who see the background work.
    assert canaries.among(str(list(Job.objects.values())), but=("e-mail",)) == []
    # What was wrong with the key of a message is said to whoever sent it.
    assert canaries.among("\n".join(pages), but=("key of a message",)) == []


# ---- a copy of the database; and who has left ----

KEY = "JBSWY3DPEHPK3PXP"
INVITED: dict[str, Any] = {"username": "cy", "role": "technician", "email": "", "clients": None}


class Keys(NamedTuple):
    """All that lets somebody in, in use: of a dispatcher, ada, whose second factor is set up; each by what it is."""

    ada: User
    browser: Browser
    half: Browser
    known: Canaries

    def doors(self) -> dict[str, bool]:
        """Which of them open something."""
        api = Browser().get("/api/v1/clients", headers={"authorization": f"Bearer {self.known['token']}"})
        links = {name: Browser().get(self.known[name]) for name in ("her link", "link that she made")}
        calendars = {name: Browser().get(self.known[name]) for name in ("her calendar", "calendar that she made")}
        code, password = {"code": code_of(KEY, later=1)}, {"login": "ada", "password": RIGHT}
        with transaction.atomic():  # what is opened to look whether it opens is closed again
            half = self.half.post("/log-in/code/", code)["Location"] == "/"
            anew = Browser().post("/log-in/", password).status_code == 302
            transaction.set_rollback(True)
        return (
            {"session": self.browser.get("/account/").status_code == 200, "half a log-in": half, "password": anew}
            | {"token": api.status_code == 200}
            | {name: "set-password" in each.get("Location", "") for name, each in links.items()}
            | {name: each.status_code == 200 for name, each in calendars.items()}
        )


@pytest.fixture
def keys(manager: User, client_of_ours: Client, settings: Settings) -> Keys:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    tries.forget_all()
    known, browser, half = Canaries(), Browser(), Browser()
    ada = create_user(username="ada", password=known.add("password", RIGHT), role=Role.DISPATCHER, name="Ada Test")
    TOTP.activate(ada, known.add("key of the second factor", KEY))
    for number, each in enumerate(RecoveryCodes.activate(ada).get_unused_codes()):
        known.add(f"recovery code {number}", each)
    for each in (browser, half):
        each.post("/log-in/", {"login": "ada", "password": RIGHT})
    assert browser.post("/log-in/code/", {"code": code_of(KEY)})["Location"] == "/"
    known.add("session", browser.cookies["session"].value)
    known.add("half a log-in", half.cookies["session"].value)
    known.add("token", create_token(user=ada, actor=ada, name="export", scope="write", days=1, now=NOON)[1])
    own, of_client = {"user": ada, "client": None}, {"user": None, "client": client_of_ours}
    for name, whose in (("her calendar", own), ("calendar that she made", of_client)):
        known.add(name, f"/calendar/{make_address(**whose, actor=ada, now=NOON)[1]}.ics")
    cy = invite_newcomer(person={"name": "Cy", "phone": ""}, values=INVITED, actor=ada, now=NOON)
    ada.refresh_from_db()
    for name, user in (("link that she made", cy.user), ("her link", ada)):
        assert user
        known.add(name, password_link(user).removeprefix(settings.PUBLIC_ADDRESS))
    return Keys(ada, browser, half, known)


def test_a_copy_of_the_database_opens_nothing(keys: Keys, manager: User) -> None:
    values = {"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened"], "client": None}
    keys.known.add("secret of a webhook", add_hook(values=values, actor=manager, now=NOON)[1])
    keys.known.add("code of the beginning", make_code())
    secrets = Canaries(
        {name: each.rstrip("/").split("/")[-1].removesuffix(".ics") for name, each in keys.known.items()}
    )
    assert secrets.among("\n".join(dump())) == []
    tables = ("fleet_login", "fleet_apitoken", "fleet_calendarlink", "fleet_webhook", "fleet_user", "fleet_kept",
              "mfa_authenticator")  # fmt: skip
    found = {each for each in dump(tables) if re.fullmatch(r"[\x21-\x7e]{8,}", each)}
    assert len(found) > 20
    for each in found:
        thief = Browser()
        thief.cookies["session"] = each
        assert thief.get("/account/").status_code == 302
        for given in (f"Bearer {each}", f"Bearer flt_{each}"):
            assert Browser().get("/api/v1/clients", headers={"authorization": given}).status_code == 401
        assert Browser().get(f"/calendar/{quote(each, safe='')}.ics").status_code == 404
        uid = keys.known["her link"].split("/")[2]
        link = Browser().get(f"/new-password/{uid}/{quote(each, safe='')}/")
        assert (link.status_code, link.get("Location")) in ((200, None), (404, None))


def test_who_has_left_is_refused_at_the_next_request_by_whatever_they_hold(keys: Keys, manager: User) -> None:
    assert set(keys.doors().values()) == {True}
    person = Person.objects.get(user=keys.ada)
    browser = Browser()
    browser.force_login(manager)
    left = browser.post(f"/people/{person.id}/", {"act": "end", "version": str(person.version)})
    assert (left.status_code, left["Location"]) == (302, "/people/")
    assert {name for name, opens in keys.doors().items() if opens} == set()
