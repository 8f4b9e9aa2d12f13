"""Commands by hand: what they refuse before anything is changed, and what they say they did."""

import os
import re
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from django.core import checks
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from django.utils.timezone import localdate

from fleet.management.commands import serve
from fleet.management.supervisor import Child
from fleet.models import ApiToken, AuditEntry, Contractor, Person, Reading, User
from fleet.presentation.audit import entry_words
from fleet.presentation.days import long_day
from fleet.services.access import create_user
from fleet.worker import DEAF, WORN
from tests.cast import store

pytestmark = pytest.mark.django_db


def said(*arguments: str, **options: Any) -> str:
    out = StringIO()
    call_command(*arguments, stdout=out, **options)
    return out.getvalue()


# ---- rebuild ----


def test_a_rebuild_says_how_many_records_and_finds_them_equal(body: dict[str, Any], technician: User) -> None:
    store(body, technician)
    assert said("rebuild", "--check") == "Records and rows are equal.\n"
    count = int(said("rebuild").split()[0])
    assert count > 1


def test_a_row_that_differs_is_named_and_nothing_is_changed_by_looking(body: dict[str, Any], technician: User) -> None:
    visit = store(body, technician)
    reading = visit.readings.get(number=2)
    Reading.objects.filter(id=reading.id).update(co_ppm=1)
    out = StringIO()
    with pytest.raises(CommandError, match=r"^1 differences\.$"):
        call_command("rebuild", "--check", stdout=out)
    assert out.getvalue().startswith(f"record {visit.record_id}: Reading {reading.id}: co_ppm ")
    assert Reading.objects.get(id=reading.id).co_ppm == 1
    said("rebuild")
    assert said("rebuild", "--check") == "Records and rows are equal.\n"


# ---- what begins an installation ----


def test_the_demonstration_goes_only_into_an_empty_installation(installation: User) -> None:
    with pytest.raises(CommandError, match="only into an empty installation"):
        said("load_demo")


