"""A rule is taken only if it can be calculated with, whatever comes to be recorded; a refusal names what is wrong."""

import copy
import json
import re
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.intervals import check_rule, next_due
from fleet.intervals.rules import HIGHEST
from fleet.presentation.due_dates import date_words
from tests.intervals.rules_of_each_kind import KEEP, RULES

LIMIT_SETS = Path(__file__).parents[2] / "fixtures" / "reference" / "limit_sets.json"
PROFILES = json.loads(LIMIT_SETS.read_text())["profiles"]
SHIPPED = {entry["id"]: entry["interval"] for entry in PROFILES}
SHIPPED |= {f"{e['id']} {x['name']}": x for e in PROFILES for x in e.get("extra_intervals", ())}
MONTHS = {"type": "max_months", "months": 12}
HOURS = {"type": "months_or_hours_later", "months": 3, "hours": 2000}
TWICE = {"type": "times_per_year", "times": 2, "min_gap_months": 4, "max_gap_months": 8}
SEASON = {"from_month": 9, "to_month": 4}
SEASONS = {"type": "in_each_window", "windows": [SEASON]}
NAMED = {"type": "in_named_months", "named_months": [4, 9]}
IDLE = "if_not_operating_on_due_date"


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_rule_is_taken(name: str) -> None:
    check_rule(SHIPPED[name])


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["type"])
def test_a_rule_of_every_kind_is_taken(rule: Any) -> None:
    check_rule(rule)


def test_windows_may_touch_and_a_window_may_last_all_year() -> None:
    check_rule(SEASONS | {"windows": [SEASON, {"from_month": 5, "to_month": 8}]})
    check_rule(SEASONS | {"windows": [{"from_month": 3, "to_month": 2}]})
    check_rule(SEASONS | {"windows": [{"from_month": month, "to_month": month} for month in range(1, 13)]})


