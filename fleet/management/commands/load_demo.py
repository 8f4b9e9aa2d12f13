"""Load the demonstration contractor into an empty database."""

import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from fleet import clock, demo
from fleet.models import Contractor


class Command(BaseCommand):
    help = "An invented contractor with five years of simulated visits. Only into an empty, embedded installation."

    def handle(self, *_args: Any, **_options: Any) -> None:
        if settings.SERVED or Contractor.objects.exists():
            raise CommandError("The demo goes only into an empty installation with FLEET_SHAPE=embedded.")
        begun = time.monotonic()
        self.stdout.write("Loading the demonstration: everything in it is invented.")
        accounts = demo.load_demo(now=clock.now(), say=lambda said: self.stdout.write(f"  {said}"))
        kept = settings.VAR_DIR / "demo-accounts.txt"
        kept.touch(mode=0o600)
        kept.write_text("".join(f"{name:12} {password}\n" for name, password in accounts.items()))
        self.stdout.write(f"Loaded in {time.monotonic() - begun:.0f} s.")
