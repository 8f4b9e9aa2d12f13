"""What a check on some day would do to the next due date."""

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fleet.intervals import next_due, what_if
from fleet.presentation.due_dates import what_if_words
from tests.intervals.rules_of_each_kind import HOURS_FIRST, KEEP, NAMED_MONTHS, RULES, SEASON, TWO_WINDOWS

EXTENDED = KEEP | {"one_off_alignment_extension_months": 2}
MONTHLY = {"type": "max_months", "months": 12}
CERTAIN = [rule for rule in RULES if "hours" not in rule]
bounded = settings(max_examples=80, deadline=None, derandomize=True)


@pytest.mark.parametrize(
    ("day", "in_time", "lost", "words"),
    [
        ("2018-12-10", True, 62, ("In time: due by 10 February 2019. It gives up 62 days: the next check is then due "
                                 "by 10 December 2019, not 10 February 2020.")),
        ("2018-12-11", True, 0, ("In time: due by 10 February 2019. The date is kept: the next check is then due by "
                                "10 February 2020.")),
        ("2019-02-10", True, 0, ("In time: due by 10 February 2019. The date is kept: the next check is then due by "
                                "10 February 2020.")),
        ("2019-02-11", False, -1, ("1 day late: due by 10 February 2019. The rhythm moves back by 1 day: the next "
                                  "check is then due by 11 February 2020.")),
    ],
)  # fmt: skip
def test_on_both_sides_of_a_window_that_keeps_the_date(day, in_time, lost, words):
    found = what_if(KEEP, ["2018-02-10"], day)
    assert (found.in_time, found.days_lost, what_if_words(found)) == (in_time, lost, words)
    assert (found.keeps_rhythm, found.serves) == (lost == 0, True)
    assert found.day == date.fromisoformat(day)


def test_late_within_an_extension_that_nobody_has_used_may_be_in_time():
    last_day, after = what_if(EXTENDED, ["2018-02-10"], "2019-04-09"), what_if(EXTENDED, ["2018-02-10"], "2019-04-10")
    assert last_day.in_time is None
    assert "58 days late: due by 10 February 2019; in time only as the one check that aligns it" in what_if_words(
        last_day
    )
    assert "until 9 April 2019" in what_if_words(last_day)
    assert after.in_time is False
    assert "aligns" not in what_if_words(after)


def test_an_extension_that_was_used_helps_no_more():
    facts = {"alignment_extension_used_on": "2017-03-01"}
    found = what_if(EXTENDED, ["2018-02-10"], "2019-03-01", facts=facts)
    assert found.in_time is False
    assert "aligns" not in what_if_words(found)


@pytest.mark.parametrize(
    ("rule", "history", "day"),
    [
        (SEASON, "2025-10-03", "2026-05-03"),
        (TWO_WINDOWS, "2026-02-20", "2026-12-14"),
        (NAMED_MONTHS, "2026-04-03", "2026-05-03"),
        ({"type": "calendar_years", "every": 1}, "2025-01-03", "2025-05-03"),
    ],
)
def test_a_check_outside_its_window_or_year_moves_nothing(rule, history, day):
    found = what_if(rule, [history], day)
    assert (found.in_time, found.serves, found.keeps_rhythm) == (True, False, False)
    assert found.after.due == found.before.due
    assert "It doesn't count for that date, which stays" in what_if_words(found)


def test_every_rule_that_keeps_a_period_and_not_a_date_gives_up_what_it_is_early():
    found = what_if(MONTHLY, ["2026-01-15"], "2026-12-15")
    assert (found.days_lost, found.after.due) == (31, date(2027, 12, 15))


def test_without_a_run_hour_reading_neither_date_can_be_told():
    early, late = (what_if(HOURS_FIRST, ["2026-01-15"], day) for day in ("2026-04-08", "2026-04-09"))
    assert (early.in_time, late.in_time) == (True, None)
    for found in (early, late):
        assert (found.serves, found.days_lost, found.keeps_rhythm) == (None, None, None)
        assert "at the earliest; no run-hour reading" in what_if_words(found)
        assert what_if_words(found).endswith(
            f"The next check is then due on {found.after.due:%-d %B %Y} at the earliest."
        )
    assert what_if_words(early).startswith("In time: due on 8 April 2026 at the earliest;")
    assert what_if_words(late).startswith("Whether it is in time can't be told: due on 8 April 2026 at the earliest;")


def test_a_rule_without_an_interval_says_so_and_nothing_else():
    found = what_if({"type": "none"}, ["2026-01-15"], "2026-04-08")
    assert (found.in_time, found.serves, found.days_lost) == (None, None, None)
    assert what_if_words(found) == "This rule sets no interval."


