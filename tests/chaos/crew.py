"""Run as a program: starts clocks and workers of the service as told, with one more kind of work, whose effects count.

Each is forked off this one process, which has imported everything once. Orders come as lines of JSON:
{"act": ..., "with": [...], "kill_at": a failpoint, "haste": false} gives a process id, {"wait": id} its exit status.
"""

import ctypes
import importlib
import json
import os
import signal
import sys
import threading
import time
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

import django

django.setup()

from celery.bin.celery import celery as command_line
from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from rest_framework.test import APIClient

from fleet import clock, failpoints, tasks, timetable, worker
from fleet.models import Client, Contractor, Job, Role, User
from fleet.services import jobs
from fleet.services.contractor import begin_installation
from tests import cast

KIND = "counted"
LASTS_S = 0.4
KILLED = 9
# Imported before the first fork, so that no child has to.
USED_BY_WORKERS = ("celery.apps.worker", "celery.bin.worker", "celery.concurrency.prefork", "celery.concurrency.thread",
                   "kombu.transport.filesystem", "kombu.transport.redis")  # fmt: skip
PR_SET_PDEATHSIG = 1


class NoMigrations(dict[str, None]):
    """The tables as the models have them, made at once: the migrations have tests of their own."""

    def __contains__(self, _app: object) -> bool:
        return True

    def __getitem__(self, _app: str) -> None:
        return None


def set_up() -> None:
    """An empty database with two tables of the test's own: nothing in them keeps an effect from standing twice."""
    settings.MIGRATION_MODULES = NoMigrations()
    call_command("migrate", run_syncdb=True, verbosity=0)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE counted_begun (job_key text, pid integer, ppid integer)")
        cursor.execute("CREATE TABLE counted_effect (job_key text)")


def counted(job: Job) -> tasks.Effect:
    """Calculate for a while, then leave one row. That it began is on record before, in a transaction of its own."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO counted_begun (job_key, pid, ppid) VALUES (%s, %s, %s)", [job.key, os.getpid(), os.getppid()]
        )
    time.sleep(LASTS_S if job.key != "long" else 60.0)
    return lambda: leave_effect(job.key)


def leave_effect(key: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO counted_effect (job_key) VALUES (%s)", [key])


def request(count: str) -> None:
    """Each asked for twice, by two threads at once."""
    start = threading.Barrier(2)

    def ask() -> None:
        start.wait()
        for number in range(int(count)):
            jobs.request_job(kind=KIND, key=str(number), due_at=clock.now())
        connection.close()

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()


def request_named(key: str) -> None:
    """Within the transaction of something else, as a service does."""
    with transaction.atomic():
        jobs.request_job(kind=KIND, key=key, due_at=clock.now())


def run(job_id: str) -> None:
    tasks.run_job(uuid.UUID(job_id))


def post_visits(count: str, to: str) -> None:
    """Visits through the API, one after the other; the milliseconds of each, as a list in a file."""
    if not Contractor.objects.exists():
        begin_installation(name="T", address="", emergency_numbers=[], is_demo=False, now=cast.NOON)
        cast.make_user("technician", Role.TECHNICIAN)
    technician = User.objects.get(username="technician")
    building = cast.make_building(Client.objects.create(name=to), to)
    appliance = cast.make_appliance(building, cast.make_sheet(technician, name=to))
    person, analyser = cast.make_person(to, None, technician), cast.make_analyser(technician)
    browser = APIClient(SERVER_NAME="127.0.0.1")
    browser.force_authenticate(technician)
    took = []
    for _visit in range(int(count)):
        body, began = cast.visit_body(appliance, person, analyser), time.monotonic()
        assert browser.post("/api/v1/visits", body, format="json").status_code == 201
        took.append(1000 * (time.monotonic() - began))
    (settings.VAR_DIR / to).write_text(json.dumps(took))


def tick_each_second() -> None:
    timetable.TIMETABLE[KIND] = timedelta(seconds=1)
    Contractor.objects.get_or_create(id=1, defaults={"name": "Chaos Heating"})  # before it begins nothing is due
    call_command("clock")


def work(*arguments: str) -> None:
    plain = ["--without-gossip", "--without-mingle", "--without-heartbeat", "-l", "WARNING"]
    command_line.main(["-A", "fleet.worker", "worker", *arguments, *plain])


def work_deaf(*arguments: str) -> None:
    worker.is_deaf, worker.LISTENS_EACH_S = lambda: True, 0.5
    work(*arguments)


ACTS: dict[str, Callable[..., object]] = {
    "set up": set_up,
    "request": request,
    "request named": request_named,
    "scan": worker.scan,
    "run": run,
    "clock": lambda: call_command("clock"),
    "post visits": post_visits,
    "tick each second": tick_each_second,
    "work": work,
    "work deaf": work_deaf,
}


def hurry() -> None:
    """Work, claims and waits short enough for a short run to see them end."""
    global LASTS_S
    jobs.CLAIM, jobs.REPUBLISH = timedelta(seconds=3), timedelta(seconds=3)
    tasks.RENEWS_EACH_S, worker.LEFT_LYING = 1.0, timedelta(seconds=2)
    LASTS_S = 0.15


def begin(order: dict[str, Any]) -> int:
    """Fork; the child does its act and ends with its status. It ends with this process too."""
    sys.stdout.flush()
    if pid := os.fork():
        return pid
    status = 1
    try:
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        if order.get("haste"):
            hurry()
        if point := order.get("kill_at"):
            failpoints.arm(point, lambda: os._exit(KILLED))
        ACTS[order["act"]](*order.get("with", []))
        status = 0
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else 0
    finally:
        os._exit(status)


def main() -> None:
    for name in USED_BY_WORKERS:
        importlib.import_module(name)
    tasks.HANDLERS[KIND] = counted
    timetable.TIMETABLE.clear()
    for line in sys.stdin:
        order = json.loads(line)
        answer = os.waitstatus_to_exitcode(os.waitpid(order["wait"], 0)[1]) if "wait" in order else begin(order)
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()


main()
