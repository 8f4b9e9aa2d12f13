"""Coming in, in a browser: second factor, recovery code, passkey, a new password, and the end of a log-in."""

import re
import time

from allauth.mfa.totp.internal.auth import hotp_value
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.journeys.conftest import Service

NEW = "four words put together here"


class Person:
    """Somebody's browser, at the address that has a name; with what it complained about."""

    def __init__(self, browser: Browser, service: Service, name: str, password: str) -> None:
        self.home = service.address.replace("127.0.0.1", "localhost")
        self.context: BrowserContext = browser.new_context(viewport={"width": 360, "height": 800})
        self.page: Page = self.context.new_page()
        self.name, self.password, self.complaints = name, password, list[str]()
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def open(self, path: str) -> None:
        self.page.goto(f"{self.home}{path}")

    def log_in(self) -> None:
        self.open("/log-in/")
        self.look()
        self.page.get_by_label("User name").fill(self.name)
        self.page.get_by_label("Password").fill(self.password)
        self.press("Log in")

    def look(self) -> None:
        """What a page of this journey has against those who can't see or point."""
        found = Axe().run(self.page).response["violations"]
        assert [(each["id"], each["nodes"][0]["html"]) for each in found] == [], self.page.url

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()
        self.page.wait_for_load_state()
        self.look()

    def touch(self, name: str, leads_to: str) -> None:
        """Press what asks for a passkey first, and then leads on."""
        self.page.get_by_role("button", name=name, exact=True).click()
        self.page.wait_for_url(f"{self.home}{leads_to}")
        self.look()

    def follow(self, name: str) -> None:
        self.page.get_by_role("link", name=name, exact=True).click()
        self.page.wait_for_load_state()
        self.look()

    def fill(self, label: str, value: str) -> None:
        self.page.get_by_label(label, exact=True).fill(value)

    @property
    def text(self) -> str:
        return " ".join(self.page.locator("main").inner_text().split())

    @property
    def is_in(self) -> bool:
        self.open("/account/")
        return self.page.url == f"{self.home}/account/"

    def put_in_an_authenticator(self) -> None:
        """One that knows its owner, as a phone or a laptop has it."""
        tools = self.context.new_cdp_session(self.page)
        tools.send("WebAuthn.enable")
        options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
        options |= {"isUserVerified": True, "automaticPresenceSimulation": True}
        tools.send("WebAuthn.addVirtualAuthenticator", {"options": options})


def code(secret: str, later: int = 0) -> str:
    return f"{hotp_value(secret, int(time.time()) // 30 + later):06d}"


def test_a_manager_sets_up_and_uses_every_way_in(browser: Browser, service: Service) -> None:
    ada = Person(browser, service, "manager", service.made["manager"])
    ada.log_in()
    ada.open("/account/")
    ada.follow("Set up an authenticator app")
    secret = ada.page.locator("b.code").inner_text().replace(" ", "")
    ada.press("Copy the key")
    assert ada.page.get_by_role("button", name="Copied").count() == 1
    ada.fill("Authenticator code", code(secret))
    ada.press("Set it up")
    recovery = re.findall(r"\b\d{8}\b", ada.text)
    assert len(recovery) == 10
    ada.press("Log out")

    ada.log_in()
    assert "Your second factor" in ada.text
    ada.fill("Code", code(secret, later=1))
    ada.press("Log in")
    ada.press("Log out")
    ada.log_in()
    ada.fill("Code", recovery[0])
    ada.press("Log in")

    ada.put_in_an_authenticator()
    ada.open("/account/")
    ada.follow("Make a passkey")
    if "Is it you?" in ada.text:
        ada.fill("Password", ada.password)
        ada.press("Go on")
    ada.touch("Make it", "/account/")
    assert "The passkey Passkey 1" in ada.text
    ada.press("Log out")
    ada.touch("Log in with a passkey", "/")
    assert ada.is_in
    ada.open("/account/")
    if (others := ada.page.get_by_role("button", name="End all others")).count():  # of other journeys
        others.click()

    bo = Person(browser, service, "manager", ada.password)
    bo.log_in()
    bo.fill("Code", recovery[1])
    bo.press("Log in")
    assert bo.is_in
    ada.open("/account/")
    assert "You are logged in at 2 places" in ada.text
    ada.page.get_by_role("button", name=re.compile("^End Chrome on Linux")).click()
    assert "That log-in has ended." in ada.page.locator("body").inner_text()
    assert not bo.is_in

    ada.follow("Change your password")
    ada.fill("Old password", ada.password)
    ada.fill("New password", NEW)
    ada.fill("New password again", NEW)
    ada.press("Change it")
    assert "Your password is changed." in ada.page.locator("body").inner_text()
    ada.press("Log out")
    ada.log_in()
    assert "are not correct together" in ada.text
    ada.password = NEW
    ada.log_in()
    assert "Your second factor" in ada.text
    assert ada.complaints == bo.complaints == []
