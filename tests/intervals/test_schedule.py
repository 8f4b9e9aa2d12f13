import json
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import faults, next_due, what_if
from fleet.intervals.dates import add_months, years_between
from fleet.presentation.due_dates import date_words, doubt_words
from tests.intervals.rules_of_each_kind import HOURS_LATER, KEEP, RULES

LIMIT_SETS = Path(__file__).parents[2] / "fixtures" / "reference" / "limit_sets.json"
SETS = {entry["id"]: entry for entry in json.loads(LIMIT_SETS.read_text())["profiles"]}

days = st.dates(date(2015, 1, 1), date(2040, 12, 31))
histories = st.lists(days, min_size=1, max_size=6)
bounded = settings(max_examples=60, deadline=None, derandomize=True)


@bounded
@given(st.sampled_from(RULES), histories)
def test_the_next_check_is_due_after_the_last_one(rule, history):
    assert next_due(rule, history).due > max(history)


@bounded
@given(st.sampled_from(RULES), histories, st.randoms(use_true_random=False))
def test_the_answer_is_the_same_twice_and_in_any_order(rule, history, random):
    shuffled = random.sample(history, len(history))
    assert next_due(rule, history) == next_due(rule, shuffled) == next_due(rule, history)


@bounded
@given(histories)
def test_a_check_on_the_first_day_that_keeps_the_date_keeps_it(history):
    due = next_due(KEEP, history)
    kept = next_due(KEEP, [*history, due.earliest_keep])
    assert kept.due == add_months(due.due, 12)


@bounded
@given(histories)
def test_a_day_before_the_window_restarts_the_count(history):
    early = next_due(KEEP, history).earliest_keep - timedelta(days=1)
    if early > max(history):
        assert next_due(KEEP, [*history, early]).due == add_months(early, 12)


@bounded
@given(days, st.integers(1, 120))
def test_months_keep_the_day_number_or_end_with_the_month(day, months):
    later = add_months(day, months)
    assert (later.year - day.year) * 12 + later.month - day.month == months
    assert later.day == day.day or (later.day < day.day and (later + timedelta(days=1)).day == 1)


@bounded
@given(days, st.integers(0, 40))
def test_age_is_whole_on_every_anniversary(start, years):
    assert years_between(start, add_months(start, 12 * years)) == years


def test_29_february_and_month_ends_clamp_to_the_last_day():
    assert next_due({"type": "max_months", "months": 12}, ["2024-02-29"]).due == date(2025, 2, 28)
    assert next_due({"type": "max_months", "months": 48}, ["2024-02-29"]).due == date(2028, 2, 29)
    assert next_due({"type": "max_months", "months": 1}, ["2026-03-31"]).due == date(2026, 4, 30)


def test_a_due_date_on_a_weekend_stays_and_says_so():
    due = next_due({"type": "max_months", "months": 12}, ["2025-02-28"])
    assert due.due == date(2026, 2, 28)  # a Saturday
    assert (
        date_words(due.steps) == "28 February 2025 plus 12 months is 28 February 2026 (a weekend day: the date stays)."
    )


def test_the_words_show_the_real_day_and_the_day_it_counts_as():
    words = date_words(next_due(KEEP, ["2018-02-10", "2019-01-05"]).steps)
    assert "5 January 2019, counted as 10 February 2019, plus 12 months is 10 February 2020" in words
    assert "from 11 December 2019" in words


def test_the_extension_ends_the_day_before_the_corresponding_date_and_without_it_a_late_check_is_late():
    extended = KEEP | {"one_off_alignment_extension_months": 2}
    in_time = [what_if(extended, ["2018-02-10"], day).in_time for day in ("2019-02-10", "2019-04-09", "2019-04-10")]
    assert in_time == [True, None, False]
    used = {"alignment_extension_used_on": "2017-03-01"}
    assert what_if(extended, ["2018-02-10"], "2019-04-09", facts=used).in_time is False
    assert what_if(KEEP, ["2018-02-10"], "2019-02-11").in_time is False


