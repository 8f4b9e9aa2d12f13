"""Background work in hand: look at it, retry, cancel, or drain it in this process without a broker."""

import time
import uuid
from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet import clock, tasks
from fleet.assess.jobs import due_jobs
from fleet.errors import FleetError
from fleet.models import Job
from fleet.services import jobs

SHOWN = ("id", "kind", "key", "args", "state", "tries", "due_at", "published_at", "carrier", "claimed_at",
         "claimed_until", "progress", "cancel_requested", "failed_at", "last_error",
         "finished_at", "parent_id")  # fmt: skip


class Command(BaseCommand):
    help = "Background work: list, show, retry, cancel, or drain it here. None of these needs a broker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        acts = parser.add_subparsers(dest="act", required=True)
        listed = acts.add_parser("list", help="one line a job, the soonest first")
        listed.add_argument("--state", choices=Job.State.values, action="append", help="may be given again")
        listed.add_argument("--kind")
        listed.add_argument("--limit", type=_count, default=50)
        for act, said in (
            ("show", "all that is known of a job"),
            ("retry", "failed or cancelled work waits again"),
            ("cancel", "what waits or has failed ends; what runs stops before its effect"),
        ):
            acts.add_parser(act, help=said).add_argument("id", type=_job_id)
        drained = acts.add_parser("drain", help="run due work here, one after the other, until none is due")
        drained.add_argument("--limit", type=_count, help="stop after so many jobs")
        drained.add_argument("--for-seconds", type=float, help="begin none after so many seconds")
        drained.add_argument("--kind", help="only this kind")

    def handle(self, *_args: Any, act: str, **options: Any) -> None:
        acts: dict[str, Callable[..., None]] = {
            "list": self._list, "show": self._show, "retry": self._retry, "cancel": self._cancel, "drain": self._drain
        }  # fmt: skip
        acts[act](**options)

    def _list(self, *, state: list[str] | None, kind: str | None, limit: int, **_options: Any) -> None:
        rows = Job.objects.filter(state__in=state or [Job.State.WAITING, Job.State.RUNNING, Job.State.FAILED])
        rows = rows.filter(kind=kind) if kind else rows
        for job in rows.order_by("due_at", "id")[:limit]:
            self.stdout.write(_line(job))
        self.stdout.write(f"{min(limit, rows.count())} of {rows.count()} jobs.")

    def _show(self, *, id: uuid.UUID, **_options: Any) -> None:
        job = _job(id)
        for name in SHOWN:
            self.stdout.write(f"{name:<16} {getattr(job, name)}")

    def _retry(self, *, id: uuid.UUID, **_options: Any) -> None:
        self.stdout.write(_line(_done(jobs.retry_job, id)))

    def _cancel(self, *, id: uuid.UUID, **_options: Any) -> None:
        self.stdout.write(_line(_done(jobs.cancel_job, id)))

    def _drain(self, *, limit: int | None, for_seconds: float | None, kind: str | None, **_options: Any) -> None:
        ends = None if for_seconds is None else time.monotonic() + for_seconds
        done, tried, progress = 0, 0, True
        while progress:
            progress = False
            due = due_jobs(clock.now())
            for job_id in list((due.filter(kind=kind) if kind else due).values_list("id", flat=True)[:1000]):
                if tried == limit or (ends is not None and time.monotonic() >= ends):
                    self._say(done, tried)
                    return
                ran = tasks.run_job(job_id, Job.Carrier.HAND)
                done, tried, progress = done + ran, tried + 1, progress or ran
        self._say(done, tried)

    def _say(self, done: int, tried: int) -> None:
        left = due_jobs(clock.now()).count()
        self.stdout.write(f"{done} done, {tried - done} not done or taken by others, {left} still due.")


def _job_id(given: str) -> uuid.UUID:
    try:
        return uuid.UUID(given)
    except ValueError as bad:
        raise CommandError(f"id is {given[:60]!r}; it must be the id of a job, as `jobs list` prints it.") from bad


def _count(given: str) -> int:
    if not (given.isascii() and given.isdigit() and int(given) > 0):
        raise CommandError(f"limit is {given[:20]!r}; it must be a whole number above 0.")
    return int(given)


def _job(id: uuid.UUID) -> Job:
    job = Job.objects.filter(id=id).first()
    if job is None:
        raise CommandError(f"There is no job {id}.")
    return job


def _done(act: Callable[..., Job], id: uuid.UUID) -> Job:
    try:
        return act(job=_job(id), now=clock.now())
    except FleetError as refused:
        raise CommandError(refused.message) from refused


def _line(job: Job) -> str:
    error = f"  {job.last_error.splitlines()[0][:100]}" if job.last_error else ""
    return f"{job.id}  {job.state:<9}  {job.due_at:%Y-%m-%d %H:%M:%S}Z  tries {job.tries}  {job.kind} {job.key}{error}"
