"""Rules that count run hours: what readings of the counter tell, and what they don't."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import next_due
from fleet.presentation.due_dates import date_words, doubt_words
from tests.intervals.rules_of_each_kind import HOURS_FIRST, HOURS_LATER

CHECK = {"date": "2026-01-15", "run_hours": 1000}
NO_READING = "no run-hour reading on the day of the last check and since"


def due_after(rule, *readings, check=CHECK):
    """The due date with these readings, each (date, run hours)."""
    facts = {"run_hours": [{"date": day, "run_hours": run_hours} for day, run_hours in readings]}
    return next_due(rule, [check], facts=facts)


def test_a_reading_on_the_day_of_the_check_stands_in_for_the_check_s_own():
    readings = [("2026-01-15", 1000), ("2026-03-01", 3000)]
    for rule, due in ((HOURS_FIRST, date(2026, 3, 1)), (HOURS_LATER, date(2026, 4, 15))):
        found = due_after(rule, *readings, check="2026-01-15")
        assert (found.due, doubt_words(found.cannot_tell)) == (due, "")


def test_a_reading_from_before_the_check_says_nothing_of_the_hours_since():
    found = due_after(HOURS_FIRST, ("2026-01-14", 990), ("2026-03-01", 2000), check="2026-01-15")
    assert (found.due, doubt_words(found.cannot_tell)) == (date(2026, 4, 8), NO_READING)  # 83 days and 8 hours


def test_a_check_with_its_own_reading_and_none_since_leaves_the_doubt():
    found = due_after(HOURS_FIRST)
    assert (found.due, doubt_words(found.cannot_tell)) == (date(2026, 4, 8), NO_READING)


@pytest.mark.parametrize(
    ("read", "due"), [(2999, date(2026, 3, 2)), (3000, date(2026, 3, 1)), (3001, date(2026, 3, 1))]
)
def test_the_hours_are_used_up_exactly_at_their_figure(read, due):
    readings = [("2026-03-01", read), ("2026-03-02", 3100)]
    assert due_after(HOURS_FIRST, *readings).due == due


@pytest.mark.parametrize(("left", "days"), [(23, 0), (24, 1), (47, 1), (48, 2)])
def test_what_is_left_takes_at_least_so_many_whole_days(left, days):
    found = due_after(HOURS_FIRST, ("2026-03-01", 3000 - left))
    assert found.due == date(2026, 3, 1) + timedelta(days=days)
    assert (
        doubt_words(found.cannot_tell)
        == f"{2000 - left} of 2000 run hours used on 1 March 2026: take a new run-hour reading"
    )


def test_the_earliest_day_is_never_the_check_s_own():
    assert due_after(HOURS_FIRST | {"hours": 5}).due == date(2026, 1, 16)


def test_a_counter_that_fell_says_no_more_but_what_it_showed_before_stands():
    found = due_after(HOURS_FIRST, ("2026-03-01", 2760), ("2026-03-20", 40), ("2026-12-01", 5000))
    assert found.due == date(2026, 3, 11)  # 240 hours were left
    assert doubt_words(found.cannot_tell) == "the run-hour counter fell from 2760 to 40 on 20 March 2026"
    assert doubt_words(due_after(HOURS_FIRST, ("2026-03-01", 3000), ("2026-03-20", 40)).cannot_tell) == ""


def test_a_counter_that_stands_still_has_not_fallen():
    found = due_after(HOURS_FIRST, ("2026-03-01", 1000), ("2026-06-01", 1000))
    assert doubt_words(found.cannot_tell).startswith("0 of 2000 run hours used on 1 June 2026")


@pytest.mark.parametrize(
    "recorded",
    ["1200", 1200, None, [7], [{"date": "soon", "run_hours": 1}], [{"run_hours": 3000}], [{"date": "2026-03-01"}],
     [{"date": "2026-03-01", "run_hours": "nan"}], {"date": "2026-03-01", "run_hours": 3000}],
)  # fmt: skip
def test_what_is_no_reading_is_as_good_as_nothing_recorded(recorded):
    found = next_due(HOURS_FIRST, [CHECK], facts={"run_hours": recorded})
    assert (found.due, doubt_words(found.cannot_tell)) == (date(2026, 4, 8), NO_READING)


def test_readings_as_text_and_in_any_order_are_read():
    found = due_after(HOURS_FIRST, ("2026-06-01", "4000"), ("2026-03-01", "3000.5"))
    assert (found.due, doubt_words(found.cannot_tell)) == (date(2026, 3, 1), "")


def test_the_words_say_which_limb_decided():
    dates = "15 January 2026 plus 12 months is 15 January 2027, or 2000 run hours, whichever is first"
    assert (
        date_words(due_after(HOURS_FIRST, ("2026-03-01", 3000)).steps)
        == f"{dates}: the hours were used up by 1 March 2026 (a weekend day: the date stays)."
    )
    assert date_words(due_after(HOURS_FIRST, ("2027-01-10", 2000)).steps) == f"{dates}."
    assert date_words(due_after(HOURS_FIRST, ("2027-02-10", 3000)).steps) == f"{dates}."


def test_whichever_is_later_waits_at_least_as_long_as_the_hours_take():
    found = due_after(HOURS_LATER | {"hours": 4800})
    assert (found.due, doubt_words(found.cannot_tell)) == (date(2026, 8, 3), NO_READING)  # 200 days of day and night


def test_passes_lengthen_the_limbs_of_whichever_is_first_too():
    rule = HOURS_FIRST | {"relax_after_passes": {"passes": 3, "months": 24, "hours": 900_000}}
    for passes, due in ((2, date(2026, 4, 8)), (3, date(2028, 1, 15)), ("3", date(2026, 4, 8))):
        assert next_due(rule, [CHECK], facts={"consecutive_passes": passes}).due == due


days = st.dates(date(2026, 1, 16), date(2028, 12, 31))
hours_run = st.lists(st.tuples(days, st.integers(0, 3000)), max_size=4, unique_by=lambda each: each[0])


@settings(max_examples=80, deadline=None, derandomize=True)
@given(hours_run, st.integers(100, 6000))
def test_the_two_limbs_bound_each_other_and_a_later_reading_never_moves_a_date_forward(steps, hours):
    """First <= months <= later; and each further reading of a counter that runs leaves the earliest day where it was
    or later, since the earliest day it can be allows for the most that can have run."""
    readings, total = [], 1000
    months_limb = next_due({"type": "max_months", "months": 12}, [CHECK["date"]]).due
    first_was = later_was = CHECK["date"]
    for day, run in sorted(steps):
        most = 24 * (day - date.fromisoformat(readings[-1][0] if readings else CHECK["date"])).days
        total += min(run, most)
        readings.append((day.isoformat(), total))
        first = due_after(HOURS_FIRST | {"hours": hours}, *readings)
        later = due_after(HOURS_LATER | {"months": 12, "hours": hours}, *readings)
        assert first.due <= months_limb <= later.due
        assert first.due.isoformat() >= first_was
        assert later.due.isoformat() >= later_was
        first_was, later_was = first.due.isoformat(), later.due.isoformat()


UNTOLD = {"type": "months_or_hours_first", "months": 12, "hours": 2000}


def test_once_it_may_be_due_the_day_by_which_it_surely_is_counts() -> None:
    """Twelve months end for certain, whatever the hour counter would have said."""
    asked = {"rule": UNTOLD, "history": ["2026-01-10"]}
    early = next_due(**asked, today="2026-04-03")
    assert (early.due, early.certain_by) == (date(2026, 4, 3), date(2027, 1, 10))
    assert early.cannot_tell
    later = next_due(**asked, today="2026-04-04")
    assert (later.due, doubt_words(later.cannot_tell)) == (date(2027, 1, 10), "")
    assert "in any case by 10 January 2027" in date_words(later.steps)


def test_between_variants_the_longest_is_certain() -> None:
    rule = {"type": "max_months", "months": 24, "variants": [{"select": {"output_kw_ge": 100}, "months": 12}]}
    told = next_due(rule, ["2026-01-10"], today="2027-01-11")
    assert (told.due, doubt_words(told.cannot_tell)) == (date(2028, 1, 10), "")
    assert "output not recorded" in date_words(told.steps)