def test_checks_after_the_planning_day_are_not_counted():
    rule = {"type": "max_months", "months": 12}
    assert next_due(rule, ["2025-01-10", "2026-01-10"], today="2025-06-01").due == date(2026, 1, 10)


def test_with_no_check_the_first_rule_counts_from_the_start():
    rule = {
        "type": "calendar_years",
        "every": 3,
        "first": {"type": "days_after_event", "event": "commissioning", "days": 28},
    }
    due = next_due(rule, [], start="2026-10-01")
    assert due.due == date(2026, 10, 29)
    assert date_words(due.steps) == "28 days after commissioning on 1 October 2026 is 29 October 2026."


def test_with_no_check_and_no_start_it_cannot_tell():
    due = next_due({"type": "max_months", "months": 12}, [])
    assert due.due is None
    assert doubt_words(due.cannot_tell)


def test_an_event_clock_stops_when_the_check_was_made():
    retest = {"type": "days_after_event", "event": "co_over_limit", "days": 42}
    assert next_due(retest, ["2026-01-05"], start="2026-02-01").due == date(2026, 3, 15)
    assert next_due(retest, ["2026-02-20"], start="2026-02-01").due is None


def test_some_event_clocks_count_months():
    rule = {"type": "days_after_event", "event": "control", "months": 2}
    assert next_due(rule, [], start="2025-12-31").due == date(2026, 2, 28)


def test_whichever_is_later_needs_a_run_hour_reading():
    due = next_due(HOURS_LATER, ["2026-01-15"])
    assert due.due == date(2026, 4, 15)
    assert doubt_words(due.cannot_tell) == "no run-hour reading on the day of the last check and since"


def test_the_hours_limb_decides_when_it_comes_later():
    readings = [{"date": "2026-05-01", "run_hours": 2900}, {"date": "2026-06-10", "run_hours": 3010}]
    history = [{"date": "2026-01-15", "run_hours": 1000}]
    due = next_due(HOURS_LATER, history, facts={"run_hours": readings})
    assert (due.due, doubt_words(due.cannot_tell)) == (date(2026, 6, 10), "")


def test_the_date_limb_decides_when_the_hours_ran_fast():
    readings = [{"date": "2026-04-01", "run_hours": 3000}]
    due = next_due(HOURS_LATER, [{"date": "2026-01-15", "run_hours": 1000}], facts={"run_hours": readings})
    assert (due.due, doubt_words(due.cannot_tell)) == (date(2026, 4, 15), "")


def test_hours_not_yet_used_leave_a_doubt_and_the_earliest_day_it_can_be():
    readings = [{"date": "2026-04-10", "run_hours": 2520}]
    due = next_due(HOURS_LATER, [{"date": "2026-01-15", "run_hours": 1000}], facts={"run_hours": readings})
    assert due.due == date(2026, 4, 30)  # 480 h left are at least 20 days
    assert "1520 of 2000 run hours" in doubt_words(due.cannot_tell)


def test_passes_lengthen_the_limbs_where_the_rule_says_so():
    rule = SETS["us-ca-scaqmd-1146"]["interval"]
    assert next_due(rule, ["2026-01-15"]).due == date(2026, 2, 15)
    assert next_due(rule, ["2026-01-15"], facts={"consecutive_passes": 3}).due == date(2026, 4, 15)


def test_twice_a_year_also_ends_with_the_year():
    rule = {"type": "times_per_year", "times": 2, "min_gap_months": 4, "max_gap_months": 8}
    assert next_due(rule, ["2026-06-01"]).due == date(2026, 12, 31)
    assert next_due(rule, ["2026-01-10", "2026-06-01"]).due == date(2027, 2, 1)
    assert next_due(rule, ["2026-10-01"]).due == date(2027, 6, 1)  # a second in 2026 would be too close


def test_the_same_quarter_is_kept_after_an_early_or_a_late_check():
    rule = {"type": "same_quarter_each_year"}
    assert next_due(rule, ["2024-05-10"]).due == date(2025, 6, 30)
    assert next_due(rule, ["2024-05-10", "2025-08-01"]).due == date(2026, 6, 30)
    assert next_due(rule, ["2024-05-10", "2025-02-01"]).due == date(2025, 6, 30)


