"""Django's own command would make an account without a role: says what to use."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Not used here: set_up begins with a first manager, who invites the others."

    def run_from_argv(self, argv: list[str]) -> None:
        super().run_from_argv(argv[:2])  # whatever else is asked for

    def handle(self, *_args: Any, **_options: Any) -> None:
        raise CommandError(
            "Accounts have a role here, and none is above the manager. The first one comes with `manage.py set_up`, "
            "or in the browser from `manage.py serve`; for who is locked out there is `manage.py people`."
        )
