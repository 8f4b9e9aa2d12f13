"""What runs by itself, and when: every clock of the service on one page.

Known apart from the worker, so that pages can say what comes next and never load anything that knows a broker.
"""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

# An hour: once each day of the office from then on; a stretch of time: once in each.
TIMETABLE: dict[str, int | timedelta] = {
    "open_missing_required_checks": 1,
    "nightly": 2,
    "prune_jobs": 3,
    "ration_extra_visits": 4,
    "heartbeat": timedelta(minutes=1),
    "plan_messages": timedelta(minutes=15),
    "feed_hooks": timedelta(minutes=1),
}


def slots_due(now: datetime) -> list[tuple[str, str, datetime]]:
    """The timetable's slots that have begun: kind, key, due. The key is a day of the office, whatever DST does, or the
    beginning of a stretch in UTC; what was missed while no clock ran isn't made up for."""
    local, slots = now.astimezone(ZoneInfo(settings.TIME_ZONE)), []
    for kind, when in TIMETABLE.items():
        if isinstance(when, timedelta):
            slots.append((kind, f"{_stretch(now, when):%Y-%m-%dT%H:%M:%SZ}", now))
        elif local.hour >= when:
            slots.append((kind, f"{local:%Y-%m-%d}", now))
    return slots


def next_slots(now: datetime) -> list[tuple[str, datetime]]:
    """What the timetable does next, soonest first: kind and moment."""
    office = ZoneInfo(settings.TIME_ZONE)
    local, coming = now.astimezone(office), []
    for kind, when in TIMETABLE.items():
        if isinstance(when, timedelta):
            coming.append((kind, _stretch(now, when) + when))
        else:
            day = local.date() + timedelta(days=int(local.hour >= when))
            coming.append((kind, datetime.combine(day, time(when), office)))
    return sorted(coming, key=lambda each: each[1])


def _stretch(now: datetime, length: timedelta) -> datetime:
    began = datetime(1970, 1, 1, tzinfo=UTC)
    return began + (now - began) // length * length
