"""A stage for chaos: a fresh database and broker, clocks and workers on it, and a look at what they did."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import redis

from tests import servers
from tests.needs import needs_program

FULL = os.environ.get("FLEET_TEST_CHAOS") == "full"
SHAPES = ["sqlite and files", "postgresql and redis"]


@dataclass
class Stage:
    """One installation; `environment` names its database and broker. Every process it starts it also ends."""

    environment: dict[str, str]
    pool: tuple[str, ...]
    crew: subprocess.Popen[str]
    broker: ExitStack = field(default_factory=ExitStack)
    haste: bool = not FULL
    begun: list[int] = field(default_factory=list)

    def start(self, act: str, *given: str, kill_at: str = "") -> int:
        """Its process id."""
        pid = self._told({"act": act, "with": given, "kill_at": kill_at, "haste": self.haste})
        self.begun.append(pid)
        return pid

    def start_worker(self) -> int:
        return self.start("work", "-n", f"crew{len(self.begun)}@%h", *self.pool)

    def wait(self, pid: int) -> int:
        """Its exit status, negative for the signal that killed it."""
        self.begun.remove(pid)
        return self._told({"wait": pid})

    def do(self, act: str, *given: str, kill_at: str = "") -> int:
        return self.wait(self.start(act, *given, kill_at=kill_at))

    def _told(self, order: dict[str, Any]) -> int:
        assert self.crew.stdin is not None and self.crew.stdout is not None
        self.crew.stdin.write(json.dumps(order) + "\n")
        self.crew.stdin.flush()
        answer = self.crew.stdout.readline()
        assert answer, f"the crew is gone: {self.said()}"
        return int(answer)

    def end_all(self, number: int = signal.SIGTERM) -> list[int]:
        """Ask everything that runs to end; the statuses. None is left behind."""
        for pid in self.begun:
            with suppress(ProcessLookupError):
                os.kill(pid, number)
        return [self.wait(pid) for pid in list(self.begun)]

    def clear(self) -> None:
        self.end_all(signal.SIGKILL)
        for table in ("counted_begun", "counted_effect", "fleet_job"):
            self.execute(f"DELETE FROM {table}")
        self.empty_broker()

    # ---- a look at the table ----

    def execute(self, sql: str) -> list[tuple[Any, ...]]:
        address = self.environment.get("FLEET_DATABASE_URL")
        if address:
            with psycopg.connect(address, autocommit=True) as connection:
                cursor = connection.execute(sql.encode())
                return cursor.fetchall() if cursor.description else []
        embedded = sqlite3.connect(self.folder / "fleet.sqlite3", timeout=20, isolation_level=None)
        try:
            return embedded.execute(sql).fetchall()
        finally:
            embedded.close()

    def number(self, sql: str) -> int:
        return int(self.execute(sql)[0][0] or 0)

    def effects(self) -> tuple[int, int]:
        """How many there are, and of how many jobs."""
        ((all_of_them, different),) = self.execute("SELECT count(*), count(DISTINCT job_key) FROM counted_effect")
        return int(all_of_them), int(different)

    def in_flight(self, worker: int) -> int:
        """Jobs that this worker or a child of it began and that have no effect yet."""
        return self.number(
            f"SELECT count(*) FROM counted_begun WHERE (pid = {worker} OR ppid = {worker}) "
            "AND job_key NOT IN (SELECT job_key FROM counted_effect)"
        )

    def unended(self) -> int:
        return self.number("SELECT count(*) FROM fleet_job WHERE state <> 'done'")

    # ---- the broker ----

    @property
    def folder(self) -> Path:
        return Path(self.environment["FLEET_VAR_DIR"])

    def empty_broker(self) -> int:
        """Everything that the broker holds is gone; how many messages that were."""
        if address := self.environment.get("FLEET_BROKER_URL"):
            with redis.Redis.from_url(address) as broker:
                held = int(broker.llen("celery")) + int(broker.hlen("unacked"))
                broker.flushall()
                return held
        messages = list((self.folder / "broker").glob("*.msg"))
        for each in messages:
            each.unlink(missing_ok=True)
        return len(messages)

    def start_broker(self) -> None:
        """Again, where it was: an empty one."""
        port = int(self.environment["FLEET_BROKER_URL"].rpartition(":")[2].partition("/")[0])
        self.broker.enter_context(servers.redis(port))

    def stop_broker(self) -> None:
        self.broker.close()

    def said(self) -> str:
        """The end of what the crew wrote, for a failure's message."""
        log = self.folder / "crew.log"
        return log.read_text()[-3000:] if log.exists() else ""


@contextmanager
def stage(shape: str, folder: Path) -> Iterator[Stage]:
    """A stage of this shape with its database made; its processes and servers end with it."""
    environment = os.environ | {"FLEET_VAR_DIR": str(folder), "FLEET_LOG_LEVEL": "WARNING"}
    if shape == SHAPES[0]:
        with _set(environment, ("-P", "threads", "-c", "2")) as ready:
            yield ready
        return
    needs_program("postgres")
    needs_program("redis-server")
    with servers.postgresql() as database, ExitStack() as broker:
        environment |= {"FLEET_DATABASE_URL": database, "FLEET_BROKER_URL": broker.enter_context(servers.redis())}
        with _set(environment, ("-P", "prefork", "-c", "2")) as ready:
            ready.broker = broker
            yield ready


@contextmanager
def _set(environment: dict[str, str], pool: tuple[str, ...]) -> Iterator[Stage]:
    with open(Path(environment["FLEET_VAR_DIR"]) / "crew.log", "ab") as log:
        crew = subprocess.Popen(
            [sys.executable, "-m", "tests.chaos.crew"], cwd=servers.REPOSITORY, env=environment, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log,
        )  # fmt: skip
    ready = Stage(environment, pool, crew)
    try:
        assert ready.do("set up") == 0, ready.said()
        yield ready
    finally:
        if crew.poll() is None:
            ready.end_all(signal.SIGKILL)
        crew.communicate(timeout=60)
