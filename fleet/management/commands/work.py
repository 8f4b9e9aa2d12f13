"""Drain due jobs without a broker, in this process."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from fleet import clock, tasks
from fleet.services import jobs


class Command(BaseCommand):
    help = "Run due jobs one after the other until none is due. Needs no broker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--most", type=int, default=100_000, help="stop after so many")

    def handle(self, *_args: Any, most: int, **_options: Any) -> None:
        done, progress = 0, True
        while progress and done < most:
            ids = list(jobs.due_jobs(now=clock.now()).values_list("id", flat=True)[: most - done])
            ran = sum(tasks.run_job(each) for each in ids)
            done, progress = done + ran, ran > 0
        self.stdout.write(f"{done} jobs done.")
