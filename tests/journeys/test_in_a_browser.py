"""The same in a browser: log in by the form, follow links, and look for what a person would trip over."""

import json
import urllib.request
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any, cast

import pytest
from playwright.sync_api import Browser, Page

from fleet.models import Analyser, Appliance, Person
from tests.cast import visit_body
from tests.journeys.conftest import Service

YESTERDAY = f"{datetime.now(UTC).date() - timedelta(days=1):%Y-%m-%d}"
TODAY = f"{datetime.now(UTC).date():%Y-%m-%d}"


@pytest.fixture(scope="module")
def visit(service: Service) -> str:
    """A visit sent by the technician's program, left outside its band; all that follows from it is done."""
    made = {name: SimpleNamespace(id=service.made[name]) for name in ("appliance", "person", "analyser")}
    made["appliance"].building_id, made["appliance"].serial = service.made["building"], service.made["serial"]
    body = visit_body(
        cast(Appliance, made["appliance"]),
        cast(Person, made["person"]),
        cast(Analyser, made["analyser"]),
        day=YESTERDAY,
        left=("10.30", "9.10"),
    )
    request = urllib.request.Request(
        f"{service.address}/api/v1/visits",
        data=json.dumps(body).encode(),
        headers={"Content-Type": "application/json", "Authorization": f"Bearer {service.made['token']}"},
    )
    with urllib.request.urlopen(request, timeout=20) as answer:
        assert answer.status == 201
    service.drain()
    return str(body["id"])


@pytest.fixture(scope="module")
def sessions() -> dict[str, Any]:
    """What logging in left behind, by role: each role logs in once."""
    return {}


class Visitor:
    """Somebody's page, with what the browser complained about."""

    def __init__(self, page: Page, service: Service) -> None:
        self.page, self.service, self.complaints = page, service, list[str]()
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def open(self, path: str) -> None:
        answer = self.page.goto(f"{self.service.address}{path}")
        assert answer is not None and answer.status == 200, path

    def log_in(self, role: str) -> None:
        self.open("/log-in/")
        self.page.get_by_label("User name").fill(role)
        self.page.get_by_label("Password").fill(self.service.made[role])
        self.page.get_by_role("button", name="Log in").click()

    @property
    def text(self) -> str:
        return " ".join(self.page.locator("main").inner_text().split())

    @property
    def sideways(self) -> int:
        return int(self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def visitor(browser: Browser, service: Service, sessions: dict[str, Any], role: str, width: int = 1440) -> Visitor:
    context = browser.new_context(viewport={"width": width, "height": 800}, storage_state=sessions.get(role))
    made = Visitor(context.new_page(), service)
    if role not in sessions:
        made.log_in(role)
        sessions[role] = context.storage_state()
    return made


def test_a_dispatcher_logs_in_sees_what_is_outside_and_follows_it(
    browser: Browser, service: Service, sessions: dict[str, Any], visit: str
) -> None:
    seen = visitor(browser, service, sessions, "dispatcher")
    assert seen.page.url == f"{service.address}/"
    assert "one outside a limit" in seen.text
    seen.page.get_by_role("link", name="Look at Boiler 1, Invented House").first.click()
    assert "See it by" in seen.text
    assert seen.page.locator(".chart.wide").first.is_visible()
    assert not seen.page.locator(".chart.narrow").first.is_visible()
    seen.page.get_by_role("link", name="The whole record").click()
    assert seen.page.url.endswith(f"/visits/{visit}/")
    assert "Outside a limit, the strictest first" in seen.text
    assert seen.complaints == []


def test_an_auditor_asks_for_a_statement_by_its_form(
    browser: Browser, service: Service, sessions: dict[str, Any], visit: str
) -> None:
    seen = visitor(browser, service, sessions, "auditor")
    seen.open("/")
    assert seen.page.url == f"{service.address}/statements/"
    seen.page.get_by_label("Client").select_option("Invented Schools")
    seen.page.get_by_label("From this day").fill(YESTERDAY)
    seen.page.get_by_label("To this day").fill(TODAY)
    seen.page.get_by_role("button", name="Make the statement").click()
    assert "One appliance of Invented Schools was in service in this period." in seen.text
    assert "Limit sets that nobody has reviewed" in seen.text
    address = seen.page.get_by_role("link", name="The statement on paper (PDF)").get_attribute("href")
    paper = seen.page.request.get(f"{service.address}{address}")
    assert (paper.status, paper.body()[:5]) == (200, b"%PDF-")
    assert seen.complaints == []


def paths(service: Service, visit: str) -> list[str]:
    made = service.made
    return [
        "/",
        "/buildings/",
        f"/buildings/{made['building']}/",
        f"/appliances/{made['appliance']}/",
        f"/visits/{visit}/",
        "/required-checks/",
        "/records/",
        "/sheets/",
        "/sheets/new/",
        "/sheets/import/",
        "/statements/",
        f"/statements/?client={made['client']}&begins={YESTERDAY}&ends={TODAY}",
        "/gas-smell/",
        "/co-alarm/",
    ]


@pytest.mark.parametrize("text_size_pct", [100, 200])
def test_no_page_goes_sideways_on_a_narrow_screen_nor_breaks_its_policy(
    browser: Browser, service: Service, sessions: dict[str, Any], visit: str, text_size_pct: int
) -> None:
    seen = visitor(browser, service, sessions, "manager", width=360)
    for path in paths(service, visit):
        seen.open(path)
        seen.page.evaluate(f"document.documentElement.style.fontSize = '{text_size_pct}%'")
        assert seen.sideways <= 0, path
    assert seen.complaints == []


def test_the_keyboard_s_place_is_always_to_be_seen(
    browser: Browser, service: Service, sessions: dict[str, Any], visit: str
) -> None:
    seen = visitor(browser, service, sessions, "dispatcher")
    seen.open(f"/appliances/{service.made['appliance']}/")
    look = "(e => [e.outerHTML.slice(0, 200), getComputedStyle(e).outline])(document.activeElement)"
    places: list[str] = []
    while not (places and places[-1].startswith("<body")) and len(places) < 100:
        seen.page.keyboard.press("Tab")
        place, outline = seen.page.evaluate(look)
        places.append(place)
        assert place.startswith("<body") or ("solid" in outline and "3px" in outline), place
    assert 'href="#main"' in places[0]
    assert len(set(places)) > 15


def test_a_form_is_sent_by_the_keyboard_alone(
    browser: Browser, service: Service, sessions: dict[str, Any], visit: str
) -> None:
    seen = visitor(browser, service, sessions, "dispatcher")
    seen.open("/")
    seen.page.get_by_label(", due within").select_option("90")
    seen.page.get_by_role("button", name="Show").press("Enter")
    assert "within=90" in seen.page.url
    assert seen.page.get_by_label(", due within").input_value() == "90"


def test_wrong_passwords_stay_at_the_form_and_say_so(browser: Browser, service: Service) -> None:
    seen = Visitor(browser.new_context().new_page(), service)
    seen.open("/log-in/?next=/required-checks/")
    seen.page.get_by_label("User name").fill("dispatcher")
    seen.page.get_by_label("Password").fill("not the password")
    seen.page.get_by_role("button", name="Log in").click()
    assert "Nothing was changed." in seen.text
    assert seen.page.get_by_role("alert").is_visible()
