"""Project all records again, or only compare."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.assess import projections
from fleet.services.projections import rebuild


class Command(BaseCommand):
    help = "Project every record again. With --check: change nothing, list what differs, exit 1 if anything does."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="compare only")

    def handle(self, *_args: Any, check: bool, **_options: Any) -> None:
        if not check:
            self.stdout.write(f"{rebuild()} records projected.")
            return
        differences = list(projections.check())
        for each in differences[:50]:
            self.stdout.write(f"record {each.record_id}: {each.table} {each.row_id}: {each.what}")
        if differences:
            raise CommandError(f"{len(differences)} differences.")
        self.stdout.write("Records and rows are equal.")
