"""What leaves the house: kept by no cache, on the audit trail where it is looked at or taken out, and no secret in a
log."""

import json
import logging
import sys
from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client as Browser
from structlog.stdlib import ProcessorFormatter

from fleet.logs import as_json
from fleet.models import Appliance, AuditEntry, User
from fleet.presentation.audit import entry_words
from fleet.queries.audit import visible_audit_entries
from fleet.services.access import create_token
from tests.cast import NOON
from tests.web.conftest import PASSWORD

PERIOD = {"begins": "2026-01-01", "ends": "2026-12-31"}


def trail(**about: Any) -> list[str]:
    return [entry_words(each) for each in AuditEntry.objects.filter(**about).order_by("id")]


@pytest.mark.parametrize("path", ["/", "/buildings/", "/records/", "/api/v1/clients", "/api/v1/nothing", "/log-in/"])
def test_no_cache_keeps_a_page_or_an_answer(logged_in: Callable[[str], Browser], path: str) -> None:
    assert logged_in("manager").get(path)["Cache-Control"] in ("private, no-store", "no-store") or path == "/log-in/"


def test_what_an_auditor_looks_at_is_on_the_trail_and_nobody_else_s_pages_are(
    boiler: Appliance, auditor: User, manager: User
) -> None:
    auditor.clients.add(boiler.building.client)
    browser = Browser()
    browser.force_login(auditor)
    assert browser.get(f"/appliances/{boiler.id}/").status_code == 200
    browser.get("/appliances/00000000-0000-7000-8000-000000000000/")
    other = Browser()
    other.force_login(manager)
    other.get(f"/appliances/{boiler.id}/")
    assert trail(kind="viewed") == [f"looked at by an auditor: /appliances/{boiler.id}/"]
    assert {each.user for each in AuditEntry.objects.filter(kind="viewed")} == {auditor}


def test_what_is_refused_to_an_auditor_is_on_the_trail_and_no_crawler_floods_it(
    boiler: Appliance, auditor: User
) -> None:
    """Of another client's, and of what their role may not see; once for each address, and twenty an hour."""
    User.objects.update(sees_all_clients=False)
    auditor.clients.clear()
    browser = Browser()
    browser.force_login(auditor)
    theirs = f"/appliances/{boiler.id}/"
    for path in (theirs, theirs, f"/api/v1/appliances/{boiler.id}", "/webhooks/", "/nothing/", "/account/tokens/x/"):
        assert browser.get(path).status_code in (403, 404)
    browser.get("/account/")
    browser.get("/api/v1/schema")
    browser.post("/api/v1/clients", {"name": "x"})
    answers = {theirs: 404, f"/api/v1{theirs[:-1]}": 404, "/webhooks/": 403}
    refused = [f"refused to an auditor: GET {path} (answer {status})" for path, status in answers.items()]
    assert trail(kind="view_refused") == [*refused, "refused to an auditor: POST /api/v1/clients (answer 403)"]
    assert trail(kind="viewed") == []
    for number in range(30):
        browser.get(f"/webhooks/?n={number}")
    of_pages = [each for each in trail(kind="view_refused") if "GET /webhooks/" in each]
    assert len(of_pages) == 20
    assert of_pages[-1].endswith("; more of them within this hour are not written here")


def test_what_a_page_has_no_use_for_it_is_not_said_to_have_shown(boiler: Appliance, auditor: User) -> None:
    browser = Browser()
    browser.force_login(auditor)
    for path in ("/records/", "/sheets/"):
        assert browser.get(f"{path}?client={boiler.building.client_id}").status_code == 200
    assert browser.get(f"/records/?appliance={boiler.id}").status_code == 200
    told = trail(kind="viewed")
    assert told[:2] == ["looked at by an auditor: /records/", "looked at by an auditor: /sheets/"]
    assert told[2].endswith(f"/records/?appliance={boiler.id}")


def test_pages_that_are_not_theirs_hide_nothing_that_an_auditor_names_or_would_change(
    boiler: Appliance, auditor: User
) -> None:
    User.objects.update(sees_all_clients=False)
    auditor.clients.clear()
    browser = Browser()
    browser.force_login(auditor)
    for number in range(25):
        browser.get(f"/webhooks/?n={number}")
    named = f"/api/v1/buildings/{boiler.building_id}"
    for asked in (browser.get, browser.patch, browser.delete):
        assert asked(named).status_code in (403, 404)
    assert browser.get(f"/statements/?client={boiler.building.client_id}").status_code == 400
    told = [each.split(" ")[4] for each in trail(kind="view_refused") if "/webhooks/" not in each]
    assert told == ["GET", "PATCH", "DELETE", "GET"]


@pytest.mark.parametrize("padding", ["x={}", "client=none&y={}", "&".join(f"{name}=1" for name in range(300))])
def test_nothing_else_that_is_asked_hides_whose_data_it_was_and_of_when(
    boiler: Appliance, dispatcher: User, padding: str
) -> None:
    browser = Browser()
    browser.force_login(dispatcher)
    query = "&".join(f"{name}={said}" for name, said in (PERIOD | {"client": boiler.building.client_id}).items())
    assert browser.get(f"/statements/statement.pdf?{padding.format('0' * 2000)}&{query}").status_code == 200
    (said,) = trail(kind="exported")
    assert said.startswith("taken out as a file: /statements/statement.pdf?") and len(said) < 1100
    assert all(each in said for each in query.split("&"))