def test_a_rule_at_its_bounds_is_taken_and_stays_in_the_calendar() -> None:
    for rule in (MONTHS | {"months": 1200}, {"type": "days_after_event", "days": 36_600}):
        check_rule(rule)
        due = next_due(rule, [], start="2200-12-31").due
        assert due is not None
        assert due < date(2302, 1, 1)


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("yearly", "rule is 'yearly'; it must be an object"),
        ({}, "unknown kind of interval"),
        ({"type": []}, "unknown kind of interval"),
        ({"type": "max_months"}, "months must be"),
        (MONTHS | {"months": 9007199254740991}, "months is 9007199254740991; it must be a whole number from 1 to 1200"),
        (MONTHS | {"months": 1201}, "from 1 to 1200"),
        (MONTHS | {"months": True}, "months is True"),
        (MONTHS | {"months": 12.5}, "months is 12.5"),
        (MONTHS | {"variants": "abc"}, "variants is 'abc'"),
        (MONTHS | {"variants": [1]}, "variants.0 is 1; it must be an object"),
        (MONTHS | {"variants": [{"months": 6}]}, "variants.0.select is None"),
        (MONTHS | {"variants": [{"select": {}, "months": "x"}]}, "variants.0.months"),
        (MONTHS | {"variants": [{"select": {"output_kw_ge": "big"}}]}, "variants.0.select.output_kw_ge is 'big'"),
        (MONTHS | {"variants": [{"select": {"output_kw_ge": "nan"}}]}, "it must be a number"),
        (MONTHS | {"variants": [{"select": {"x": 1}, "type": "whenever"}]}, "unknown kind of interval"),
        (MONTHS | {"variants": [{"select": {}, "variants": [1]}]}, "variants.0 has variants"),
        (MONTHS | {"variants": [{"select": {}}] * 101}, "at most 100"),
        (MONTHS | {"variants": [{"select": {"x" * 500: True}}]}, "too many facts"),
        (MONTHS | {"grace": "x"}, "grace is 'x'"),
        (MONTHS | {"grace": {IDLE: 30}}, f"grace.{IDLE} is 30"),
        (MONTHS | {"grace": {IDLE: {}}}, f"grace.{IDLE} lacks days"),
        (MONTHS | {"grace": {IDLE: {"days": 10**9}}}, f"grace.{IDLE}.days"),
        (MONTHS | {"first": "x"}, "first is 'x'"),
        (MONTHS | {"first": {"type": "whenever"}}, "unknown kind of interval"),
        (MONTHS | {"first": MONTHS | {"first": MONTHS}}, "first has first"),
        (MONTHS | {"first": MONTHS | {"variants": [{"select": {}, "grace": 1}]}}, "first.variants.0.grace is 1"),
        ({"type": "same_quarter_each_year", "quarter": "x"}, "quarter is 'x'; it must be a whole number from 1 to 4"),
        ({"type": "same_quarter_each_year", "quarter": 5}, "from 1 to 4"),
        ({"type": "by_day_each_year", "month": 2, "day": 29}, "day"),
        ({"type": "calendar_years", "every": 8000}, "from 1 to 100"),
        ({"type": "days_after_event", "days": 1000000000}, "days is 1000000000"),
        ({"type": "days_after_event", "months": "x"}, "months is 'x'"),
        ({"type": "days_after_event", "days": 28, "event": "x" * 200}, "event is"),
        (KEEP | {"one_off_alignment_extension_months": "z"}, "one_off_alignment_extension_months is 'z'"),
        (KEEP | {"early_window_months": 12}, "early_window_months must be below months, 12"),
        (TWICE | {"min_gap_months": 9}, "min_gap_months must leave room for 2 a year, 8 months apart at most"),
        (TWICE | {"times": 4}, "min_gap_months must leave room for 4 a year"),
        (HOURS | {"type": "months_or_hours_first", "hours": 0}, "hours is 0"),
        ({"type": "months_or_hours_first", "months": 3}, "hours must be"),
        ({"type": "in_each_window"}, "windows must be a list of at least one"),
        (SEASONS | {"windows": []}, "windows is []; it must be a list of 1 to 12 windows"),
        (SEASONS | {"windows": [SEASON] * 13}, "it must be a list of 1 to 12 windows"),
        (SEASONS | {"windows": "x"}, "windows is 'x'"),
        (SEASONS | {"windows": [SEASON, 9]}, "windows.1 is 9; it must be an object"),
        (SEASONS | {"windows": [{"from_month": 9}]}, "windows.0 lacks to_month"),
        (SEASONS | {"windows": [SEASON | {"to_month": 13}]}, "windows.0.to_month is 13"),
        (SEASONS | {"windows": [SEASON | {"from_day": 32}]}, "windows.0.from_day is 32"),
        (SEASONS | {"windows": [SEASON | {"to_day": True}]}, "windows.0.to_day is True"),
        (SEASONS | {"windows": [SEASON, {"from_month": 4, "to_month": 5}]}, "two windows have 01 Apr in common"),
        (SEASONS | {"windows": [{"from_month": 2, "from_day": 29, "to_month": 2, "to_day": 28}]}, "two windows have"),
        ({"type": "in_named_months"}, "named_months must be a list of at least one"),
        (NAMED | {"named_months": []}, "named_months is []; it must be a list of 1 to 12 months"),
        (NAMED | {"named_months": [1] * 13}, "it must be a list of 1 to 12 months"),
        (NAMED | {"named_months": 4}, "named_months is 4"),
        (NAMED | {"named_months": [4, 13]}, "named_months.1 is 13; it must be a whole number from 1 to 12"),
        (NAMED | {"variants": [{"select": {"x": 1}, "named_months": [0]}]}, "variants.0.named_months.0 is 0"),
        (MONTHS | {"component_defer_months": 36}, "component_defer_months is 36; it must be an object"),
        (MONTHS | {"component_defer_months": {"burner": 0}}, "component_defer_months.burner is 0"),
        (MONTHS | {"component_defer_months": {"Burner": 36}}, "component_defer_months has 'Burner'"),
        (MONTHS | {"component_defer_months": {"b" * 61: 36}}, "at most 60"),
        (MONTHS | {"select": 5}, "select is 5; it must be an object"),
        (
            MONTHS | {"select": {"output_kw_ge": "2009-02-30"}},
            "select.output_kw_ge is '2009-02-30'; it must be a number",
        ),
        (
            MONTHS | {"select": {"f" * 80: True, "g" * 80: True}},
            "select asks for too many facts: their names have 162 characters together; 160 at most",
        ),
        (MONTHS | {"again_after": 4}, "again_after is 4; it must be an object"),
        (MONTHS | {"again_after": {"event": "permit"}}, "again_after lacks months"),
        (MONTHS | {"again_after": {"event": "permit", "months": 0}}, "again_after.months is 0"),
        (MONTHS | {"again_after": {"event": "The permit", "months": 4}}, "again_after.event is 'The permit'"),
        (MONTHS | {"shared_flue": "highest"}, "shared_flue is 'highest'; it must be one of: strictest"),
        (MONTHS | {"first": MONTHS | {"select": {"x": 1}}}, "first has select"),
        (MONTHS | {"variants": [{"select": {"x": 1}, "shared_flue": "strictest"}]}, "variants.0 has shared_flue"),
        ({"type": "once"}, "months must be"),
        ({"type": "once", "months": 12}, "once: event must be the name of one"),
        ({"type": "once", "months": 12, "event": "The start"}, "once: event must be the name of one"),
        ({"type": "once", "months": 12, "event": "start", "from_months": 12}, "from_months must be below months, 12"),
        ({"type": "once", "by": "30 September 2027"}, "by is '30 September 2027'; it must be a day from 1900 to 2200"),
        ({"type": "once", "by": "2027-09-31"}, "by is '2027-09-31'"),
        ({"type": "once", "by": "2201-01-01"}, "it must be a day from 1900 to 2200"),
        (HOURS | {"relax_after_passes": "x"}, "relax_after_passes is 'x'"),
        (HOURS | {"relax_after_passes": {"passes": 3}}, "relax_after_passes lacks months, hours"),
    ],
)
def test_a_rule_that_cannot_always_be_calculated_with_is_refused(rule: Any, said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        check_rule(rule)


odd = st.one_of(st.none(), st.booleans(), st.integers(-5, 10**18), st.text(max_size=3), st.just([1]), st.just({}))
PARTS = ["variants", "first", "grace", "relax_after_passes", "windows", "named_months", "component_defer_months", "by",
         "select", "again_after", "shared_flue"]  # fmt: skip
places = st.sampled_from([*HIGHEST, *PARTS, "type", "event", "alignment_extension_used"])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sampled_from([*SHIPPED.values(), *RULES]), st.dictionaries(places, odd, min_size=1, max_size=2))
def test_what_is_taken_gives_an_answer_and_what_is_not_is_a_value_error(rule: Any, change: dict[str, Any]) -> None:
    spoilt = copy.deepcopy(rule) | change
    with suppress(ValueError):
        check_rule(spoilt)
        facts = {"out_of_use": [{"from": "2020-01-01", "to": None}], "consecutive_passes": 9}
        try:
            made = next_due(spoilt, ["2024-01-31", "2025-02-28"], start="2024-01-01", today="2026-01-01", facts=facts)
        except ValueError as bad:
            raise AssertionError(f"{spoilt} was taken") from bad
        assert date_words(made.steps)


words = st.one_of(st.text(max_size=4), st.booleans(), st.integers(-5, 10**9), st.floats(), st.just("2025-06-31"))
facts = st.dictionaries(
    st.sampled_from(
        [
            "age_years", "output_kw", "fuel", "self_calibrating", "run_hours", "out_of_use", "consecutive_passes",
            "alignment_extension_used_on", "burner_inspection_done_on", "serves_electric_generating_unit",
            "installation_on", "emission_relevant_change_on", "permit_on", "low_use", "on_one_flue",
        ]
    ),
    words,
)  # fmt: skip


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.sampled_from([*SHIPPED.values(), *RULES]), facts)
def test_whatever_an_appliance_s_facts_hold_a_date_is_given_or_why_there_is_none(
    rule: Any, known: dict[str, Any]
) -> None:
    made = next_due(rule, ["2024-01-31", "2025-02-28"], start="2015-06-01", today="2026-01-01", facts=known)
    assert date_words(made.steps)
    assert (made.due is None) == (rule["type"] == "none") or rule["type"] == "once" or "select" in rule
