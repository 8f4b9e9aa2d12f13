"""The calendar arithmetic against others' and against counting days one by one."""

import calendar
from datetime import date, timedelta
from itertools import pairwise

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import MONTHLY, rrule
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import next_due
from fleet.intervals.dates import add_months, quarter, quarter_bounds
from tests.intervals.rules_of_each_kind import KEEP, NAMED_MONTHS, SEASON, TWICE, TWO_WINDOWS

ONE_DAY = timedelta(days=1)
days = st.dates(date(2015, 1, 1), date(2040, 12, 31))
histories = st.lists(days, min_size=1, max_size=5)
bounded = settings(max_examples=80, deadline=None, derandomize=True)


@bounded
@given(days, st.integers(-240, 240))
def test_months_are_those_of_dateutil(day, months):
    assert add_months(day, months) == day + relativedelta(months=months)


@pytest.mark.parametrize("day", [date(2024, 1, 31), date(2024, 2, 29), date(2023, 12, 31), date(2025, 8, 30)])
def test_every_month_end_and_leap_day_as_dateutil_has_it(day):
    assert [add_months(day, each) for each in range(-60, 61)] == [
        day + relativedelta(months=each) for each in range(-60, 61)
    ]


@bounded
@given(days)
def test_quarters_are_counted_month_by_month(day):
    first = next(each for each in (1, 4, 7, 10) if day.month in (each, each + 1, each + 2))
    inside = [each.date() for each in rrule(MONTHLY, dtstart=_noon(day.year, first), count=3)]
    opens, closes = quarter_bounds(day.year, quarter(day))
    assert opens == inside[0]
    assert closes == inside[-1] + relativedelta(day=31)


def _noon(year, month):
    return relativedelta(year=year, month=month, day=1) + date(2000, 1, 1)


# ---- kinds against counting days one by one ----


def first_day_after(day, holds):
    return next(day + timedelta(days=count) for count in range(1, 2600) if holds(day + timedelta(days=count)))


@bounded
@given(histories, st.sampled_from([1, 2, 3, 5]))
def test_calendar_years_by_counting_days(history, every):
    last = max(history)
    due = next_due({"type": "calendar_years", "every": every}, history)
    end = first_day_after(last, lambda day: day.year - last.year == every + 1) - ONE_DAY
    assert (due.due, due.earliest_keep) == (end, date(end.year, 1, 1))


@bounded
@given(histories, st.integers(1, 4))
def test_the_same_quarter_by_counting_days(history, number):
    last = max(history)
    due = next_due({"type": "same_quarter_each_year", "quarter": number}, history)

    def ends_the_quarter(day):
        in_it = (day.month - 1) // 3 + 1 == number
        is_the_end = (day + ONE_DAY).day == 1 and day.month % 3 == 0
        served = (last.month - 1) // 3 + 1 == number and last.year == day.year
        return in_it and is_the_end and not served

    assert due.due == first_day_after(last, ends_the_quarter)


def in_season(day):
    """Which season a day lies in, by its months: 1 September to 30 April, named by the year it opens in."""
    if day.month >= 9:
        return day.year
    return day.year - 1 if day.month <= 4 else None


def in_two_windows(day):
    """10 to the last of February, and 15 December to 5 January, named by where each begins."""
    if day.month == 2 and day.day >= 10:
        return (day.year, "February")
    if (day.month, day.day) >= (12, 15):
        return (day.year, "New Year")
    return (day.year - 1, "New Year") if (day.month, day.day) <= (1, 5) else None


@pytest.mark.parametrize(("rule", "place"), [(SEASON, in_season), (TWO_WINDOWS, in_two_windows)])
@bounded
@given(history=histories)
def test_windows_by_counting_days(rule, place, history):
    served = {place(day) for day in history}
    last, due = max(history), next_due(rule, history)

    def closes_one_to_be_served(day):
        return place(day) is not None and place(day + ONE_DAY) != place(day) and place(day) not in served

    assert due.due == first_day_after(last, closes_one_to_be_served)
    assert due.earliest_keep > last
    assert place(due.earliest_keep) == place(due.due)
    assert place(due.earliest_keep - ONE_DAY) != place(due.due)


