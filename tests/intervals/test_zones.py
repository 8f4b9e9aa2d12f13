"""Dates are the building's own: whatever its clocks do, a check counts on its local day and periods are whole days."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import next_due
from tests.intervals.rules_of_each_kind import KEEP, RULES

# Far east and far west, half and quarter hours, changes at midnight, of half an hour, of two, and in winter.
ZONES = """Europe/London Europe/Berlin Europe/Dublin Europe/Lisbon Atlantic/Azores Africa/Cairo Africa/Casablanca
Asia/Beirut Asia/Jerusalem Asia/Kathmandu Asia/Kolkata Asia/Tokyo Australia/Lord_Howe Australia/Sydney Pacific/Chatham
Pacific/Kiritimati Pacific/Pago_Pago America/New_York America/St_Johns America/Santiago America/Los_Angeles
America/Phoenix Antarctica/Troll""".split()  # noqa: SIM905 as one reads names
CHANGING = [
    each for each in ZONES if each.rpartition("/")[2] not in "Kathmandu Kolkata Tokyo Kiritimati Pago_Pago Phoenix"
]
NIGHT = timedelta(minutes=1)

moments = st.datetimes(datetime(2015, 1, 1), datetime(2036, 12, 31), timezones=st.just(UTC))
bounded = settings(max_examples=40, deadline=None, derandomize=True)


def local_day(moment: datetime, zone: str) -> date:
    return moment.astimezone(ZoneInfo(zone)).date()


@cache
def changes(zone: str, year: int = 2025) -> list[datetime]:
    """The moments of the year at which the zone's clocks change, to the minute."""
    place, found = ZoneInfo(zone), []
    first = datetime(year, 1, 1, tzinfo=UTC)
    for hour in range(366 * 24):
        before = first + timedelta(hours=hour)
        if before.astimezone(place).utcoffset() != (before + timedelta(hours=1)).astimezone(place).utcoffset():
            offset = before.astimezone(place).utcoffset()
            steps = (before + timedelta(minutes=each) for each in range(1, 61))
            found.append(next(each for each in steps if each.astimezone(place).utcoffset() != offset))
    return found


def test_there_are_twenty_zones_and_those_that_change_do_so_twice():
    assert len(set(ZONES)) >= 20
    assert all(len(changes(zone)) in (2, 4) for zone in CHANGING)  # four where a fast interrupts the summer


@pytest.mark.parametrize("zone", ZONES)
@bounded
@given(history=st.lists(moments, min_size=1, max_size=5), rule=st.sampled_from(RULES))
def test_the_next_is_due_after_the_last_visit_and_calculated_alike_twice(zone, history, rule):
    visits = [local_day(each, zone) for each in history]
    due = next_due(rule, visits)
    assert due == next_due(rule, list(reversed(visits)))
    end_of_due_day = datetime.combine(due.due + timedelta(days=1), time(), ZoneInfo(zone))
    assert end_of_due_day > max(history)
    assert due.due > max(visits)


@pytest.mark.parametrize("zone", CHANGING)
@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["type"])
def test_a_check_just_before_or_after_the_clocks_change_counts_on_its_local_day(zone, rule):
    for change in changes(zone):
        for moment in (change - NIGHT, change, change + NIGHT):
            day = local_day(moment, zone)
            noon = datetime.combine(day, time(12), ZoneInfo(zone))
            assert next_due(rule, [day]) == next_due(rule, [local_day(noon, zone)])
            assert next_due(rule, [day]).due > day


@pytest.mark.parametrize("zone", CHANGING)
def test_28_days_across_a_change_of_clocks_end_on_the_same_weekday_at_midnight(zone):
    for change in changes(zone):
        day = local_day(change, zone) - timedelta(days=14)
        due = next_due({"type": "days_after_event", "days": 28}, [], start=day).due
        assert due.weekday() == day.weekday()
        begins = datetime.combine(day, time(12), ZoneInfo(zone))
        assert begins + timedelta(days=28) == datetime.combine(due, time(12), ZoneInfo(zone))


@pytest.mark.parametrize("zone", ZONES)
@bounded
@given(first=moments, minutes=st.lists(st.integers(0, 60 * 24 * 55), min_size=1, max_size=6))
def test_no_period_is_skipped_in_any_zone(zone, first, minutes):
    """Visits at any minute of the window keep the date: one due day a year, all with the same day number or clamped."""
    start = local_day(first, zone)
    visits = [start]
    for count, each in enumerate(minutes, start=1):
        opens = next_due(KEEP, visits).earliest_keep
        visit = datetime.combine(opens, time(), ZoneInfo(zone)).astimezone(UTC) + timedelta(minutes=each)
        visits.append(local_day(visit, zone))
        due = next_due(KEEP, visits)
        assert (due.due.year, due.due.month) == (start.year + count + 1, start.month)
        assert due.due == due.earliest_keep + relativedelta(months=2) - timedelta(days=1) or due.due.day > 27


def test_the_same_moment_is_another_day_elsewhere_and_so_is_its_due_date():
    moment = datetime(2026, 1, 1, 0, 30, tzinfo=UTC)
    yearly = {"type": "calendar_years", "every": 1}
    dues = {zone: next_due(yearly, [local_day(moment, zone)]).due for zone in ("Europe/London", "America/New_York")}
    assert dues == {"Europe/London": date(2027, 12, 31), "America/New_York": date(2026, 12, 31)}


@pytest.mark.parametrize("zone", ["Pacific/Apia", "Pacific/Fakaofo"])
def test_a_day_that_a_place_never_had_is_calculated_with_all_the_same(zone):
    """Samoa and Tokelau went from 29 to 31 December 2011: the due day of 30 December is over with the 29th there."""
    eve = datetime(2010, 12, 30, 12, tzinfo=ZoneInfo(zone))
    due = next_due({"type": "max_months", "months": 12}, [local_day(eve.astimezone(UTC), zone)]).due
    assert due == date(2011, 12, 30)
    seen = {local_day(datetime(2011, 12, 29, tzinfo=UTC) + timedelta(hours=each), zone) for each in range(72)}
    assert due not in seen
