"""The one clock. A drill may run at another date; rules never read it, they are given `now`."""

from datetime import datetime

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """The present moment, aware, moved by FLEET_CLOCK_OFFSET_S."""
    return timezone.now() + settings.CLOCK_OFFSET
