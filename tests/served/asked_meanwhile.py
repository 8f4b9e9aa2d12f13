"""Run as a program on PostgreSQL: work is asked for while the same work is being taken up or finished.

A request made in a transaction is lost where the only run of that work did not see what the transaction wrote. Prints
for each way of asking and each moment whether the run saw it, and how many rows of that work wait afterwards.
"""

import json
import os
import threading
import time
from collections.abc import Callable

os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"

import django

django.setup()

from django.db import connection, transaction

from fleet.models import Client, Job
from fleet.services import jobs
from tests.cast import NOON

KIND, KEY = "refresh_appliance", "one"
GIVES_UP_S = 60.0
Ask = Callable[[], None]


def main() -> None:
    said = {"vendor": connection.vendor}
    for name, ask in (("one", ask_one), ("many", ask_many)):
        said[f"{name}, before it is taken up"] = before_it_is_taken_up(ask)
        said[f"{name}, just before it is done"] = just_before_it_is_done(ask)
    print(json.dumps(said))


def ask_one() -> None:
    jobs.request_job(kind=KIND, key=KEY, due_at=NOON)


def ask_many() -> None:
    jobs.request_jobs(kind=KIND, keys=[KEY], due_at=NOON)


class Run(threading.Thread):
    """The waiting row claimed, done and finished by a worker in a session of its own."""

    def __init__(self) -> None:
        super().__init__()
        Job.objects.all().delete()
        Client.objects.all().delete()
        ask_one()
        self.job_id, self.saw = Job.objects.get().id, False

    def run(self) -> None:
        job = jobs.claim_job(job_id=self.job_id, now=NOON)
        assert job is not None
        self.saw = Client.objects.exists()
        with transaction.atomic():
            jobs.finish_job(job=job, now=NOON)
        connection.close()

    def outcome(self) -> list[object]:
        self.join()
        return [self.saw, Job.objects.filter(state=Job.State.WAITING).count()]


def before_it_is_taken_up(ask: Ask) -> list[object]:
    """Asked while it waits; a worker takes it before the asking transaction ends."""
    run = Run()
    with transaction.atomic():
        Client.objects.create(name="what it is asked for")
        ask()
        run.start()
        ends = time.monotonic() + GIVES_UP_S
        while run.is_alive() and not somebody_waits_for_a_lock() and time.monotonic() < ends:
            time.sleep(0.01)
    return run.outcome()


def somebody_waits_for_a_lock() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return bool(cursor.fetchone()[0])


def just_before_it_is_done(ask: Ask) -> list[object]:
    """It waits when the asking begins, and has been done when the asking looks at what waits."""
    run, look = Run(), jobs._held

    def look_late(kind: str, keys: list[str]) -> set[str]:
        jobs._held = look
        run.start()
        run.join()
        return look(kind, keys)

    jobs._held = look_late
    with transaction.atomic():
        Client.objects.create(name="what it is asked for")
        ask()
    return run.outcome()


main()
