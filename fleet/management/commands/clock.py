"""The service's clock as a process of its own."""

import signal
import threading
from typing import Any

from django.core.management.base import BaseCommand

from fleet.worker import repeat, scan


class Command(BaseCommand):
    help = "Each second: request what the timetable wants and publish due jobs. Two of them do no harm."

    def handle(self, *_args: Any, **_options: Any) -> None:
        stop = threading.Event()
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: stop.set())
        repeat(scan, stop)