def test_a_view_by_a_token_names_it(auditor: User, boiler: Appliance) -> None:
    User.objects.update(sees_all_clients=False)
    auditor.clients.clear()
    _token, key = create_token(user=auditor, actor=auditor, name="our export", scope="read", days=1, now=NOON)
    Browser().get("/api/v1/clients", headers={"authorization": f"Bearer {key}"})
    Browser().get(f"/api/v1/appliances/{boiler.id}", headers={"authorization": f"Bearer {key}"})
    browser = Browser()
    browser.force_login(auditor)
    browser.get("/api/v1/clients")
    looked = AuditEntry.objects.filter(kind__in=["viewed", "view_refused"]).order_by("id")
    assert [(each.kind, each.token) for each in looked] == [
        ("viewed", "our export"), ("view_refused", "our export"), ("viewed", ""),
    ]  # fmt: skip


def test_a_paper_taken_out_is_on_the_trail_whoever_takes_it(boiler: Appliance, dispatcher: User) -> None:
    browser = Browser()
    browser.force_login(dispatcher)
    query = PERIOD | {"client": str(boiler.building.client_id), "as": "pdf"}
    assert browser.get("/api/v1/statements", query).status_code == 200
    (said,) = trail(kind="exported")
    assert said.startswith("taken out as a file: /api/v1/statements?begins=2026-01-01")


def test_coming_and_going_is_on_the_trail(visitor: Browser, db: None) -> None:
    user = User.objects.create_user("somebody", password=PASSWORD, role="dispatcher")
    visitor.post("/log-in/", {"login": "somebody", "password": "not it at all"})
    visitor.post("/log-in/", {"login": "my password by mistake", "password": "x"})
    visitor.post("/log-in/", {"login": "somebody", "password": PASSWORD})
    visitor.post("/log-out/")
    assert [(each.kind, each.user) for each in AuditEntry.objects.order_by("id")] == [
        ("log_in_refused", user), ("log_in_refused", None), ("logged_in", user), ("logged_out", user),
    ]  # fmt: skip
    assert {each.network for each in AuditEntry.objects.all()} == {"127.0.0.0/24"}
    assert "mistake" not in str(list(AuditEntry.objects.values()))


def test_an_entry_of_the_trail_can_t_be_changed_or_removed(manager: User, visitor: Browser) -> None:
    visitor.force_login(manager)
    entry = AuditEntry.objects.latest("id")
    for change in (lambda: AuditEntry.objects.update(network="x"), entry.delete):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            change()


def test_the_page_shows_one_kind_and_one_person_where_they_are_named(manager: User, auditor: User) -> None:
    visitor = Browser()
    for user in (auditor, manager):
        visitor.force_login(user)
    page = visitor.get("/audit-trail/").content.decode()
    assert "Audit trail" in page and page.count("logged in") >= 2
    assert "No such entry yet." in visitor.get("/audit-trail/", {"kind": "exported"}).content.decode()
    assert f"Audit trail of {auditor}" in visitor.get("/audit-trail/", {"user": auditor.id}).content.decode()


def test_the_page_names_what_was_looked_at_who_did_it_and_each_column_of_the_stacked_table(
    manager: User, auditor: User, boiler: Appliance
) -> None:
    _token, key = create_token(user=auditor, actor=None, name="our export", scope="read", days=1, now=NOON)
    Browser().get(f"/api/v1/appliances/{boiler.id}", headers={"authorization": f"Bearer {key}"})
    browser = Browser()
    for user, path in ((auditor, f"/buildings/?client={boiler.building.client_id}"), (manager, "/audit-trail/")):
        browser.force_login(user)
        page = browser.get(path).content.decode()
    by_token, looked = (
        next(row for row in page.split("<tr>") if said in row) for said in ("our export</td>", "client=")
    )
    assert f"({boiler.name})" in by_token and f">{auditor}, by the token our export</td>" in by_token
    assert f"({boiler.building.client.name})" in looked and f'data-rate="By">{auditor}</td>' in looked
    for label in ("Whom it is about", "What", "By", "Network"):
        assert f'data-rate="{label}"' in looked
    assert "at the terminal" in page


def test_only_a_manager_of_all_clients_reads_the_trail(manager: User, dispatcher: User) -> None:
    visitor = Browser()
    visitor.force_login(dispatcher)
    assert visitor.get("/audit-trail/").status_code == 403
    assert visible_audit_entries(manager).exists()
    manager.sees_all_clients = False
    assert not visible_audit_entries(manager).exists()


@pytest.mark.parametrize("method", ["get", "head", "post", "put", "patch", "delete", "options"])
@pytest.mark.parametrize("path", ["/calendar/{}/", "/calendar/{}/?x=1", "/new-password/{}/x/"])
def test_no_method_writes_a_secret_address_into_a_log(
    visitor: Browser, caplog: pytest.LogCaptureFixture, method: str, path: str
) -> None:
    canary = "canary0123456789canary"
    with caplog.at_level(logging.DEBUG):
        getattr(visitor, method)(path.format(canary))
    for record in caplog.records:
        line = as_json(None, record.name, {"event": record.getMessage(), "_record": record})  # type: ignore[arg-type]
        assert canary not in str(line)


def test_a_line_of_a_library_says_how_grave_it_is_and_what_went_wrong() -> None:
    handler = next(each for each in logging.getLogger().handlers if isinstance(each.formatter, ProcessorFormatter))
    try:
        raise ValueError("no such row")
    except ValueError:
        said = ("Error handling request %s", ("/calendar/canary",), sys.exc_info())
        line = json.loads(handler.format(logging.getLogger().makeRecord("gunicorn.error", 40, "f", 1, *said)))
    about = (line["level"], line["logger"], line["event"])
    assert about == ("error", "gunicorn.error", "Error handling request /calendar/...")
    assert line["exception"].endswith("ValueError: no such row")
