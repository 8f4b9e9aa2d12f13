"""The one clock. A drill may run at another date; rules never read it, they are given `now`."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """The present moment, aware, moved by FLEET_CLOCK_OFFSET_S."""
    return timezone.now() + settings.CLOCK_OFFSET


def today(time_zone: str = "") -> date:
    """The present day at a place, or in the office."""
    return now().astimezone(ZoneInfo(time_zone or settings.TIME_ZONE)).date()