@bounded
@given(histories)
def test_named_months_by_counting_days(history):
    named = NAMED_MONTHS["named_months"]
    served = {day.year for day in history if day.month in named}
    last, due = max(history), next_due(NAMED_MONTHS, history)
    in_named = [last + timedelta(days=count) for count in range(1, 1200)]
    in_named = [day for day in in_named if day.month in named and day.year not in served]
    assert due.earliest_keep == in_named[0]
    assert due.due == max(day for day in in_named if day.year == in_named[0].year)


@bounded
@given(histories)
def test_the_kept_date_by_counting_days(history):
    """The window is the days whose month-later twin, two months on, lies after the deadline."""
    due = next_due(KEEP, history)
    window = [due.due - timedelta(days=count) for count in range(80)]
    inside = [day for day in window if day + relativedelta(months=2) > due.due]
    clamped = [day for day in inside if day >= due.earliest_keep]
    assert clamped[-1] == due.earliest_keep
    assert len(inside) - len(clamped) in (0, 1, 2, 3)  # strict: no more than a short month's missing days
    assert due.due.day > 28 or inside == clamped


# ---- rhythms: nothing is skipped, however early or late in the window each check is made ----


def checks_made(rule, start, draws):
    """Each check somewhere between the first day that keeps the rhythm and the last; the later of it and a day on."""
    made = [start]
    for share in draws:
        due = next_due(rule, made)
        opens = max(due.earliest_keep or made[-1] + ONE_DAY, made[-1] + ONE_DAY)
        made.append(opens + timedelta(days=round(share * (due.due - opens).days)))
    return made


shares = st.lists(st.floats(0, 1), min_size=6, max_size=12)


@pytest.mark.parametrize(("rule", "place"), [(SEASON, in_season), (TWO_WINDOWS, in_two_windows)])
@bounded
@given(start=days, draws=shares)
def test_no_window_is_skipped_and_none_is_asked_for_twice(rule, place, start, draws):
    made = checks_made(rule, start, draws)[1:]
    every_day = [made[0] + timedelta(days=count) for count in range((made[-1] - made[0]).days + 1)]
    passed = [place(day) for day in every_day if place(day) is not None]
    assert [place(day) for day in made] == list(dict.fromkeys(passed))


@pytest.mark.parametrize(
    "rule",
    [
        {"type": "calendar_years", "every": 1},
        {"type": "in_named_months", "named_months": [12, 11]},
        {"type": "same_quarter_each_year"},
    ],
)
@bounded
@given(start=days, draws=shares)
def test_no_calendar_year_is_skipped(rule, start, draws):
    years = [day.year for day in checks_made(rule, start, draws)][1:]
    assert years == list(range(years[0], years[0] + len(years)))


@bounded
@given(days, shares)
def test_a_kept_date_never_moves_and_never_leaves_more_than_a_year_and_two_months(start, draws):
    made = checks_made(KEEP, start, draws)
    due = next_due(KEEP, made).due
    assert due == start + relativedelta(months=12 * len(made)) or due.day <= start.day
    assert due.year == start.year + len(made)
    assert all(later <= earlier + relativedelta(months=14) for earlier, later in pairwise(made))


@bounded
@given(days, shares)
def test_twice_a_year_leaves_room_for_the_second(start, draws):
    made = checks_made(TWICE, start, draws)
    counts = {year: sum(day.year == year for day in made) for year in range(made[0].year + 1, made[-1].year)}
    assert all(count >= 2 for count in counts.values())
    for earlier, later in pairwise(made):
        assert earlier + relativedelta(months=4) <= later <= earlier + relativedelta(months=8)


@bounded
@given(days, st.integers(1, 3), st.integers(0, 11))
def test_the_next_leaves_room_for_those_still_to_come(start, least, slack):
    times = 11 // least if slack % 2 else 2
    rule = {"type": "times_per_year", "times": times, "min_gap_months": least, "max_gap_months": least + slack}
    made = [start]
    for _each in range(3 * times):
        made.append(next_due(rule, made).due)
    whole = [sum(day.year == year for day in made) for year in range(start.year + 1, made[-1].year)]
    assert all(count >= times for count in whole)


def test_leap_days_of_february_windows():
    closes = [next_due(TWO_WINDOWS, [date(year, 1, 5)]).due for year in range(2023, 2030)]
    assert [each.day for each in closes] == [calendar.monthrange(year, 2)[1] for year in range(2023, 2030)]
