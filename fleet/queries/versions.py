"""Which version of a sheet, a limit set or the stop lines was in force on a day."""

from collections.abc import Iterable
from datetime import date
from typing import TypeVar
from zoneinfo import ZoneInfo

from fleet.models import LimitSetVersion, SheetVersion, StopLines

Version = TypeVar("Version", SheetVersion, LimitSetVersion, StopLines)


def version_of_day(versions: Iterable[Version], day: date, time_zone: str) -> Version | None:
    """The newest version that had come in by that day at the building; the earliest where none had.

    None had where old paper is entered: the first version is what was known of that time. The versions' records
    must be at hand, or each asks the database for its own.
    """
    zone = ZoneInfo(time_zone)
    known = sorted(versions, key=lambda each: each.number)
    in_force = [each for each in known if each.record.received_at.astimezone(zone).date() <= day]
    return next(iter(in_force[-1:] or known[:1]), None)
