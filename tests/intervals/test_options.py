"""What a rule can carry beside its kind: asked for once, only there, again after an event, the strictest on a flue.

Dates from the texts stand in fixtures/golden/interval_vectors.json; here is what holds whatever the dates are.
"""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import next_due, what_if
from fleet.intervals.dates import add_months
from fleet.intervals.events import days_of
from fleet.presentation.due_dates import date_words, doubt_words, what_if_words
from tests.intervals.rules_of_each_kind import HOURS_FIRST, HOURS_LATER, RULES

ONCE = {"type": "once", "event": "installation", "months": 192, "from_months": 180}
BY = {"type": "once", "by": "2027-09-30"}
YEARLY = {"type": "max_months", "months": 12}
AGAIN = {"again_after": {"event": "permit", "months": 4}}
ON_A_FLUE = {
    "type": "calendar_years",
    "every": 3,
    "shared_flue": "strictest",
    "variants": [{"select": {"open": True}, "every": 1}, {"select": {"open": False}, "every": 2}],
}

days = st.dates(date(2015, 1, 1), date(2040, 12, 31))
histories = st.lists(days, max_size=6)
bounded = settings(max_examples=60, deadline=None, derandomize=True)


# ---- once ----


@bounded
@given(days, histories)
def test_once_is_due_by_its_day_until_one_check_counts_and_never_after_that(
    installed: date, history: list[date]
) -> None:
    facts = {"installation_on": installed}
    opens, ends = add_months(installed, 180), add_months(installed, 192)
    due = next_due(ONCE, history, facts=facts)
    if any(day >= opens for day in history):
        assert (due.due, doubt_words(due.cannot_tell)) == (None, "")
        later = [*history, max(history) + timedelta(days=4000)]
        assert next_due(ONCE, later, facts=facts) == due
    else:
        assert (due.due, due.earliest_keep) == (ends, opens)


@bounded
@given(histories, days)
def test_what_was_done_before_the_required_check_began_does_not_count_what_is_asked_for_once(
    history: list[date], start: date
) -> None:
    done = any(day >= start for day in history)
    assert (next_due(BY, history, start=start).due is None) == done


def test_once_says_by_when_from_when_and_when_it_was_done() -> None:
    facts = {"installation_on": "2012-02-29"}
    assert date_words(next_due(ONCE, [], facts=facts).steps) == (
        "Asked for once: 192 months after installation on 29 February 2012 is 29 February 2028; a check counts "
        "from 28 February 2027, "
        "180 months after it."
    )
    assert date_words(next_due(BY, []).steps) == "Asked for once, by 30 September 2027."
    assert date_words(next_due(BY, ["2027-01-04"]).steps) == (
        "Done on 4 January 2027; it was asked for once, so nothing more falls due."
    )


@pytest.mark.parametrize("known", [{}, {"installation_on": "about 2009"}, {"installation_on": 2009}])
def test_once_after_an_event_of_which_no_day_is_recorded_cannot_tell(known: dict[str, Any]) -> None:
    due = next_due(ONCE, [], facts=known)
    assert (due.due, doubt_words(due.cannot_tell)) == (None, "no date of installation recorded")


def test_what_if_a_check_were_made_once() -> None:
    answer = what_if(BY, [], "2027-05-04", start="2026-01-01")
    assert what_if_words(answer) == (
        "In time: due by 30 September 2027. Done on 4 May 2027; it was asked for once, so nothing more falls due."
    )


# ---- only there ----


@bounded
@given(st.sampled_from(RULES), st.lists(days, min_size=1, max_size=6))
def test_a_rule_for_some_is_itself_there_nothing_elsewhere_and_in_doubt_in_between(
    rule: dict[str, Any], history: list[date]
) -> None:
    plain, only = next_due(rule, history), {**rule, "select": {"low_use": True}}
    assert next_due(only, history, facts={"low_use": True}) == plain
    elsewhere, doubtful = next_due(only, history, facts={"low_use": False}), next_due(only, history)
    assert (elsewhere.due, doubt_words(elsewhere.cannot_tell)) == (None, "")
    assert (
        date_words(elsewhere.steps)
        == "It is asked for only of appliances of a kind: low use; the register says otherwise, so nothing falls due."
    )
    assert doubtful.due == plain.due
    assert doubt_words(doubtful.cannot_tell).startswith("low use not recorded")