def test_the_demonstration_goes_into_no_served_installation(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    Contractor.objects.all().delete()
    settings.SERVED = True
    with pytest.raises(CommandError, match="FLEET_SHAPE=embedded"):
        said("load_demo")
    monkeypatch.setattr("fleet.management.commands.set_up.call_command", lambda *_given, **_how: None)
    with pytest.raises(CommandError, match="not loaded into a served installation"):
        said("set_up", "--demo")
    assert not Contractor.objects.exists()


@pytest.mark.parametrize(
    ("typed", "wrong"),
    [
        (("Own Heating", "000", "boss", "Bo Boss", "short"), "password"),
        (("Own Heating", "000", "", "Bo Boss", "a-long-enough-secret"), "username"),
        (("Own Heating", "000", "boss", "", "a-long-enough-secret"), "name"),
    ],
)
def test_a_refused_manager_leaves_no_contractor_behind(
    monkeypatch: pytest.MonkeyPatch, typed: tuple[str, ...], wrong: str
) -> None:
    Contractor.objects.all().delete()
    User.objects.update(username="former")
    answers = iter(typed[:-1])
    monkeypatch.setattr("builtins.input", lambda _asked: next(answers))
    monkeypatch.setattr("getpass.getpass", lambda _asked: typed[-1])
    monkeypatch.setattr("fleet.management.commands.set_up.call_command", lambda *_given, **_how: None)
    monkeypatch.setattr("fleet.services.contractor._ship_limit_sets", lambda *_given: None)
    monkeypatch.setattr("fleet.services.limit_sets.set_stop_levels", lambda **_given: None)
    with pytest.raises(CommandError, match=wrong):
        said("set_up")
    assert not Contractor.objects.exists()
    assert [each.username for each in User.objects.all()] == ["former"]


def test_without_an_owner_of_the_tables_nothing_is_migrated(settings: Any) -> None:
    settings.DATABASE_OWNER_URL = ""
    with pytest.raises(CommandError, match="FLEET_DATABASE_OWNER_URL is empty; it must name the owner"):
        said("migrate_as_owner")


# ---- serve ----


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> list[Child]:
    """The processes that would have been started."""
    children: list[Child] = []

    class Remembers:
        def __init__(self, given: list[Child], _say: Any) -> None:
            children.extend(given)

        def run(self) -> int:
            return 3

    monkeypatch.setattr(serve, "Supervisor", Remembers)
    monkeypatch.setenv("FLEET_PUBLIC_ADDRESS", "")  # so that it is undone after the test
    monkeypatch.delenv("FLEET_PUBLIC_ADDRESS")
    monkeypatch.setattr(checks, "run_checks", lambda **_given: [])
    settings.VAR_DIR = tmp_path
    return children


def served(*arguments: str) -> tuple[str, int]:
    out = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("serve", *arguments, stdout=out)
    return out.getvalue(), int(str(ended.value))


def test_three_processes_are_started_and_their_end_is_the_commands(installation: User, run: list[Child]) -> None:
    told, status = served("--host", "127.0.0.1", "--port", "8123")
    assert (told, status) == ("Test Heating: http://127.0.0.1:8123/  (Ctrl-C stops)\n", 3)
    assert [each.name for each in run] == ["web", "worker", "clock"]
    assert os.environ["FLEET_PUBLIC_ADDRESS"] == "http://127.0.0.1:8123", "links open where it listens"
    assert "127.0.0.1:8123" in run[0].command and "--certfile" not in run[0].command
    # A worker that is worn or hears nothing asks to be started anew; that is no failure.
    assert [each.renews for each in run] == [frozenset(), {DEAF, WORN}, frozenset()]


@pytest.mark.parametrize(
    ("given", "scheme"),
    [(("--tls-cert", "c.pem", "--tls-key", "k.pem"), "https"), (("--tls-cert", "c.pem"), "http"), ((), "http")],
)
def test_it_is_https_only_with_certificate_and_key(
    installation: User, run: list[Child], given: tuple[str, ...], scheme: str
) -> None:
    told, _status = served("--host", "127.0.0.1", "--port", "8123", *given)
    assert f"{scheme}://127.0.0.1:8123/" in told
    assert (run[0].command[-4:] == ["--certfile", "c.pem", "--keyfile", "k.pem"]) == (scheme == "https")


def test_the_demonstration_answers_on_this_machine_alone_and_shows_its_accounts(
    installation: User, run: list[Child], tmp_path: Path
) -> None:
    Contractor.objects.update(is_demo=True)
    (tmp_path / "demo-accounts.txt").write_text("manager word\n")
    for host in ("0.0.0.0", "192.0.2.1", "heating.example", ""):
        with pytest.raises(CommandError, match="answers on this machine only"):
            call_command("serve", "--host", host, stdout=StringIO())
    assert run == []
    for host in ("127.0.0.1", "localhost", "::1"):
        assert "manager word\n" in served("--host", host)[0]


def test_nothing_is_started_with_a_serious_fault(
    installation: User, run: list[Child], monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = [checks.Warning("odd"), checks.Error("triggers missing", id="fleet.E001")]
    monkeypatch.setattr(checks, "run_checks", lambda **_given: faults)
    with pytest.raises(CommandError, match="triggers missing") as refused:
        call_command("serve")
    assert "odd" not in str(refused.value)
    monkeypatch.setattr(checks, "run_checks", lambda **_given: faults[:1])
    Contractor.objects.all().delete()
    with pytest.raises(CommandError, match=r"run manage\.py set_up first"):
        call_command("serve", "--host", "192.0.2.1")
    assert run == []


def test_a_database_that_is_not_ready_is_said_before_anything_starts(
    run: list[Child], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve.MigrationExecutor, "migration_plan", lambda *_given: [("a migration", False)])
    with pytest.raises(CommandError, match="set_up --in-browser, or --demo"):
        call_command("serve")
    assert run == []


def test_before_it_has_begun_it_serves_and_prints_the_code(run: list[Child]) -> None:
    Contractor.objects.all().delete()
    told, _status = served("--host", "127.0.0.1", "--port", "8123")
    assert told.startswith("A new installation: http://127.0.0.1:8123/")
    assert re.search(r"works once: \w{4}-\w{4}-\w{4}\n$", told)


def test_an_account_above_the_roles_is_not_made() -> None:
    with pytest.raises(CommandError, match=r"manage\.py set_up"):
        said("createsuperuser")


# ---- tokens, and who is locked out ----


def test_a_token_is_made_listed_and_ended_from_the_machine(manager: User, client_of_ours: Any) -> None:
    secret = said("token", "make", "manager", "nightly export", "--client", client_of_ours.name).strip()
    token = ApiToken.objects.get()
    assert secret.startswith(token.token_key) and list(token.clients.all()) == [client_of_ours]
    assert said("token", "list", "manager").split("  ")[1:5] == ["manager", "nightly export", "read", "Weir Trust"]
    said("token", "end", token.token_key)
    assert said("token", "list") == ""
    done, until = AuditEntry.objects.filter(user=manager).order_by("id"), long_day(localdate(token.expiry))
    assert [(entry_words(each), each.by) for each in done] == [
        (f"token made: nightly export; it may read, of Weir Trust, until {until}", None),
        (f"token ended: nightly export; it could read, of Weir Trust, until {until}", None),
    ]
    with pytest.raises(CommandError, match="no such token"):
        said("token", "end", token.token_key)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("make", "nobody", "x"), "no active account"),
        (("make", "manager", "x", "--client", "Elsewhere"), "sees no client named Elsewhere"),
        (("make", "manager", "x", "--days", "400"), "can't be accepted"),
    ],
)
def test_a_token_that_can_not_be_made_is_refused_in_words(manager: User, arguments: Any, words: str) -> None:
    with pytest.raises(CommandError, match=words):
        said("token", *arguments)
    assert not ApiToken.objects.exists()


