"""Days and times as people read them: short in rows, long in sentences and on paper."""

from datetime import date, datetime, tzinfo

from django.utils.formats import date_format


def day(when: date, beside: date | None = None) -> str:
    """A short day; the year is left out where it is that of `beside`."""
    is_same_year = beside is not None and when.year == beside.year
    return date_format(when, "j M" if is_same_year else "j M Y")


def long_day(when: date) -> str:
    return date_format(when, "j F Y")


def said_day(iso: str) -> str:
    """A day as codes keep it, in a sentence; empty for none."""
    return long_day(date.fromisoformat(iso)) if iso else ""


def weekday(when: date) -> str:
    return date_format(when, "l j F Y")


def weekday_without_year(when: date) -> str:
    return date_format(when, "l j F")


def clock_time(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).strftime("%H:%M")


def offset(moment: datetime, zone: tzinfo) -> str:
    """The distance from UTC at that moment: "UTC+1", "UTC−3:30"."""
    gap = moment.astimezone(zone).utcoffset()
    minutes = round(gap.total_seconds() / 60) if gap else 0
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'−' if minutes < 0 else '+'}{hours}" + (f":{rest:02d}" if rest else "")


def day_and_time(moment: datetime, zone: tzinfo) -> str:
    """The day and time there; the distance from UTC only in the hours that the clocks show twice."""
    return f"{long_day(moment.astimezone(zone).date())}, {time_there(moment, zone)}"


def time_there(moment: datetime, zone: tzinfo) -> str:
    """The same of the time alone."""
    said = clock_time(moment, zone)
    return f"{said} {offset(moment, zone)}" if _comes_twice(moment, zone) else said


def _comes_twice(moment: datetime, zone: tzinfo) -> bool:
    shown = moment.astimezone(zone)
    return shown.replace(fold=0).utcoffset() != shown.replace(fold=1).utcoffset()


def month_name(number: int) -> str:
    """The short name of a month, 1 to 12."""
    return date_format(date(2000, number, 1), "M")
