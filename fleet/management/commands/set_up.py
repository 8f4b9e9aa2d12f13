"""Make the database ready; on an empty one begin the installation: the demo, or a contractor of one's own."""

import getpass
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from fleet import clock
from fleet.errors import FleetError
from fleet.migration_history import refuse_unknown_history
from fleet.models import Contractor
from fleet.presentation.codes import wrong_text
from fleet.services.contractor import begin_with_manager


class Command(BaseCommand):
    help = "Migrate, gather static files, and on an empty database load the demo (--demo) or ask for the contractor."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--demo", action="store_true", help="load the demonstration contractor if empty")
        parser.add_argument("--in-browser", action="store_true", help="ask nothing: serve leads on in the browser")

    def handle(self, *_args: Any, demo: bool, in_browser: bool, **_options: Any) -> None:
        refuse_unknown_history("default")
        call_command("migrate", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        if Contractor.objects.exists():
            return
        if demo and settings.SERVED:
            raise CommandError("The demo is for FLEET_SHAPE=embedded; it is not loaded into a served installation.")
        if demo:
            call_command("load_demo", stdout=self.stdout)
        elif not in_browser:
            self._ask()

    def _ask(self) -> None:
        self.stdout.write("A new installation. Whose is it, and who is its first manager?")
        name = input("Contractor's name: ").strip()
        numbers = input("Numbers to call on a gas smell, by comma: ")
        username = input("Manager's user name: ").strip()
        person = input("Manager's full name: ").strip()
        password = getpass.getpass("Manager's password (12 characters or more): ")
        try:
            begin_with_manager(
                contractor=name,
                emergency_numbers=[each.strip() for each in numbers.split(",") if each.strip()],
                username=username,
                person=person,
                password=password,
                now=clock.now(),
            )
        except FleetError as refused:
            raise CommandError(
                " ".join([refused.message, *(f"{path} {wrong_text(said)}." for path, said in refused.errors.items())])
            ) from refused
