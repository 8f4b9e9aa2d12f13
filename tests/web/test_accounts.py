"""The door: who comes in by what, what is counted, what a log-in leaves behind, and how one ends it."""

import logging
import re
import secrets
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from html import unescape
from types import SimpleNamespace
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, hotp_value
from allauth.mfa.webauthn.forms import AuthenticateWebAuthnForm
from django.contrib.auth.backends import ModelBackend
from django.core import mail
from django.core.files.base import ContentFile
from django.db import connection
from django.test import Client
from pytest_django.fixtures import Settings

from fleet import clock, tries
from fleet.models import ApiToken, AuditEntry, Contractor, Job, LogIn, User
from fleet.presentation.addresses import password_link
from fleet.presentation.audit import entry_words
from fleet.services.access import ask_for_password_link, set_password
from fleet.sessions import row_key
from fleet.tasks import HANDLERS
from fleet.web.accounts import TokenForm
from tests.api.test_tokens import dump
from tests.cast import make_user
from tests.web.conftest import PASSWORD
from tests.web.markup import main_of
from tests.web.opened import browser_of, checked, has_shown

CANARY = "CanaryPerson"
NEW = "another long password"
SECRET = "JBSWY3DPEHPK3PXP"


@pytest.fixture(autouse=True)
def quick(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tries, "HELD_S", 0.0)
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.WEB_PROCESSES = 1
    tries.forget_all()


@pytest.fixture
def somebody(installation: User) -> User:
    return User.objects.create_user("somebody", password=PASSWORD, role="manager", sees_all_clients=True)