def test_a_boiler_that_turns_12_changes_its_rhythm_on_the_day_of_planning():
    rule = SETS["de-1bimschv"]["interval"]
    facts = {"self_calibrating": False}

    def due_on(today):
        return next_due(rule, ["2024-03-05"], start="2014-06-01", today=today, facts=facts).due

    assert due_on("2026-06-01") == date(2027, 12, 31)
    assert due_on("2026-06-02") == date(2026, 12, 31)


def test_a_special_variant_wins_over_a_general_one():
    facts = {"self_calibrating": True, "age_years": 20}
    assert next_due(SETS["de-1bimschv"]["interval"], ["2024-03-05"], facts=facts).due == date(2029, 12, 31)


@pytest.mark.parametrize(
    ("fuel", "output_kw", "expected"),
    [
        ("natural_gas", 99.9, date(2028, 11, 10)),
        ("natural_gas", 100, date(2026, 11, 10)),  # exactly 100 kW belongs to the larger class
        ("oil_light", 35, date(2026, 11, 10)),
        ("oil_light", 100, date(2025, 11, 10)),
    ],
)
def test_variants_follow_fuel_and_output(fuel, output_kw, expected):
    facts = {"fuel": fuel, "output_kw": output_kw}
    due = next_due(SETS["it-dpr74"]["interval"], ["2024-11-10"], facts=facts)
    assert (due.due, doubt_words(due.cannot_tell)) == (expected, "")


def test_a_missing_fact_gives_the_earliest_date_and_names_the_fact():
    due = next_due(SETS["it-dpr74"]["interval"], ["2024-11-10"], facts={"fuel": "natural_gas"})
    assert due.due == date(2026, 11, 10)
    assert "output not recorded" in doubt_words(due.cannot_tell)


def test_a_plant_out_of_use_on_its_due_day_is_due_after_its_restart():
    rule = SETS["us-epa-6j-biennial"]["interval"]
    idle = {"out_of_use": [{"from": "2025-10-01", "to": "2025-12-01"}]}
    assert next_due(rule, ["2023-10-12"], facts=idle).due == date(2025, 12, 31)
    waiting = next_due(rule, ["2023-10-12"], facts={"out_of_use": [{"from": "2025-10-01", "to": None}]})
    assert waiting.due is None
    assert "30 days after restart" in doubt_words(waiting.cannot_tell)


def test_a_plant_back_in_use_before_its_due_day_keeps_it():
    rule = SETS["us-epa-6j-biennial"]["interval"]
    idle = {"out_of_use": [{"from": "2025-05-01", "to": "2025-11-12"}]}
    assert next_due(rule, ["2023-10-12"], facts=idle).due == date(2025, 11, 12)


def test_a_plant_of_a_generating_unit_is_due_by_1_may():
    rule = SETS["us-nj-7-27-19.16"]["interval"]
    facts = {"serves_electric_generating_unit": True}
    assert next_due(rule, ["2026-02-01"], facts=facts).due == date(2027, 5, 1)


@pytest.mark.parametrize("set_id", SETS)
def test_every_limit_set_gives_a_date_or_says_why_not(set_id):
    entry = SETS[set_id]
    for rule in (entry["interval"], *entry.get("extra_intervals", ())):
        known = {"installation_on": "2015-01-01"}
        due = next_due(rule, ["2026-01-15"], start="2015-01-01", today="2026-11-25", facts=known)
        assert date_words(due.steps).endswith(".")
        assert (due.due is None) == (rule["type"] == "none")
        first = next_due(rule, [], start="2026-01-15", today="2026-11-25", facts=known)
        assert (first.due is None) == (rule["type"] == "none")


@pytest.mark.parametrize(
    "rule",
    [
        {},
        {"type": "every_so_often"},
        {"type": "max_months"},
        {"type": "max_months", "months": 0},
        {"type": "max_months", "months": "12"},
        {"type": "max_months", "months": 12, "variants": [{"when": "in prose", "months": 6}]},
    ],
)
def test_a_rule_that_cannot_be_calculated_with_has_faults(rule):
    assert faults(rule)