def test_a_word_where_yes_or_no_belongs_leaves_the_doubt_and_names_the_fact() -> None:
    only = YEARLY | {"select": {"low_use": True}}
    assert doubt_words(next_due(only, ["2025-01-01"], facts={"low_use": "yes"}).cannot_tell).startswith(
        "low use not recorded"
    )
    rule = YEARLY | {"variants": [{"select": {"output_kw_gt": 400}, "months": 6}]}
    due = next_due(rule, ["2025-01-01"], facts={"output_kw": "many"})
    assert (due.due, doubt_words(due.cannot_tell)) == (
        date(2025, 7, 1), "output not recorded: the earliest possible date is given"
    )  # fmt: skip


def test_a_rule_for_some_that_may_not_be_asked_for_has_no_day_that_is_certain() -> None:
    due = next_due(YEARLY | {"select": {"low_use": True}}, ["2020-01-01"], today="2026-01-01")
    assert due.due == date(2021, 1, 1)
    assert doubt_words(due.cannot_tell)


# ---- again after an event ----


@bounded
@given(st.sampled_from(RULES), st.lists(days, min_size=1, max_size=6), st.lists(days, max_size=3))
def test_a_check_is_due_so_many_months_after_the_first_event_that_no_check_followed(
    rule: dict[str, Any], history: list[date], events: list[date]
) -> None:
    plain, due = next_due(rule, history), next_due(rule | AGAIN, history, facts={"permit_on": events})
    open_since = min((day for day in events if day > max(history)), default=None)
    expected = plain.due if open_since is None else min(plain.due or date.max, add_months(open_since, 4))
    assert due.due == expected
    assert due == next_due(rule | AGAIN, history, facts={"permit_on": events[::-1]})
    assert due.due is not None
    assert due.due > max(history)


def test_a_check_on_the_day_of_the_event_is_one_after_it() -> None:
    for checked, due in (("2026-02-01", date(2027, 2, 1)), ("2026-01-31", date(2026, 6, 1))):
        assert next_due(YEARLY | AGAIN, [checked], facts={"permit_on": "2026-02-01"}).due == due


def test_an_event_to_come_asks_for_nothing_yet() -> None:
    rule, facts = YEARLY | AGAIN, {"permit_on": "2026-02-01"}
    assert next_due(rule, ["2025-06-01"], today="2026-01-31", facts=facts).due == date(2026, 6, 1)
    assert date_words(next_due(rule, ["2025-12-01"], today="2026-02-01", facts=facts).steps) == (
        "4 months after permit on 1 February 2026 is 1 June 2026; without it: 1 December 2025 plus 12 months "
        "is 1 December 2026."
    )


def test_an_event_before_the_required_check_began_asks_for_its_check_until_there_is_one() -> None:
    """However long ago: what was overdue when the required check began is overdue still."""
    rule, facts = {"type": "max_months", "months": 36} | AGAIN, {"permit_on": "2025-10-10"}
    assert next_due(rule, ["2025-06-01"], start="2026-03-01", today="2026-03-02", facts=facts).due == date(2026, 2, 10)
    assert next_due(rule, [], start="2027-01-01", facts=facts).due == date(2026, 2, 10)
    assert next_due(rule, ["2025-10-10"], start="2027-01-01", facts=facts).due == date(2028, 10, 10)


