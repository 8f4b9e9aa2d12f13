"""The whole service as one command: it answers, its worker does the work behind a visit, and it stops cleanly."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
import requests

from tests import servers
from tests.needs import needs_program

SET_UP = """
import django; django.setup()
from fleet.models import Client, Role
from fleet.services.access import create_user
from fleet.services.contractor import begin_installation
from tests import cast
import json
begin_installation(name="Test Heating", address="", emergency_numbers=[], is_demo=False, now=cast.NOON)
user = create_user(username="ada", password="a-long-test-password", role=Role.TECHNICIAN, name="Ada Test")
appliance = cast.make_appliance(cast.make_building(Client.objects.create(name="Weir Trust")), cast.make_sheet(user))
body = cast.visit_body(appliance, cast.make_person("Bo", None, user), cast.make_analyser(user))
from fleet.models import ApiToken
_token, secret = ApiToken.objects.create(user=user, name="test", scope="write")
print(json.dumps({"body": body, "token": secret, "appliance": str(appliance.id)}))
"""


CANARY = "canary0123456789canary"
# A secret address; and what the web server itself refuses.
UNREADABLE = [
    f"GET /calendar/{CANARY}.ics HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    f"GET /new-password/MQ/{CANARY} x/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    f"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization Bearer flt_{CANARY}\r\n\r\n",
    f"{CANARY}\r\n\r\n",
]


@pytest.fixture(params=["embedded", "postgresql and redis"])
def surroundings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[dict[str, str]]:
    """Environment of an embedded installation, and of one on PostgreSQL with Redis."""
    base = os.environ | {"FLEET_VAR_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "fleet.settings"}
    base["FLEET_BIND_PORT"] = str(servers.free_port())
    if request.param == "embedded":
        yield base
        return
    needs_program("postgres")
    needs_program("redis-server")
    with servers.postgresql() as database, servers.redis() as broker:
        yield base | {"FLEET_DATABASE_URL": database, "FLEET_BROKER_URL": broker}


def run(arguments: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=servers.REPOSITORY, env=environment, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def test_a_visit_posted_is_forecast_by_the_worker_and_ctrl_c_stops_everything(surroundings: dict[str, str]) -> None:
    import json

    run(["manage.py", "migrate", "-v0"], surroundings)
    run(["manage.py", "collectstatic", "--noinput", "-v0"], surroundings)
    made = json.loads(run(["-c", SET_UP], surroundings).splitlines()[-1])
    service = subprocess.Popen(
        [sys.executable, "manage.py", "serve"], cwd=servers.REPOSITORY, env=surroundings,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    try:
        home = f"http://127.0.0.1:{surroundings['FLEET_BIND_PORT']}"
        servers.until(lambda: _status(f"{home}/log-in/") == 200, "the log-in page")
        headers = {"Authorization": f"Bearer {made['token']}"}
        assert requests.post(f"{home}/api/v1/visits", json=made["body"], headers=headers, timeout=10).status_code == 201
        address = f"{home}/api/v1/forecasts?appliance={made['appliance']}"
        servers.until(
            lambda: len(requests.get(address, headers=headers, timeout=10).json()["results"]) == 4,
            "two forecasts of CO2, two of CO",
        )
        assert {_status(address, **headers) for _each in range(6)} == {200}
        run(
            ["manage.py", "people", "end", "ada"], surroundings
        )  # a process of its own: those that serve are two others
        assert {_status(address, **headers) for _each in range(6)} == {401}
        for line in UNREADABLE:
            with socket.create_connection(("127.0.0.1", int(surroundings["FLEET_BIND_PORT"])), timeout=10) as caller:
                caller.sendall(line.encode())
                assert caller.recv(100).split()[1] in (b"400", b"404")
        children = psutil.Process(service.pid).children(recursive=True)
        service.send_signal(signal.SIGINT)
        assert service.wait(90) == 0  # that it takes 5 s at most is held by `make chaos`, with nothing beside it
        servers.until(lambda: not any(each.is_running() for each in children), "every process to end")
        assert service.stdout is not None
        said = service.stdout.read().decode()
        assert "GET /calendar/..." in said
        assert CANARY not in said and made["token"] not in said
    finally:
        if service.poll() is None:
            service.kill()


def _status(address: str, **headers: str) -> int:
    try:
        return requests.get(address, headers=headers, timeout=5).status_code
    except requests.RequestException:
        return 0
