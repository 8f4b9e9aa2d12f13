"""In place of Django's own command, which would make somebody without a role, who sees nothing."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Nobody is above the roles here: see manage.py people."

    def run_from_argv(self, argv: list[str]) -> None:
        super().run_from_argv(argv[:2])  # whatever else is asked for

    def handle(self, *_args: Any, **_options: Any) -> None:
        raise CommandError(
            "Nobody is above the roles here. `manage.py set_up` makes the first manager of an empty installation; "
            '`manage.py people invite USER "NAME"` invites another one and prints the link.'
        )