def test_a_time_of_day_is_refused_since_only_the_site_knows_its_date():
    with pytest.raises(ValueError, match="local date"):
        next_due({"type": "max_months", "months": 12}, [datetime(2026, 1, 15, 23, 30)])


def test_the_strict_reading_of_the_window_is_said():
    words = date_words(next_due(KEEP, ["2018-02-10"]).steps)
    assert (
        "from 11 December 2018 a check keeps that date (2 months that end with it, read strictly: 10 December 2018"
        in words
    )


def test_the_extension_is_told_only_while_it_can_still_be_used():
    rule = SETS["uk-gsiur-36"]["interval"]
    assert next_due(rule, ["2018-02-10"]).extension_until == date(2019, 4, 9)
    assert next_due(KEEP, ["2018-02-10"]).extension_until is None
    used = {"alignment_extension_used_on": "2019-03-20"}
    due = next_due(rule, ["2018-02-10", "2019-03-20"], facts=used)
    assert (due.due, due.extension_until) == (date(2020, 3, 20), None)
    assert next_due(rule | {"alignment_extension_used": True}, ["2018-02-10"]).extension_until is None


def test_a_day_that_is_none_used_no_extension():
    rule = SETS["uk-gsiur-36"]["interval"]
    assert next_due(rule, ["2018-02-10"], facts={"alignment_extension_used_on": "some day"}).extension_until


def test_a_part_may_wait_for_the_next_shutdown_from_when_it_was_last_done():
    rule = SETS["us-epa-6j-biennial"]["interval"]
    due = next_due(rule, ["2023-10-12"])
    assert (due.due, due.may_wait) == (date(2025, 11, 12), (("burner_inspection", date(2026, 10, 12)),))
    assert "; burner inspection may wait for a shutdown until 12 October 2026" in date_words(due.steps)
    done = {"burner_inspection_done_on": "2022-05-31"}
    assert next_due(rule, ["2023-10-12"], facts=done).may_wait == (("burner_inspection", date(2025, 5, 31)),)
    unread = {"burner_inspection_done_on": "some day"}
    assert next_due(rule, ["2023-10-12"], facts=unread).may_wait == due.may_wait


def test_a_generating_unit_that_was_idle_on_1_may_is_due_7_days_after_it_runs_again():
    rule = SETS["us-nj-7-27-19.16"]["interval"]
    facts = {"serves_electric_generating_unit": True, "out_of_use": [{"from": "2027-03-01", "to": "2027-05-20"}]}
    assert next_due(rule, ["2026-02-01"], facts=facts).due == date(2027, 5, 27)
    idle = {"serves_electric_generating_unit": False, "out_of_use": [{"from": "2027-03-01", "to": "2027-05-20"}]}
    assert next_due(rule, ["2026-02-01"], facts=idle).due == date(2027, 3, 31)


def test_the_words_of_windows_say_what_counted():
    season = {"type": "in_each_window", "windows": [{"from_month": 9, "to_month": 4}]}
    said = "one check is asked for from 1 September 2026 to 30 April 2027."
    assert date_words(next_due(season, ["2026-04-30"]).steps) == f"30 April 2026; {said}"
    assert date_words(next_due(season, ["2026-05-01"]).steps) == f"1 May 2026 lies in no window and serves none; {said}"
    begun = next_due(season, [], start="2026-10-10")
    assert date_words(begun.steps) == f"No check on record, counted from the start: 10 October 2026; {said}"
    named = {"type": "in_named_months", "named_months": [9, 4]}
    assert date_words(next_due(named, ["2026-05-01"]).steps) == (
        "1 May 2026 lies in no named month and serves none; one check is asked for in Apr or Sep 2026, by 30 "
        "September 2026."
    )


def test_a_start_in_a_named_month_serves_no_year():
    named = {"type": "in_named_months", "named_months": [4, 9]}
    due = next_due(named, [], start="2026-04-10")
    assert (due.due, due.earliest_keep) == (date(2026, 9, 30), date(2026, 4, 10))
    assert next_due(named, ["2026-04-10"]).due == date(2027, 9, 30)
