"""A rule is taken only if it can be reckoned with, whatever comes to be recorded; a refusal names what is wrong."""

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

LIMIT_SETS = Path(__file__).parents[2] / "fixtures" / "reference" / "limit_sets.json"
SHIPPED = {entry["id"]: entry["interval"] for entry in json.loads(LIMIT_SETS.read_text())["profiles"]}
MONTHS = {"type": "max_months", "months": 12}
HOURS = {"type": "months_or_hours_later", "months": 3, "hours": 2000}
KEEP = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
IDLE = "if_not_operating_on_due_date"


@pytest.mark.parametrize("name", SHIPPED)
def test_every_shipped_rule_is_taken(name: str) -> None:
    check_rule(SHIPPED[name])


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
        (HOURS | {"relax_after_passes": "x"}, "relax_after_passes is 'x'"),
        (HOURS | {"relax_after_passes": {"passes": 3}}, "relax_after_passes lacks months, hours"),
    ],
)
def test_a_rule_that_cannot_always_be_reckoned_with_is_refused(rule: Any, said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        check_rule(rule)


odd = st.one_of(st.none(), st.booleans(), st.integers(-5, 10**18), st.text(max_size=3), st.just([1]), st.just({}))
places = st.sampled_from(
    [*HIGHEST, "type", "variants", "first", "grace", "relax_after_passes", "event", "alignment_extension_used"]
)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sampled_from([*SHIPPED.values(), HOURS, KEEP]), st.dictionaries(places, odd, min_size=1, max_size=2))
def test_what_is_taken_gives_an_answer_and_what_is_not_is_a_value_error(rule: Any, change: dict[str, Any]) -> None:
    spoilt = copy.deepcopy(rule) | change
    with suppress(ValueError):
        check_rule(spoilt)
        facts = {"out_of_use": [{"from": "2020-01-01", "to": None}], "consecutive_passes": 9}
        try:
            made = next_due(spoilt, ["2024-01-31", "2025-02-28"], start="2024-01-01", today="2026-01-01", facts=facts)
        except ValueError as bad:
            raise AssertionError(f"{spoilt} was taken") from bad
        assert made.words
