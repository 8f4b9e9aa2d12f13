"""Which day it is: the office's, or at a building."""

from datetime import date
from zoneinfo import ZoneInfo

from django.conf import settings

from fleet import clock
from fleet.models import Building


def office_today() -> date:
    return clock.now().astimezone(ZoneInfo(settings.TIME_ZONE)).date()


def today_at(building: Building) -> date:
    return clock.now().astimezone(ZoneInfo(building.time_zone)).date()