def test_out_of_use_no_date_stands_and_a_check_brings_one():
    rule = MONTHLY | {"grace": {"if_not_operating_on_due_date": {"days": 30}}}
    facts = {"out_of_use": [{"from": "2026-10-01", "to": None}]}
    found = what_if(rule, ["2025-12-15"], "2026-11-15", facts=facts)
    assert found.in_time is None
    assert what_if_words(found).startswith("No date stands: out of use: due 30 days after restart. ")


def test_the_first_check_ever_ends_the_rule_for_the_first():
    rule = {"type": "calendar_years", "every": 3, "first": {"type": "days_after_event", "event": "x", "days": 28}}
    found = what_if(rule, [], "2026-10-20", start="2026-10-01")
    assert (found.before.due, found.after.due) == (date(2026, 10, 29), date(2029, 12, 31))
    assert (
        what_if_words(found)
        == "In time: due by 29 October 2026. The date is kept: the next check is then due by 31 December 2029."
    )


def test_an_event_s_clock_stops_with_the_check():
    retest = {"type": "days_after_event", "event": "co_over_limit", "days": 42}
    found = what_if(retest, [], "2026-03-20", start="2026-03-02")
    assert (found.in_time, found.serves, found.after.due) == (True, True, None)
    assert what_if_words(found).endswith("Done on 20 March 2026, after co over limit on 2 March 2026.")


def test_the_age_is_that_on_the_day():
    rule = {"type": "calendar_years", "every": 3, "variants": [{"select": {"age_years_gt": 12}, "every": 2}]}
    before, after = (what_if(rule, ["2024-03-05"], day, start="2014-06-01") for day in ("2026-06-01", "2026-06-02"))
    assert (before.before.due, after.before.due) == (date(2027, 12, 31), date(2026, 12, 31))
    assert (before.after.due, after.after.due) == (date(2029, 12, 31), date(2028, 12, 31))


def test_a_date_that_the_caller_calculated_stands():
    standing = next_due(MONTHLY, ["2025-06-01"])
    found = what_if(MONTHLY, ["2025-01-01"], "2026-05-01", before=standing)
    assert found.before is standing
    assert found.in_time is True


def test_a_day_before_the_last_check_is_refused_and_its_own_day_is_not():
    with pytest.raises(ValueError, match="day is 2026-01-14; a check is on record on 2026-01-15"):
        what_if(MONTHLY, ["2026-01-15"], "2026-01-14")
    assert what_if(MONTHLY, ["2026-01-15"], "2026-01-15").serves is False


days = st.dates(date(2015, 1, 1), date(2040, 12, 31))


@bounded
@given(st.sampled_from(CERTAIN), st.lists(days, min_size=1, max_size=4), st.integers(0, 900))
def test_it_is_what_would_be_calculated_had_the_check_been_made(rule, history, ahead):
    day = max(history) + timedelta(days=ahead)
    found = what_if(rule, history, day)
    assert found.before == next_due(rule, history)
    assert found.after == next_due(rule, [*history, day])
    assert found.in_time == (day <= found.before.due)
    assert found.serves == (found.after.due != found.before.due)
    assert found.after.due > day


@bounded
@given(st.sampled_from(CERTAIN), st.lists(days, min_size=1, max_size=4))
def test_on_the_last_day_nothing_is_lost(rule, history):
    found = what_if(rule, history, next_due(rule, history).due)
    assert (found.in_time, found.serves, found.days_lost, found.keeps_rhythm) == (True, True, 0, True)


@bounded
@given(st.sampled_from(CERTAIN), st.lists(days, min_size=1, max_size=4), st.floats(0, 1))
def test_no_day_in_time_gains_anything(rule, history, share):
    standing = next_due(rule, history)
    span = (standing.due - max(history)).days
    found = what_if(rule, history, max(history) + timedelta(days=round(share * span)))
    assert found.days_lost >= 0
    opens = standing.earliest_keep
    if opens and found.day >= opens and rule["type"] in ("corresponding_date_keep", "calendar_years", "in_each_window"):
        assert found.keeps_rhythm


@bounded
@given(st.lists(days, min_size=1, max_size=4), st.integers(1, 400))
def test_a_late_check_of_a_plain_period_moves_the_rhythm_by_as_many_months_on(history, late):
    standing = next_due(MONTHLY, history).due
    day = standing + timedelta(days=late)
    found = what_if(MONTHLY, history, day)
    assert -found.days_lost == ((day + relativedelta(months=12)) - (standing + relativedelta(months=12))).days
    assume(found.days_lost)
    assert "moves back" in what_if_words(found)
