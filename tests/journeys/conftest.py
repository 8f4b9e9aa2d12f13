"""The running service: gunicorn on a free loopback port over a database file of its own; and a headless browser."""

import json
import os
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.needs import needs_program
from tests.servers import free_port

ROOT = Path(__file__).resolve().parents[2]
STARTS_WITHIN_S = 120
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)


@dataclass(frozen=True)
class Service:
    """`made` has the ids, the roles' passwords and the technician's token."""

    address: str
    environment: dict[str, str]
    made: dict[str, str]

    def drain(self) -> None:
        """Do the background work that is due, in this moment and without a worker."""
        _python(self.environment, "manage.py", "jobs", "drain")


def _python(environment: dict[str, str], *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    var = tmp_path_factory.mktemp("journey")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("FLEET_", "DJANGO_"))}
    environment = kept | {"FLEET_VAR_DIR": str(var), "FLEET_LOG_LEVEL": "WARNING"}
    made = json.loads(_python(environment, "-m", "tests.journeys.installation").splitlines()[-1])
    bind = f"127.0.0.1:{free_port()}"
    command = [sys.executable, "-m", "gunicorn", "fleet.wsgi", "--bind", bind, "--threads", "4", "--log-level", "error"]
    process = subprocess.Popen(command, cwd=ROOT, env=environment)
    try:
        _wait_for(f"http://{bind}/gas-smell/", process)
        yield Service(f"http://{bind}", environment, made)
    finally:
        process.terminate()
        process.wait(timeout=10)


def _wait_for(address: str, process: "subprocess.Popen[bytes]") -> None:
    until = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < until:
        assert process.poll() is None, "the service stopped while starting"
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    pytest.fail(f"nothing answers at {address}")


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser's path."""
    needs_program("chromium")
    return shutil.which("chromium") or ""


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield opened
        opened.close()