def test_where_the_rule_can_give_no_date_the_event_s_stands() -> None:
    rule = {"type": "once", "event": "start_up", "months": 12} | AGAIN
    due = next_due(rule, [], start="2020-01-01", today="2026-03-02", facts={"permit_on": "2026-01-12"})
    assert (due.due, doubt_words(due.cannot_tell)) == (date(2026, 5, 12), "")
    assert (
        date_words(due.steps)
        == "4 months after permit on 12 January 2026 is 12 May 2026; without it: No date of start up recorded."
    )
    assert doubt_words(next_due(rule, [], start="2020-01-01").cannot_tell) == "no date of start up recorded"


def test_an_event_decides_for_certain_what_the_run_hours_leave_open() -> None:
    facts = {"permit_on": "2026-02-01"}
    later = next_due(HOURS_LATER | AGAIN, ["2026-01-15"], facts=facts)
    assert (later.due, bool(later.cannot_tell), later.certain_by) == (date(2026, 4, 15), True, date(2026, 6, 1))
    first = next_due(HOURS_FIRST | AGAIN, ["2025-06-15"], facts={"permit_on": "2025-06-16"}, today="2025-11-01")
    assert (first.due, doubt_words(first.cannot_tell)) == (date(2025, 10, 16), "")


@pytest.mark.parametrize("recorded", [None, "", "soon", 7, True, ["x"], {"day": 1}, "9999-01-01", date(1899, 12, 31)])
def test_what_is_no_day_is_as_good_as_no_event(recorded: object) -> None:
    assert days_of("permit", {"permit_on": recorded}) == ()


@bounded
@given(days, st.sampled_from(["Pacific/Kiritimati", "Europe/Berlin", "Pacific/Pago_Pago"]), st.integers(0, 23))
def test_days_are_local_and_a_moment_is_refused_as_one(day: date, zone: str, hour: int) -> None:
    moment = datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(zone))
    assert days_of("permit", {"permit_on": moment}) == ()
    assert days_of("permit", {"permit_on": moment.date()}) == (day,)


@pytest.mark.parametrize(
    ("rule", "fact"),
    [
        (ONCE, "installation_on"),
        (YEARLY | AGAIN, "permit_on"),
        (YEARLY | {"component_defer_months": {"burner": 36}}, "burner_done_on"),
    ],
)
def test_a_day_beyond_all_reach_is_as_good_as_not_recorded(rule: dict[str, Any], fact: str) -> None:
    for day in ("9999-01-01", "0001-01-01"):
        assert next_due(rule, ["2026-01-01"], facts={fact: day}) == next_due(rule, ["2026-01-01"])
        assert what_if_words(what_if(rule, ["2026-01-01"], "2026-03-02", facts={fact: day}))


# ---- which check the rule counted ----

SUMMERS = {"type": "in_named_months", "named_months": [6, 7]}
WINTERS = {"type": "in_each_window", "windows": [{"from_month": 11, "to_month": 2}]}
AFTER = {"type": "days_after_event", "days": 28, "event": "gas_conversion"}
THIRD_QUARTERS = {"type": "same_quarter_each_year", "quarter": 3}


@pytest.mark.parametrize(
    ("rule", "history", "counted"),
    [
        (YEARLY, ["2024-05-01", "2026-02-01"], "2026-02-01"),
        (YEARLY, [], None),
        (YEARLY | {"first": {"type": "max_months", "months": 1}}, [], None),
        (YEARLY | {"select": {"low_use": True}}, ["2026-02-01"], None),
        (YEARLY | {"select": {"low_use": False}}, ["2026-02-01"], "2026-02-01"),
        (BY, ["2024-06-01"], None),
        (BY, ["2024-06-01", "2025-06-01", "2026-02-01"], "2025-06-01"),
        (ONCE, ["2025-12-31"], None),
        (ONCE, ["2025-12-31", "2026-01-01"], "2026-01-01"),
        (AFTER, ["2024-12-31"], None),
        (AFTER, ["2025-01-01", "2026-02-01"], "2025-01-01"),
        (SUMMERS, ["2025-05-31"], None),
        (SUMMERS, ["2020-06-30", "2025-08-01"], "2020-06-30"),
        (WINTERS, ["2025-10-31"], None),
        (WINTERS, ["2015-01-15", "2025-10-31"], "2015-01-15"),
        (WINTERS, ["2025-11-01", "2026-01-15"], "2026-01-15"),
        (THIRD_QUARTERS, ["2025-09-01", "2026-02-01"], "2025-09-01"),
        (THIRD_QUARTERS, ["2024-09-01", "2026-02-01"], "2026-02-01"),
        (THIRD_QUARTERS, ["2025-07-01", "2025-09-01"], "2025-09-01"),
        (BY | AGAIN, ["2025-06-01", "2026-02-01"], "2026-02-01"),
        (BY | AGAIN, ["2025-06-01", "2026-01-31"], "2025-06-01"),
        (BY | AGAIN, ["2024-06-01"], None),
    ],
)
def test_the_newest_check_that_served_the_rule_is_named(
    rule: dict[str, Any], history: list[str], counted: str | None
) -> None:
    facts = {"installation_on": "2011-01-01", "permit_on": "2026-02-01", "low_use": False}
    due = next_due(rule, history, start="2025-01-01", facts=facts)
    assert (due.counted and due.counted.isoformat()) == counted