@pytest.fixture
def hashed(somebody: User, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The list grows by each password that is held against an account."""
    tried: list[str] = []
    evaluate = ModelBackend.authenticate

    def spy(self: ModelBackend, request: Any, **given: Any) -> Any:
        tried.append(given["password"])
        return evaluate(self, request, **given)

    monkeypatch.setattr(ModelBackend, "authenticate", spy)
    return tried


def log_in(browser: Client, password: str = PASSWORD, name: str = "somebody", typed: str = "", **more: Any) -> Any:
    return browser.post("/log-in/", {"login": name, "password": password, "typed": typed}, **more)


def code(secret: str = SECRET, later: int = 0) -> str:
    return f"{hotp_value(secret, int(time.time()) // 30 + later):06d}"


# ---- tries ----


def test_ten_wrong_passwords_close_an_account_to_their_network_alone(client: Client, hashed: list[str]) -> None:
    for number in range(10):
        assert log_in(client, "wrong", REMOTE_ADDR=f"192.0.2.{number}").status_code == 200
    refused = log_in(client, PASSWORD, REMOTE_ADDR="192.0.2.200")
    assert (refused.status_code, len(hashed)) == (429, 10)
    assert 1 <= int(refused["Retry-After"]) <= 90
    assert "Too many tries" in checked(refused)
    assert log_in(client, PASSWORD, REMOTE_ADDR="198.51.100.1").status_code == 302


def test_the_right_password_opens_again_after_a_minute_and_a_half(
    client: Client, hashed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(10):
        log_in(client, "wrong")
    assert log_in(client).status_code == 429
    began = time.monotonic()
    monkeypatch.setattr(tries.time, "monotonic", lambda: began + 91)
    assert log_in(client).status_code == 302


def guessed(client: Client, networks: int, each: int = 1) -> None:
    for number in range(networks * each):
        log_in(client, "wrong", REMOTE_ADDR=f"198.51.{number % networks}.1")


def test_forty_networks_are_one_guesser_and_the_owner_s_own_still_opens(
    client: Client, hashed: list[str], somebody: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert log_in(Client(), REMOTE_ADDR="203.0.113.1").status_code == 302
    hashed.clear()
    guessed(client, 40, each=3)
    assert len(hashed) == 12
    now = time.monotonic() + 60
    monkeypatch.setattr(tries.time, "monotonic", lambda: now)
    guessed(client, 40)
    assert len(hashed) == 12 + 6
    assert log_in(client, REMOTE_ADDR="192.0.2.1").status_code == 429
    assert log_in(client, REMOTE_ADDR="203.0.113.200").status_code == 302


def test_one_network_alone_closes_no_account_to_networks_that_are_new_to_it(client: Client, hashed: list[str]) -> None:
    for _ in range(29):
        log_in(client, "wrong", REMOTE_ADDR="198.51.100.1")
    assert len(hashed) == 10
    assert log_in(client, REMOTE_ADDR="192.0.2.1").status_code == 302


def test_a_link_opens_a_way_past_guessers(client: Client, somebody: User) -> None:
    guessed(client, 40)
    assert log_in(client, NEW, REMOTE_ADDR="192.0.2.1").status_code == 429
    owner = Client(REMOTE_ADDR="192.0.2.1")
    set_at = owner.get(path_of(password_link(somebody)), follow=True).redirect_chain[-1][0]
    owner.post(set_at, {"new_password1": NEW, "new_password2": NEW})
    assert log_in(owner, NEW, REMOTE_ADDR="192.0.2.1").status_code == 302


def test_refused_log_ins_grow_the_trail_by_two_an_hour_and_network(
    client: Client, somebody: User, settings: Settings
) -> None:
    for name in ("somebody", *(f"name {number}" for number in range(40))):
        for _ in range(15):
            log_in(client, "wrong", name)
    assert said_of(somebody) == ["log-in refused", "log-in refused 10 times; more are refused unread for a while"]
    assert len(said_of(None)) == 2
    settings.CLOCK_OFFSET = timedelta(hours=1, minutes=1)
    tries.forget_all()
    log_in(client, "wrong")
    assert len(said_of(somebody)) == 3


def test_however_many_networks_twenty_an_hour_are_written_of_one_name_and_of_all_unknown_ones(
    client: Client, somebody: User
) -> None:
    for number in range(60):
        tries.OF_STRANGERS.forget()
        for name in ("somebody", f"name {number}"):
            log_in(client, "wrong", name, REMOTE_ADDR=f"198.51.{number}.1")
    for user in (somebody, None):
        said = said_of(user)
        assert len(said) == 20
        assert said[-1] == "log-in refused; more of them within this hour are not written here"


def test_a_right_password_costs_no_try(client: Client, hashed: list[str]) -> None:
    for _ in range(12):
        assert log_in(Client()).status_code == 302
    assert len(hashed) == 12


def test_made_up_names_from_one_network_cost_no_more_than_its_share(client: Client, hashed: list[str]) -> None:
    statuses = [log_in(client, "wrong", f"name {number}").status_code for number in range(40)]
    assert statuses == [200] * 30 + [429] * 10
    assert len(hashed) == 30
    assert not LogIn.objects.exists()
    assert log_in(client, PASSWORD, REMOTE_ADDR="2001:db8::1").status_code == 302


def test_each_process_grants_its_share(client: Client, hashed: list[str], settings: Settings) -> None:
    settings.WEB_PROCESSES = 2
    for _ in range(8):
        log_in(client, "wrong")
    assert len(hashed) == 5


def test_forty_at_once_on_one_account_are_ten_hashes(settings: Settings) -> None:
    allowance = tries.Allowance(at_once=10, each_s=90)

    def attempt(_number: int) -> bool:
        try:
            allowance.take("somebody 192.0.2.0/24")
        except tries.TooMany:
            return False
        return True

    with ThreadPoolExecutor(40) as threads:
        assert sum(threads.map(attempt, range(40))) == 10


def test_what_is_counted_is_forgotten_when_it_is_given_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tries, "MOST_KEYS", 100)
    allowance = tries.Allowance(at_once=10, each_s=90)
    for number in range(300):
        allowance.take(f"name {number}")
    assert len(allowance._full_at) == 100


def test_one_hash_at_a_time_one_waits_and_others_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tries, "WAITS_S", 0.05)
    inside, leave = threading.Event(), threading.Event()

    def hold() -> None:
        with tries.one_at_a_time():
            inside.set()
            leave.wait(10)

    holding = threading.Thread(target=hold)
    holding.start()
    inside.wait(10)
    with pytest.raises(tries.TooMany), tries.one_at_a_time():
        pass
    leave.set()
    holding.join()
    with tries.one_at_a_time(), pytest.raises(tries.TooMany), tries.one_at_a_time():
        pass  # waits in the second place
    with tries.one_at_a_time():
        pass


def test_too_much_at_once_is_said_and_when_to_try_again(client: Client, somebody: User, monkeypatch: Any) -> None:
    def busy(*_args: Any, **_given: Any) -> None:
        raise tries.TooMany(2)

    monkeypatch.setattr(ModelBackend, "authenticate", busy)
    refused = log_in(client)
    assert (refused.status_code, refused["Retry-After"]) == (429, "2")


def test_a_password_is_kept_as_argon2id(settings: Settings) -> None:
    settings.PASSWORD_HASHERS = ["fleet.tries.BoundedArgon2"]
    user = User()
    user.set_password(PASSWORD)
    assert user.password.startswith("argon2$argon2id$v=19$m=47104,t=2,p=1$")
    assert user.check_password(PASSWORD) and not user.check_password(NEW)


def test_a_name_longer_than_any_can_be_is_refused_in_words_and_not_counted(client: Client, hashed: list[str]) -> None:
    answer = log_in(client, "wrong", "n" * 300)
    assert (answer.status_code, hashed) == (200, [])
    assert "it may have at most 150" in answer.content.decode()


def test_who_has_left_can_not_log_in(client: Client, somebody: User) -> None:
    User.objects.update(is_active=False)
    answer = log_in(client)
    assert answer.status_code == 200 and "not correct" in main_of(answer.content.decode())


# ---- sessions ----


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
    client: Client, manager: User, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    client.post(f"/log-in/?name={CANARY}", {"login": CANARY, "password": CANARY}, HTTP_USER_AGENT=CANARY)
    client.force_login(manager)
    client.get(f"/api/v1/clients?name={CANARY}", HTTP_USER_AGENT=CANARY)
    client.post("/api/v1/clients", {"name": CANARY, "no such": CANARY}, content_type="application/json")
    lines = [each.getMessage() for each in caplog.records if each.name != "django.db.backends"]
    assert any("request_started" in each and "GET /api/v1/clients'" in each for each in lines)
    assert not [each for each in lines if CANARY in each or "user_agent" in each]


def test_a_log_in_is_a_row_that_says_where_and_opens_nothing(client: Client, somebody: User) -> None:
    before = clock.now()
    log_in(client, REMOTE_ADDR="192.0.2.77", HTTP_USER_AGENT="Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Firefox/140.0")
    (row,) = LogIn.objects.filter(user=somebody)
    assert (row.network, row.browser) == ("192.0.2.0/24", "Firefox on Linux")
    assert before <= row.made_at <= row.seen_at < row.expires_at <= clock.now() + timedelta(hours=12)
    cookie = client.cookies["session"].value
    assert row.key == row_key(cookie)
    cells = list(dump())
    assert not [each for each in cells if cookie in each or "_auth_user_id" in each]


def test_being_seen_is_written_once_in_five_minutes(
    client: Client, somebody: User, django_assert_num_queries: Any
) -> None:
    log_in(client)
    client.get("/account/")
    seen = LogIn.objects.get(user=somebody).seen_at
    client.get("/account/")
    assert LogIn.objects.get(user=somebody).seen_at == seen
    LogIn.objects.update(seen_at=seen - timedelta(minutes=6))
    client.get("/account/")
    assert LogIn.objects.get(user=somebody).seen_at > seen


def test_a_log_in_ends_by_itself_after_twelve_hours(client: Client, somebody: User, settings: Settings) -> None:
    log_in(client)
    settings.CLOCK_OFFSET = timedelta(hours=12, minutes=1)
    assert client.get("/account/").status_code == 302


def test_ending_a_log_in_acts_at_once(client: Client, somebody: User) -> None:
    elsewhere, third = Client(), Client()
    for each in (client, elsewhere, third):
        log_in(each)
    page = checked(client.get("/account/"))
    assert "You are logged in at 3 places" in page and "End all others" in page
    key = row_key(elsewhere.cookies["session"].value)
    assert client.post("/account/", {"log_in": key}).status_code == 302
    assert elsewhere.get("/account/")["Location"].startswith("/log-in/")
    assert third.get("/account/").status_code == 200
    client.post("/account/", {})
    assert third.get("/account/").status_code == 302
    assert "You are logged in at 1 place" in checked(client.get("/account/"))


def test_nobody_ends_another_s_log_in(client: Client, somebody: User, dispatcher: User) -> None:
    other = browser_of(dispatcher)
    log_in(client)
    key = row_key(other.cookies["session"].value)
    assert client.post("/account/", {"log_in": key}).status_code == 404
    assert other.get("/account/").status_code == 200


TYPED = {"version": "1", "name": "Own & <Heating>", "address": "2 Test Lane\nUpstairs", "emergency_numbers": "112"}


def test_what_was_typed_when_the_log_in_had_ended_is_given_back_and_sent(somebody: User) -> None:
    activated(somebody)
    client = Client(enforce_csrf_checks=True)

    def sent(path: str, page: Any, **values: Any) -> Any:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.content.decode())
        assert token
        return client.post(path, values | {"csrfmiddlewaretoken": token[1]})

    client.force_login(somebody)
    page = client.get("/contractor/")
    LogIn.objects.all().delete()
    ended = sent("/contractor/", page, **TYPED)
    carried = dict(re.findall(r'name="(next|typed)" value="([^"]+)"', checked(ended)))
    assert "What you typed is given back" in checked(ended) and not LogIn.objects.exists()
    assert "Upstairs" not in carried["typed"] and 'action="/log-in/"' in checked(ended)
    refused = sent("/log-in/", ended, login="somebody", password="wrong", **carried)
    assert dict(re.findall(r'name="(next|typed)" value="([^"]+)"', checked(refused))) == carried
    half = sent("/log-in/", refused, login="somebody", password=PASSWORD, **carried)
    assert half["Location"] == "/log-in/code/"
    assert sent("/log-in/code/", client.get("/log-in/code/"), code=code())["Location"] == "/typed/"
    shown = client.get("/typed/")
    fields = re.findall(r'<input type="hidden" name="([a-z_]+)" value="([^"]+)"', checked(shown))
    assert {name: unescape(value) for name, value in fields if not name.startswith("csrf")} == TYPED
    assert 'action="/contractor/"' in checked(shown)
    assert sent("/contractor/", shown, **TYPED)["Location"] == "/contractor/"
    assert Contractor.objects.get().name == TYPED["name"]


@pytest.mark.parametrize(
    ("path", "typed"),
    [("/account/password/", {"old_password": "x", "new_password1": "y"}), ("/contractor/", {}),
     ("/contractor/", {"name": secrets.token_hex(20_000)}), ("/sheets/import/", {"file": ContentFile(b"x", "x.json")})],
)  # fmt: skip
def test_no_secret_no_file_and_nothing_long_is_kept(client: Client, db: None, path: str, typed: Any) -> None:
    assert client.post(path, typed)["Location"] == f"/log-in/?next={path}"


def test_what_was_typed_is_given_back_for_an_hour(client: Client, somebody: User, monkeypatch: Any) -> None:
    sealed = re.search(r'name="typed" value="([^"]+)"', checked(client.post("/contractor/", TYPED)))
    assert sealed
    log_in(client, typed=sealed[1])
    assert client.get("/typed/").status_code == 200
    later = time.time() + 3601
    monkeypatch.setattr("fleet.web.typed.time.time", lambda: later)
    assert client.get("/typed/")["Location"] == "/account/"


# ---- second factors ----


def said_of(user: User | None) -> list[str]:
    return [entry_words(each) for each in AuditEntry.objects.filter(user=user).order_by("id")]


def key_on(page: str) -> str:
    shown = re.search(r'class="code">((?:[A-Z2-7]{4} ){7}[A-Z2-7]{4})<', page)
    return shown[1].replace(" ", "") if shown else ""


def activated(user: User) -> TOTP:
    return TOTP.activate(user, SECRET)


def test_the_second_factor_is_asked_for_after_the_password_and_its_code_opens_once(
    client: Client, somebody: User
) -> None:
    activated(somebody)
    assert log_in(client)["Location"] == "/log-in/code/"
    assert client.get("/").status_code == 302
    assert "Your second factor" in checked(client.get("/log-in/code/"))
    assert "right, or was used already" in client.post("/log-in/code/", {"code": "000000"}).content.decode()
    used = code()
    assert client.post("/log-in/code/", {"code": used})["Location"] == "/"
    again = Client()
    log_in(again)
    assert again.post("/log-in/code/", {"code": used}).status_code == 200
    assert again.post("/log-in/code/", {"code": code(later=1)}).status_code == 302


def test_a_used_code_is_known_to_every_process(somebody: User) -> None:
    activated(somebody)
    used = code()
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM fleet_kept")
        before = cursor.fetchone()[0]
        assert Authenticator.objects.get().wrap().validate_code(used)
        cursor.execute("SELECT COUNT(*) FROM fleet_kept")
        assert cursor.fetchone()[0] == before + 1
    assert not Authenticator.objects.get().wrap().validate_code(used)


def test_a_recovery_code_opens_once(client: Client, somebody: User) -> None:
    activated(somebody)
    recovery = RecoveryCodes.activate(somebody).get_unused_codes()[0]
    log_in(client)
    assert client.post("/log-in/code/", {"code": recovery}).status_code == 302
    again = Client()
    log_in(again)
    assert again.post("/log-in/code/", {"code": recovery}).status_code == 200


def test_six_wrong_codes_are_the_last_for_a_while_from_their_network_alone(
    client: Client, somebody: User, settings: Settings
) -> None:
    activated(somebody)
    log_in(client)
    settings.WEB_PROCESSES = 2
    for _ in range(6):
        assert client.post("/log-in/code/", {"code": "000 000"}).status_code == 200
    refused = client.post("/log-in/code/", {"code": code()})
    assert refused.status_code == 429 and 240 < int(refused["Retry-After"]) <= 300
    assert "Try again in 5 minutes." in checked(refused) and 'href="/log-in/code/"' in checked(refused)
    assert client.get("/").status_code == 302
    with pytest.raises(tries.TooMany):  # another process counts the same
        replace(tries.OF_CODES).take(f"app {somebody.pk} 127.0.0.0/24")
    owner = Client(REMOTE_ADDR="198.51.100.1")
    log_in(owner)
    assert owner.post("/log-in/code/", {"code": code()})["Location"] == "/"
    refused = [each for each in said_of(somebody) if "refused" in each]
    assert refused == ["log-in refused", "log-in refused 6 times; more are refused unread for a while"]


def test_a_recovery_code_opens_where_the_app_s_codes_are_used_up_and_six_wrong_ones_are_the_last(
    client: Client, somebody: User
) -> None:
    activated(somebody)
    recovery = RecoveryCodes.activate(somebody).get_unused_codes()
    log_in(client)
    for _ in range(7):
        refused = client.post("/log-in/code/", {"code": "000000"})
    assert refused.status_code == 429
    assert client.post("/log-in/code/", {"code": recovery[0]})["Location"] == "/"
    client = Client()
    log_in(client)
    sent = [client.post("/log-in/code/", {"code": f"0000000{number}"}).status_code for number in range(7)]
    assert sent == [200] * 6 + [429]
    assert client.post("/log-in/code/", {"code": recovery[1]}).status_code == 429


def test_wrong_codes_from_everywhere_come_to_an_end(client: Client, somebody: User) -> None:
    activated(somebody)
    log_in(client)
    sent = [client.post("/log-in/code/", {"code": "000000"}, REMOTE_ADDR=f"198.51.{number}.1") for number in range(101)]
    assert [each.status_code for each in sent] == [200] * 100 + [429]


@pytest.mark.parametrize("given", ["code", "code again"])
def test_a_right_code_costs_no_try(somebody: User, monkeypatch: pytest.MonkeyPatch, given: str) -> None:
    activated(somebody)
    monkeypatch.setattr(TOTP, "validate_code", lambda _self, _code: True)
    for _ in range(8):
        browser = Client()
        log_in(browser)
        assert browser.post("/log-in/code/", {"code": "123456"}).status_code == 302
        if given == "code again":
            assert browser.post("/log-in/again/code/", {"code": "123456"}).status_code == 302


def test_half_a_log_in_ends_with_its_password(client: Client, somebody: User) -> None:
    activated(somebody)
    log_in(client)
    set_password(user=somebody, password=NEW, now=clock.now())
    assert client.post("/log-in/code/", {"code": code()})["Location"] == "/log-in/"
    assert client.get("/")["Location"].startswith("/log-in/")
    log_in(client, NEW)
    assert client.post("/log-in/code/", {"code": code()})["Location"] == "/"


@pytest.mark.parametrize("state", ["ended", "invited", "open"])
def test_a_passkey_opens_only_for_whom_a_password_would(
    client: Client, somebody: User, state: str, monkeypatch: Any
) -> None:
    passkey = Authenticator.objects.create(user=somebody, type="webauthn", data={"name": "Passkey 1"})
    monkeypatch.setattr(AuthenticateWebAuthnForm, "clean_credential", lambda _self: passkey)
    somebody.is_active = state != "ended"
    if state == "invited":
        somebody.set_unusable_password()
    somebody.save()
    answer = client.post("/log-in/passkey/", {"credential": '{"id": "x"}'})
    if state == "open":
        assert answer["Location"] == "/" and said_of(somebody) == ["logged in"]
    else:
        assert answer["Location"] == "/log-in/" and said_of(somebody) == ["log-in refused"]
        assert "right, or was used already" in client.get("/log-in/").content.decode()
        assert client.get("/account/").status_code == 302


def test_second_factors_set_up_and_taken_off_are_on_the_trail(
    client: Client, somebody: User, django_capture_on_commit_callbacks: Any
) -> None:
    log_in(client)
    client.post("/log-in/again/?next=/account/app/", {"password": PASSWORD})
    secret = key_on(client.get("/account/app/").content.decode())
    assert secret
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/app/", {"code": code(secret)})
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/account/recovery-codes/new/")
    client.post("/account/app/off/")
    assert sorted(said_of(somebody)) == sorted(
        ["logged in", "authenticator app set up", "recovery codes made", "recovery codes made",
         "authenticator app taken off", "recovery codes ended"]
    )  # fmt: skip


def test_the_key_of_an_app_stays_when_its_page_is_loaded_again_for_a_quarter_of_an_hour(
    client: Client, somebody: User, monkeypatch: Any
) -> None:
    has_shown(browser := browser_of(somebody))
    page = checked(browser.get("/account/app/"))
    secret = key_on(page)
    assert '<a class="then" href="otpauth://totp/' in page and f"secret={secret}" in page
    assert 'inputmode="numeric"' in page and 'autocomplete="one-time-code"' in page and f'data-text="{secret}"' in page
    assert key_on(browser.get("/account/app/").content.decode()) == secret
    assert key_on(browser.post("/account/app/", {"code": "000000"}).content.decode()) == secret
    later = time.time() + 901
    with monkeypatch.context() as patched:
        patched.setattr("fleet.web.accounts.time", SimpleNamespace(time=lambda: later))
        assert key_on(browser.get("/account/app/").content.decode()) != secret
    newer = key_on(browser.get("/account/app/").content.decode())
    assert browser.post("/account/app/", {"code": code(newer)})["Location"] == "/account/recovery-codes/"


def test_a_passkey_is_renamed_by_its_owner_alone(somebody: User, dispatcher: User) -> None:
    passkey = Authenticator.objects.create(user=somebody, type="webauthn", data={"name": "Passkey 1"})
    path = f"/account/passkeys/{passkey.pk}/"
    browser = has_shown(browser_of(somebody))
    assert f'<a class="then" href="{path}">Rename Passkey 1</a>' in checked(browser.get("/account/"))
    assert 'value="Passkey 1"' in checked(browser.get(path))
    assert "Give it a name." in checked(browser.post(path, {"name": " "}))
    assert browser.post(path, {"name": "n" * 61}).status_code == 200
    assert browser.post(path, {"name": "Laptop"})["Location"] == "/account/"
    assert has_shown(browser_of(dispatcher)).post(path, {"name": "Mine"}).status_code == 404
    assert "The passkey Laptop" in checked(browser.get("/account/"))


def test_a_dump_holds_no_second_factor(somebody: User, client: Client) -> None:
    activated(somebody)
    codes = RecoveryCodes.activate(somebody).get_unused_codes()
    log_in(client)
    client.post("/log-in/code/", {"code": code()})
    cells = list(dump())
    assert not [each for each in cells if SECRET in each or any(one in each for one in codes)]


def test_a_manager_goes_nowhere_without_a_second_factor_outside_the_demonstration(
    client: Client, somebody: User, settings: Settings, contractor: Any
) -> None:
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    log_in(client)
    for path in ("/", "/buildings/", "/account/"):
        assert client.get(path)["Location"] == "/account/app/"
    refused = client.get("/api/v1/clients")
    assert (refused.status_code, refused.json()["code"]) == (403, "second_factor_needed")
    assert client.get("/gas-smell/").status_code == 200
    page = checked(client.get("/account/app/"))  # who has just logged in isn't asked again
    secret = key_on(page)
    assert secret and "<svg" in page
    done = client.post("/account/app/", {"code": code(secret)}, follow=True)
    assert done.redirect_chain[-1][0] == "/account/recovery-codes/"
    assert len(re.findall(r'class="code"><b>\d{8}', checked(done))) == 10
    assert client.get("/").status_code == 200
    assert "They were shown already" in checked(client.get("/account/recovery-codes/"))
    off = client.post("/account/app/off/")
    assert "A manager keeps one second factor" in off.content.decode()
    assert Authenticator.objects.filter(type="totp").exists()


@pytest.mark.parametrize("role", ["technician", "dispatcher", "auditor"])
def test_others_may_do_without(client: Client, installation: User, settings: Settings, role: str) -> None:
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    client.force_login(make_user(role, role))
    assert client.get("/buildings/").status_code == 200


def test_the_demonstration_s_manager_goes_on_without(
    client: Client, somebody: User, settings: Settings, contractor: Any
) -> None:
    settings.MANAGERS_NEED_SECOND_FACTOR = True
    type(contractor).objects.update(is_demo=True)
    log_in(client)
    assert client.get("/buildings/").status_code == 200


@pytest.mark.parametrize(
    ("host", "secure", "offered"),
    [("localhost:8080", False, True), ("127.0.0.1", True, False), ("[::1]:8080", False, False)],
)
def test_passkeys_are_offered_where_the_address_is_a_name(
    client: Client, db: None, host: str, secure: bool, offered: bool
) -> None:
    page = client.get("/log-in/", headers={"host": host}, secure=secure).content.decode()
    assert ("Log in with a passkey" in page) == offered
    assert ("passkeys.js" in page) == offered


# ---- passwords ----


def test_a_changed_password_ends_other_log_ins_and_keeps_this_one(client: Client, somebody: User) -> None:
    elsewhere = Client()
    log_in(client)
    log_in(elsewhere)
    given = {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}
    assert "Change your password" in checked(client.get("/account/password/"))
    assert client.post("/account/password/", given | {"old_password": "wrong"}).status_code == 200
    assert client.post("/account/password/", given)["Location"] == "/account/"
    assert client.get("/account/").status_code == 200
    assert elsewhere.get("/account/").status_code == 302
    assert log_in(Client(), NEW).status_code == 302


@pytest.mark.parametrize(("role", "offered"), [("auditor", ["read"]), ("technician", ["read", "write"])])
def test_a_token_is_offered_what_its_owner_may_do(installation: User, role: str, offered: list[str]) -> None:
    form = TokenForm(None, User.objects.create(username="x", role=role))
    assert [value for value, _words in form.fields["scope"].choices] == offered


@pytest.mark.parametrize(
    ("password", "said"),
    [("elevenchars", "is too short; it must have at least 12 characters."),
     ("password1234", "is one of the common ones; put together"),
     ("somebody1234", "is too much like your user name, name or e-mail address; put together")],
)  # fmt: skip
def test_a_weak_password_is_refused_in_our_words(client: Client, somebody: User, password: str, said: str) -> None:
    log_in(client)
    given = {"old_password": PASSWORD, "new_password1": password, "new_password2": password}
    page = client.post("/account/password/", given)
    assert page.status_code == 200 and "Nothing was changed." in checked(page)
    assert f'id="id_new_password1_error">{said}' in checked(page)
    other = client.post("/account/password/", {"old_password": "x", "new_password1": NEW, "new_password2": password})
    assert "is not your password as it stands" in checked(other) and "is not the same as the first" in checked(other)
    assert {*page.context["form"].errors} == {"new_password1"}
    somebody.refresh_from_db()
    assert somebody.check_password(PASSWORD)


def path_of(link: str) -> str:
    return link.removeprefix("http://127.0.0.1:8080")


def test_a_link_sets_a_password_once(client: Client, installation: User) -> None:
    invited = make_user("invited", "dispatcher")
    link = path_of(password_link(invited))
    form = client.get(link, follow=True)
    assert form.redirect_chain[-1][0].endswith("/set-password/")
    assert "invited" in checked(form)
    set_at = form.redirect_chain[-1][0]
    weak = client.post(set_at, {"new_password1": "short", "new_password2": "short"})
    assert "Nothing was changed." in weak.content.decode()
    assert client.post(set_at, {"new_password1": NEW, "new_password2": NEW})["Location"] == "/log-in/"
    assert log_in(client, NEW, "invited").status_code == 302
    assert "opens nothing any more" in checked(Client().get(link))


def test_without_mail_a_manager_makes_the_link(client: Client, db: None, settings: Settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    page = checked(client.get("/forgotten/"))
    assert "No e-mail is set up here" in page and "<form method" not in main_of(page)


def test_a_forgotten_password_is_answered_alike_and_mailed_in_the_background(client: Client, somebody: User) -> None:
    User.objects.update(email="somebody@heating.example")
    for email in ("nobody@heating.example", "Somebody@heating.example"):
        answer = client.post("/forgotten/", {"email": email}, follow=True)
        assert "If this is the address of an account here" in checked(answer)
    (job,) = Job.objects.filter(kind="send_password_link")
    HANDLERS["send_password_link"](job)()
    (message,) = mail.outbox
    link = re.search(r"http\S+/new-password/\S+", message.body)
    assert link and message.to == ["somebody@heating.example"]
    assert client.get(path_of(link.group(0)), follow=True).redirect_chain


def test_links_are_not_asked_for_without_end(client: Client, db: None) -> None:
    statuses = [client.post("/forgotten/", {"email": "a@heating.example"}).status_code for _ in range(8)]
    assert statuses[0] == 302 and statuses[-1] == 429
    elsewhere = client.post("/forgotten/", {"email": "a@heating.example"}, REMOTE_ADDR="198.51.100.1")
    assert elsewhere.status_code == 302


def test_who_has_left_gets_no_link(somebody: User) -> None:
    User.objects.update(email="somebody@heating.example", is_active=False)
    ask_for_password_link(email="somebody@heating.example", now=clock.now())
    assert not Job.objects.filter(kind="send_password_link").exists()


# ---- tokens ----


def long_ago(client: Client) -> None:
    """They logged in, and not lately."""
    session = client.session
    assert all(each["method"] == "password" for each in session["account_authentication_methods"])
    session["account_authentication_methods"] = [
        each | {"at": each["at"] - 600} for each in session["account_authentication_methods"]
    ]
    session.save()


def test_who_has_just_logged_in_makes_a_token_at_once(client: Client, somebody: User) -> None:
    log_in(client)
    wanted = {"name": "office computer", "scope": "read", "days": "30"}
    assert client.post("/account/tokens/", wanted)["Location"] == "/account/"
    assert ApiToken.objects.exists()


def test_a_token_is_made_shown_once_and_ended_on_the_page(client: Client, somebody: User, client_of_ours: Any) -> None:
    log_in(client)
    long_ago(client)
    wanted = {"name": "office computer", "scope": "read", "days": "30", "clients": [str(client_of_ours.id)]}
    assert client.post("/account/tokens/", wanted)["Location"] == "/log-in/again/?next=%2Faccount%2Ftokens%2F"
    assert not ApiToken.objects.exists()
    page = checked(client.post("/log-in/again/?next=/account/tokens/", {"password": PASSWORD}, follow=True))
    secret = re.search(r"flt_\w+", main_of(page))
    assert secret and "Shown this once" in page
    (token,) = ApiToken.objects.all()
    assert token.is_limited and list(token.clients.all()) == [client_of_ours]
    again = checked(client.get("/account/"))
    assert secret.group(0) not in again and "office computer" in again and "Weir Trust" in again
    with_it = {"HTTP_AUTHORIZATION": f"Bearer {secret.group(0)}"}
    assert Client().get("/api/v1/clients", **with_it).status_code == 200
    client.post("/account/tokens/end/", {"key": token.token_key})
    assert Client().get("/api/v1/clients", **with_it).status_code == 401


def test_a_token_that_can_not_be_made_is_said_by_field(client: Client, somebody: User) -> None:
    log_in(client)
    page = client.post("/account/tokens/", {"name": "", "scope": "all", "days": "366"})
    assert page.status_code == 400 and 'id="id_name_error">Say what it is for' in checked(page)
    assert all(f'aria-describedby="id_{each}_error"' in checked(page) for each in ("name", "scope", "days"))
    assert not ApiToken.objects.exists()


def test_a_manager_sees_and_ends_everybody_s(client: Client, somebody: User, dispatcher: User) -> None:
    token, _secret = ApiToken.objects.create(user=dispatcher, name="theirs", scope="read")
    log_in(client)
    assert "theirs" in checked(client.get("/account/"))
    assert "theirs" not in checked(browser_of(make_user("limited", "manager", sees_all_clients=False)).get("/account/"))
    client.post("/account/tokens/end/", {"key": token.token_key})
    assert not ApiToken.objects.exists()


def test_passkeys_are_not_asked_for_without_end(client: Client, db: None) -> None:
    asked = [client.get("/log-in/passkey/", headers={"accept": "application/json"}).status_code for _ in range(61)]
    assert asked == [200] * 60 + [429]
