"""Load the demonstration contractor into an empty database."""

import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet import clock, demo
from fleet.models import Contractor


class Command(BaseCommand):
    help = "An invented contractor after a year with the service. Only into an empty, embedded installation."

    def handle(self, *_args: Any, **_options: Any) -> None:
        if settings.SERVED or Contractor.objects.exists():
            raise CommandError("The demo goes only into an empty installation with FLEET_SHAPE=embedded.")
        begun = time.monotonic()
        self.stdout.write("Loading the demonstration: everything in it is invented. It takes about a minute.")
        accounts = demo.load_demo(now=clock.now(), say=self._say)
        kept = settings.VAR_DIR / "demo-accounts.txt"
        kept.touch(mode=0o600)
        kept.write_text("".join(f"{each.username:12} {each.password}  {each.role}, {each.name}\n" for each in accounts))
        self.stdout.write(f"Loaded in {time.monotonic() - begun:.0f} s.")

    def _say(self, said: str) -> None:
        self.stdout.write(f"  {said}")
        self.stdout.flush()
