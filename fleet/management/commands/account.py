"""For who is locked out, from the machine itself: a link that sets a password, and the end of a lost second factor."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from fleet.management.commands.token import user_of
from fleet.presentation.addresses import password_link
from fleet.services.access import forget_second_factor


class Command(BaseCommand):
    help = "Of one account: a link that sets a new password once, or forget a second factor that is lost."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("act", choices=["link", "forget-second-factor"])
        parser.add_argument("user", help="the user name")

    def handle(self, *_args: Any, act: str, user: str, **_options: Any) -> None:
        account = user_of(user)
        if act == "link":
            self.stdout.write(password_link(account))
        else:
            forget_second_factor(user=account, actor=None)
            self.stdout.write("Forgotten. A password alone logs in; a manager is asked for a new second factor first.")
