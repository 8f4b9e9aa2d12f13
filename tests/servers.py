"""Throw-away servers for tests: on a free loopback port, as an unprivileged user, stopped by their process id."""

import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parent.parent
STARTS_WITHIN_S = 120


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def postgresql_programs() -> Path | None:
    """The folder of initdb and postgres of the newest installed version."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda each: int(each.parts[4]))
    return found[-1].parent if found else None


@contextmanager
def postgresql() -> Iterator[str]:
    """A fresh cluster; gives the address of its database `fleet`. Full durability, as in service."""
    programs = postgresql_programs()
    assert programs is not None
    with _folder() as folder:
        run = _unprivileged()
        data = folder / "data"
        subprocess.run(
            [*run, programs / "initdb", "-D", data, "-U", "owner", "-A", "trust", "--no-sync"],
            check=True, capture_output=True, cwd=folder,
        )  # fmt: skip
        port = free_port()
        command = [*run, programs / "postgres", "-D", data, "-p", str(port), "-k", folder, "-h", "127.0.0.1"]
        with _process([str(each) for each in command], folder) as process:
            _wait_for_port(port, process)
            address = f"postgres://owner@127.0.0.1:{port}"
            ask = [str(programs / "psql"), f"{address}/postgres", "-q", "-c", "CREATE DATABASE fleet"]
            until(lambda: subprocess.run(ask, capture_output=True, check=False).returncode == 0, "PostgreSQL")
            yield f"{address}/fleet"


@contextmanager
def redis(port: int | None = None) -> Iterator[str]:
    """An empty Redis that keeps nothing; gives its address. At the port of one that stopped it takes its place."""
    port = port or free_port()
    program = shutil.which("redis-server")
    assert program is not None
    with _folder() as folder:
        command = [
            *_unprivileged(),
            program,
            "--port",
            str(port),
            "--bind",
            "127.0.0.1",
            "--save",
            "",
            "--dir",
            str(folder),
        ]
        with _process(command, folder) as process:
            _wait_for_port(port, process)
            yield f"redis://127.0.0.1:{port}/0"


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="fleet-") as name:
        folder = Path(name)
        if os.geteuid() == 0:
            shutil.chown(folder, "nobody")
        yield folder


def _unprivileged() -> list[str]:
    """PostgreSQL refuses to run as root; neither server needs to."""
    return ["setpriv", "--reuid=nobody", "--clear-groups", "--"] if os.geteuid() == 0 else []


@contextmanager
def _process(command: list[str], folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait_for_port(port: int, process: subprocess.Popen[bytes]) -> None:
    def answers() -> bool:
        assert process.poll() is None, f"{process.args!r} ended with {process.returncode}"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", port)) == 0

    until(answers, f"port {port}")


def until(holds: Callable[[], bool], what: str, within_s: float = STARTS_WITHIN_S) -> None:
    """Wait until `holds()` is true; fail saying what was waited for."""
    deadline = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < deadline, f"{what} did not come within {within_s} s"
        time.sleep(0.05)
