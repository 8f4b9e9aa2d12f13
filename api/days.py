"""Which day it is for whom: the office's, or a building's."""

from datetime import date
from zoneinfo import ZoneInfo

from django.conf import settings

from fleet import clock
from fleet.models import Building


def office_today() -> date:
    return clock.now().astimezone(ZoneInfo(settings.TIME_ZONE)).date()


def today_at(building: Building) -> date:
    return clock.now().astimezone(ZoneInfo(building.time_zone)).date()
