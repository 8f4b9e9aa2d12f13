"""From an empty installation to a second user logged in, at 360 px; and the end of that one's access."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.journeys.conftest import ROOT, Service, wait_for
from tests.journeys.test_logging_in import Person, code
from tests.servers import free_port

PASSWORD, HERS = "four words put together here", "another four words for one"


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Service]:
    """`make run DEMO=0`; `made` has the code that the service prints."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("FLEET_", "DJANGO_"))}
    port = free_port()
    environment = kept | {"FLEET_VAR_DIR": str(tmp_path), "FLEET_LOG_LEVEL": "ERROR", "FLEET_BIND_PORT": str(port)}
    command = [sys.executable, "manage.py"]
    subprocess.run([*command, "set_up", "--in-browser"], cwd=ROOT, env=environment, check=True)
    process = subprocess.Popen([*command, "serve"], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout
        printed = process.stdout.readline() + process.stdout.readline()
        found = re.search(r"works once: (\S+)", printed)
        assert found, printed
        wait_for(f"http://127.0.0.1:{port}/gas-smell/", process)
        yield Service(f"http://127.0.0.1:{port}", environment, {"code": found[1]})
    finally:
        process.terminate()
        process.wait(timeout=15)


def test_an_empty_installation_leads_to_a_second_person_logged_in(browser: Browser, empty: Service) -> None:
    bo = Person(browser, empty, "bo", PASSWORD)
    bo.open("/")
    bo.look()
    assert "Whose installation is it" in bo.text
    first = {
        "The code that the service printed when it started": empty.made["code"],
        "The contractor's name": "Own Heating",
        "Numbers to call on a gas smell, by comma": "000",
        "Your full name": "Bo Boss",
        "Your user name, without spaces": bo.name,
        "Your password, twelve characters or more": PASSWORD,
    }
    for label, value in first.items():
        bo.fill(label, value)
    bo.press("Begin")
    secret = bo.page.locator("b.code").inner_text().replace(" ", "")
    bo.fill("Authenticator code", code(secret))
    bo.press("Set it up")
    bo.follow("Then invite the others")

    bo.fill("Name", "Ada Test")
    bo.fill("User name", "ada")
    bo.page.get_by_label("Role").select_option("dispatcher")
    bo.page.get_by_label("all clients, now and to come").check()
    bo.press("Invite")
    link = re.search(r"http://\S+/new-password/\S+", bo.text)
    assert link, bo.text

    ada = Person(browser, empty, "ada", HERS)
    ada.page.goto(link[0].replace("127.0.0.1", "localhost"))
    ada.look()
    ada.fill("New password", HERS)
    ada.fill("New password again", HERS)
    ada.press("Set it")
    ada.log_in()
    assert ada.is_in

    bo.open("/begin/")
    assert "Whose installation" not in bo.text
    bo.open("/people/")
    bo.look()
    assert "2 people can log in" in bo.text
    bo.follow("Ada Test")
    bo.press("End the access now")
    assert not ada.is_in
    assert bo.complaints == ada.complaints == []