@bounded
@given(st.sampled_from([*RULES, SUMMERS, WINTERS, THIRD_QUARTERS]), st.lists(days, min_size=1, max_size=6))
def test_only_a_check_that_was_made_is_counted_and_without_it_the_last_day_is_no_later(
    rule: dict[str, Any], history: list[date]
) -> None:
    due = next_due(rule, history)
    assert due.counted is None or due.counted in history
    if due.counted == max(history) and (before := [day for day in history if day < due.counted]):
        without = next_due(rule, before)
        assert without.due is not None
        assert due.due is not None
        assert without.due <= due.due


# ---- the strictest on a flue ----

facts_of_one = st.sampled_from([{"open": True}, {"open": False}, {}])


@bounded
@given(st.lists(days, min_size=1, max_size=4), facts_of_one, st.lists(facts_of_one, max_size=3))
def test_on_one_flue_all_have_the_earliest_day_of_any(
    history: list[date], own: dict[str, Any], others: list[dict[str, Any]]
) -> None:
    alone = [next_due(ON_A_FLUE, history, facts=each) for each in (own, *others)]
    named = [(f"Boiler {number}", each) for number, each in enumerate(others, 2)]
    due = next_due(ON_A_FLUE, history, facts={**own, "on_one_flue": named})
    assert due.due == min(each.due for each in alone if each.due)
    certain = [each for each in alone if each.due == due.due and not each.cannot_tell]
    assert bool(doubt_words(due.cannot_tell)) == (not certain)


def test_the_words_say_whose_interval_it_is_and_what_its_own_would_be() -> None:
    facts = {"open": False, "on_one_flue": [("Boiler 2", {"open": True})]}
    assert date_words(next_due(ON_A_FLUE, ["2025-03-05"], facts=facts).steps) == (
        "Calendar year 2025 plus 1 is 2026: 31 December 2026 at the latest; by Boiler 2, the strictest of the "
        "2 on its flue "
        "(by its own facts alone 31 December 2027)."
    )
    unknown = {"open": False, "on_one_flue": [("Boiler 2", {})]}
    due = next_due(ON_A_FLUE, ["2025-03-05"], facts=unknown)
    assert doubt_words(due.cannot_tell) == "Boiler 2: open not recorded: the earliest possible date is given"
    assert due.certain_by == date(2027, 12, 31)


def test_run_hours_on_a_flue_are_the_appliance_s_own() -> None:
    rule = HOURS_LATER | {"shared_flue": "strictest"}
    history = [{"date": "2026-01-15", "run_hours": 1000}]
    read = {"run_hours": [{"date": "2026-06-10", "run_hours": 3010}]}
    others = [("Boiler 2", {"run_hours": [{"date": "2026-02-01", "run_hours": 3000}]})]
    assert next_due(rule, history, facts={**read, "on_one_flue": others}).due == date(2026, 6, 10)
