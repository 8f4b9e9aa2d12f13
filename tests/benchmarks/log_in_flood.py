"""A page read by somebody at work while others try to log in: 40 at one account, then 16 with made-up names.

The service as it is served (two processes, their threads), over an installation of its own; who tries is a process
besides, on the same machine, so that the figure says too much rather than too little. The peer, in the same run: the
same page while nobody tries.
"""

import http.client
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from tests.benchmarks.form import checked, table
from tests.servers import free_port, until

ROOT = Path(__file__).parents[2]
READ_S = 10.0
READ = "/required-checks/"
MOST_TIMES_SLOWER = 2.0
MOST_HASHES = 10


def figures() -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {"FLEET_VAR_DIR": folder, "FLEET_LOG_LEVEL": "ERROR"}
        with _service(environment) as (port, made):
            session = _log_in(port, "dispatcher", made["dispatcher"])
            _reads(port, session, 2.0)
            quiet = _reads(port, session, READ_S)
            one, counts = _tried(port, session, environment, threads=40, name="manager")
            names, _counts = _tried(port, session, environment, threads=16, name="")
    return [
        _slower("web.read_while_names_are_tried", names, quiet),
        _slower("web.read_while_one_account_is_tried", one, quiet),
        checked(
            {
                "name": "web.hashes_of_40_at_one_account",
                "value": float(counts.get("200", 0)),
                "unit": "hashes",
                "goal": f"at most {MOST_HASHES}",
                "met": counts.get("200", 0) <= MOST_HASHES,
            }
        ),
    ]


def _slower(name: str, ms: float, quiet_ms: float) -> dict[str, Any]:
    goal = f"at most {MOST_TIMES_SLOWER:g} times the quiet one"
    said = {"name": name, "value": ms, "unit": "ms", "ratio_to": "nobody tries", "ratio": quiet_ms / ms}
    return checked(said | {"goal": goal, "met": ms <= MOST_TIMES_SLOWER * quiet_ms})


@contextmanager
def _service(environment: dict[str, str]) -> Iterator[tuple[int, dict[str, str]]]:
    begun = subprocess.run(
        [sys.executable, "-m", "tests.journeys.installation"],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    port = free_port()
    command = [
        "gunicorn",
        "fleet.wsgi",
        "--bind",
        f"127.0.0.1:{port}",
        "--workers",
        "2",
        "--threads",
        "32",
        "--preload",
    ]
    served = subprocess.Popen([sys.executable, "-m", *command], cwd=ROOT, env=environment, stderr=subprocess.DEVNULL)
    try:
        until(lambda: _answers(port), "the log-in page")
        yield port, json.loads(begun.stdout.splitlines()[-1])
    finally:
        served.terminate()
        served.wait(20)


def _answers(port: int) -> bool:
    try:
        return bool(_Visitor(port).token)
    except OSError:
        return False


class _Visitor:
    """Somebody before the log-in's form."""

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.connection.request("GET", "/log-in/")
        page = self.connection.getresponse()
        self.cookie = str(page.headers["Set-Cookie"]).split(";")[0]
        self.token = re.findall(r'csrfmiddlewaretoken" value="(\w+)"', page.read().decode())[0]

    def send(self, name: str, password: str) -> http.client.HTTPResponse:
        body = urlencode({"login": name, "password": password, "csrfmiddlewaretoken": self.token})
        headers = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": self.cookie}
        self.connection.request("POST", "/log-in/", body, headers)
        answer = self.connection.getresponse()
        answer.read()
        return answer


def _log_in(port: int, name: str, password: str) -> str:
    cookies = _Visitor(port).send(name, password).headers.get_all("Set-Cookie") or []
    return next(each.split(";")[0] for each in cookies if each.startswith("session="))


def _reads(port: int, session: str, for_s: float) -> float:
    """Median of a page [ms], asked for twenty times a second."""
    connection, took, ends = http.client.HTTPConnection("127.0.0.1", port, timeout=60), [], time.monotonic() + for_s
    while time.monotonic() < ends:
        began = time.perf_counter()
        connection.request("GET", READ, headers={"Cookie": session})
        answer = connection.getresponse()
        answer.read()
        assert answer.status == 200
        took.append((time.perf_counter() - began) * 1000)
        time.sleep(0.05)
    return statistics.median(took)


def _tried(
    port: int, session: str, environment: dict[str, str], *, threads: int, name: str
) -> tuple[float, dict[str, int]]:
    """The read's median meanwhile [ms], and how the tries were answered."""
    command = [sys.executable, "-m", "tests.benchmarks.log_in_flood", str(port), str(threads), name]
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as trying:
        time.sleep(1)
        ms = _reads(port, session, READ_S)
        return ms, json.loads(trying.communicate()[0])


def flood(port: int, threads: int, name: str) -> Counter[int]:
    """Tries without a pause for a little longer than is read; how they were answered, by status."""
    ends, counts = time.monotonic() + READ_S + 2, Counter[int]()

    def attempt(number: int) -> None:
        visitor, tried = _Visitor(port), 0
        while time.monotonic() < ends:
            counts[visitor.send(name or f"name {number} {tried}", "wrong").status] += 1
            tried += 1

    all_of_them = [threading.Thread(target=attempt, args=(number,)) for number in range(threads)]
    for each in all_of_them:
        each.start()
    for each in all_of_them:
        each.join()
    return counts


if __name__ == "__main__":
    if len(sys.argv) > 1:
        sys.stdout.write(json.dumps(flood(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3])))
    else:
        sys.stdout.write(table(figures()) + "\n")