def opens(printed: str) -> bool:
    """Whether what was printed is a link that sets a password."""
    answer = Browser().get(urlsplit(printed.strip()).path)
    return answer.status_code == 302 and "set-password" in answer["Location"]


def test_people_are_invited_listed_ended_and_let_back_from_the_machine(installation: User, client_of_ours: Any) -> None:
    first = said("people", "invite", "ada", "Ada Test", "--email", "ada@heating.example")
    assert first.startswith("http") and opens(first)
    said("people", "invite", "cy", "Cy Cooper", "--role", "auditor", "--client", client_of_ours.name)
    assert said("people", "list").splitlines() == [
        "ada  Ada Test  manager  all clients  invited  never logged in",
        "cy  Cy Cooper  auditor  Weir Trust  invited  never logged in",
    ]
    assert said("people", "end", "cy").startswith("Ended")
    assert {each.by for each in AuditEntry.objects.all()} == {None}
    assert User.objects.get(username="cy").state == "ended"
    assert opens(said("people", "reset", "cy")) and User.objects.get(username="cy").state == "invited"
    again = said("people", "reset", "ada")
    assert opens(again) and not opens(first)


def test_who_is_locked_out_gets_a_link_and_loses_the_second_factor(installation: User) -> None:
    said("people", "invite", "ada", "Ada Test")
    TOTP.activate(User.objects.get(username="ada"), "JBSWY3DPEHPK3PXP")
    said("people", "reset", "ada")
    assert Authenticator.objects.exists()
    assert opens(said("people", "reset", "ada", "--second-factor"))
    assert not Authenticator.objects.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("end", "nobody"), "no log-in 'nobody'"),
        (("invite", "manager", "Ada Test"), "username"),
        (("invite", "ada", "Ada Test", "--client", "Elsewhere"), "no client named Elsewhere"),
        (("invite", "ada", "Ada Test", "--email", "x"), "email"),
    ],
)
def test_what_can_not_be_done_to_people_is_refused_in_words(manager: User, arguments: Any, words: str) -> None:
    with pytest.raises(CommandError, match=words):
        said("people", *arguments)
    assert not Person.objects.exists()


def test_the_last_manager_is_not_ended_from_the_machine_either(installation: User, settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    create_user(username="boss", password="a-long-enough-secret", role="manager", name="Bo Boss")
    with pytest.raises(CommandError, match="last manager"):
        said("people", "end", "boss")


def test_nobody_is_made_above_the_roles_and_a_password_is_changed_by_the_usual_command(
    installation: User, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(CommandError, match=r"manage\.py people"):
        said("createsuperuser")
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    user = create_user(username="boss", password="a-long-enough-secret", role="manager", name="Bo Boss")
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    monkeypatch.setattr("getpass.getpass", lambda **_asked: "another long secret")
    assert "Password changed" in said("changepassword", "boss")
    assert AuditEntry.objects.get(user=user, kind="access_changed").said == ["password_set", {}]
    assert User.objects.get(username="boss").check_password("another long secret")
    assert browser.get("/account/").status_code == 302
