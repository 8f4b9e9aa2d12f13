"""A rule is taken only if it can be calculated with, whatever comes to be recorded; a refusal names what is wrong."""

import copy
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from fleet.intervals import faults, next_due, rule_schema
from fleet.intervals.kinds import KINDS, Kind
from fleet.intervals.rules import EVERYWHERE, ONLY_WHOLE
from fleet.presentation.codes import wrong_text
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
    assert faults(SHIPPED[name]) == {}


def test_the_properties_are_held_against_a_rule_of_every_kind_that_goes_from_check_to_check() -> None:
    assert {rule["type"] for rule in RULES} == {name for name, kind in KINDS.items() if kind.is_rhythm}


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_each_kind_tells_what_it_needs_by_name(kind: Kind) -> None:
    assert kind.holds.keys() >= {name for names in kind.needs for name in names}
    assert faults({"type": kind.type}).keys() == set(kind.needs[0])
    assert kind.__doc__


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["type"])
def test_a_rule_of_every_kind_is_taken(rule: Any) -> None:
    assert faults(rule) == {}


def test_windows_may_touch_and_a_window_may_last_all_year() -> None:
    assert faults(SEASONS | {"windows": [SEASON, {"from_month": 5, "to_month": 8}]}) == {}
    assert faults(SEASONS | {"windows": [{"from_month": 3, "to_month": 2}]}) == {}
    assert faults(SEASONS | {"windows": [{"from_month": month, "to_month": month} for month in range(1, 13)]}) == {}


def test_a_rule_at_its_bounds_is_taken_and_stays_in_the_calendar() -> None:
    for rule in (MONTHS | {"months": 1200}, {"type": "days_after_event", "days": 36_600}):
        assert faults(rule) == {}
        due = next_due(rule, [], start="2200-12-31").due
        assert due is not None
        assert due < date(2302, 1, 1)


@pytest.mark.parametrize(
    ("rule", "found"),
    [
        ("yearly", {"": "is 'yearly'; it must be an object"}),
        ({}, {"type": "is missing; it must be one of: max_months, "}),
        ({"type": []}, {"type": "is []; it must be one of: max_months, "}),
        ({"type": "max_months"}, {"months": "is missing; it must be a whole number from 1 to 1200"}),
        (MONTHS | {"months": 9007199254740991},
         {"months": "is 9007199254740991; it must be a whole number from 1 to 1200"}),
        (MONTHS | {"months": 1201}, {"months": "from 1 to 1200"}),
        (MONTHS | {"months": None}, {"months": "is missing; "}),
        (MONTHS | {"months": True}, {"months": "is True"}),
        (MONTHS | {"months": 12.5}, {"months": "is 12.5"}),
        (MONTHS | {"variants": "abc"}, {"variants": "is 'abc'; it must be a list of 0 to 100"}),
        (MONTHS | {"variants": [1]}, {"variants.0": "is 1; it must be an object"}),
        (MONTHS | {"variants": [{"months": 6}]}, {"variants.0.select": "is missing"}),
        (MONTHS | {"variants": [{"select": {}, "months": "x"}]}, {"variants.0.months": "is 'x'"}),
        (MONTHS | {"variants": [{"select": {"output_kw_ge": "big"}}]}, {"variants.0.select.output_kw_ge": "is 'big'"}),
        (MONTHS | {"variants": [{"select": {"output_kw_ge": "nan"}}]},
         {"variants.0.select.output_kw_ge": "it must be a number or a day"}),
        (MONTHS | {"variants": [{"select": {"x": 1}, "type": "whenever"}]}, {"variants.0.type": "is 'whenever'"}),
        (MONTHS | {"variants": [{"select": {"x": 1}, "type": "calendar_years"}]},
         {"variants.0.every": "is missing; it must be a whole number from 1 to 100"}),
        (MONTHS | {"variants": [{"select": {}, "variants": [1]}]}, {"variants.0.variants": "it can't stand here"}),
        (MONTHS | {"variants": [{"select": {}}] * 101}, {"variants": "it must be a list of 0 to 100"}),
        (MONTHS | {"variants": [{"select": {"x" * 500: True}}]}, {"variants": "too many facts"}),
        (MONTHS | {"grace": "x"}, {"grace": "is 'x'"}),
        (MONTHS | {"grace": {IDLE: 30}}, {f"grace.{IDLE}": "is 30"}),
        (MONTHS | {"grace": {IDLE: {}}}, {f"grace.{IDLE}.days": "is missing"}),
        (MONTHS | {"grace": {IDLE: {"days": 10**9}}}, {f"grace.{IDLE}.days": "is 1000000000"}),
        (MONTHS | {"first": "x"}, {"first": "is 'x'"}),
        (MONTHS | {"first": {"type": "whenever"}}, {"first.type": "is 'whenever'"}),
        (MONTHS | {"first": {"type": "max_months"}}, {"first.months": "is missing"}),
        (MONTHS | {"first": MONTHS | {"first": MONTHS}}, {"first.first": "it can't stand here"}),
        (MONTHS | {"first": MONTHS | {"variants": [{"select": {}, "grace": 1}]}}, {"first.variants.0.grace": "is 1"}),
        (MONTHS | {"first": MONTHS | {"variants": [{"select": {}, "first": MONTHS}]}},
         {"first.variants.0.first": "it can't stand here"}),
        (MONTHS | {"variants": [{"select": {}, "first": {"type": "once"}}]},
         {"variants.0.first.event": "is missing", "variants.0.first.months": "is missing"}),
        ({"type": "same_quarter_each_year", "quarter": "x"},
         {"quarter": "is 'x'; it must be a whole number from 1 to 4"}),
        ({"type": "same_quarter_each_year", "quarter": 5}, {"quarter": "from 1 to 4"}),
        (MONTHS | {"quarter": 5}, {"quarter": "from 1 to 4"}),
        ({"type": "by_day_each_year", "month": 2, "day": 29},
         {"day": "is 29; it must be a whole number from 1 to 28"}),
        ({"type": "calendar_years", "every": 8000}, {"every": "from 1 to 100"}),
        ({"type": "days_after_event"}, {"days": "is missing"}),
        ({"type": "days_after_event", "days": 1000000000}, {"days": "is 1000000000"}),
        ({"type": "days_after_event", "months": "x"}, {"months": "is 'x'"}),
        ({"type": "days_after_event", "days": 28, "event": "x" * 200}, {"event": "a name of at most 100 characters"}),
        (KEEP | {"one_off_alignment_extension_months": "z"}, {"one_off_alignment_extension_months": "is 'z'"}),
        (KEEP | {"early_window_months": 12}, {"early_window_months": "is 12; it must be below months, 12"}),
        (KEEP | {"variants": [{"select": {"x": 1}, "months": 2}]},
         {"variants.0.early_window_months": "is 2; it must be below months, 2"}),
        (TWICE | {"min_gap_months": 9}, {"min_gap_months": "is 9; it must leave room for 2 a year, 8 months apart"}),
        (TWICE | {"times": 4}, {"min_gap_months": "is 4; it must leave room for 4 a year"}),
        (HOURS | {"type": "months_or_hours_first", "hours": 0}, {"hours": "is 0"}),
        ({"type": "months_or_hours_first", "months": 3}, {"hours": "is missing"}),
        ({"type": "in_each_window"}, {"windows": "is missing; it must be a list of 1 to 12"}),
        (SEASONS | {"windows": []}, {"windows": "is []; it must be a list of 1 to 12"}),
        (SEASONS | {"windows": [SEASON] * 13}, {"windows": "it must be a list of 1 to 12"}),
        (SEASONS | {"windows": "x"}, {"windows": "is 'x'"}),
        (SEASONS | {"windows": [SEASON, 9]}, {"windows.1": "is 9; it must be an object"}),
        (SEASONS | {"windows": [{"from_month": 9}]}, {"windows.0.to_month": "is missing"}),
        (SEASONS | {"windows": [SEASON | {"to_month": 13}]}, {"windows.0.to_month": "is 13"}),
        (SEASONS | {"windows": [SEASON | {"from_day": 32}]}, {"windows.0.from_day": "is 32"}),
        (SEASONS | {"windows": [SEASON | {"to_day": True}]}, {"windows.0.to_day": "is True"}),
        (SEASONS | {"windows": [SEASON, {"from_month": 4, "to_month": 5}]},
         {"windows": "has day 1 of month 4 in two windows"}),
        (SEASONS | {"windows": [{"from_month": 2, "from_day": 29, "to_month": 2, "to_day": 28}]},
         {"windows": "in two windows"}),
        ({"type": "in_named_months"}, {"named_months": "is missing; it must be a list of 1 to 12"}),
        (NAMED | {"named_months": []}, {"named_months": "is []; it must be a list of 1 to 12"}),
        (NAMED | {"named_months": [1] * 13}, {"named_months": "it must be a list of 1 to 12"}),
        (NAMED | {"named_months": 4}, {"named_months": "is 4"}),
        (NAMED | {"named_months": [4, 13]}, {"named_months.1": "is 13; it must be a whole number from 1 to 12"}),
        (NAMED | {"variants": [{"select": {"x": 1}, "named_months": [0]}]}, {"variants.0.named_months.0": "is 0"}),
        (MONTHS | {"component_defer_months": 36}, {"component_defer_months": "is 36; it must be an object"}),
        (MONTHS | {"component_defer_months": {"burner": 0}}, {"component_defer_months.burner": "is 0"}),
        (MONTHS | {"component_defer_months": {"Burner": 36}},
         {"component_defer_months.Burner": "is 'Burner'; a part's name has small letters"}),
        (MONTHS | {"component_defer_months": {"burner\n": 36}}, {"component_defer_months.burner\n": "a part's name"}),
        (MONTHS | {"component_defer_months": {"b" * 61: 36}}, {f"component_defer_months.{'b' * 61}": "at most 60"}),
        (MONTHS | {"select": 5}, {"select": "is 5; it must be an object"}),
        (MONTHS | {"select": {"output_kw_ge": "2009-02-30"}},
         {"select.output_kw_ge": "is '2009-02-30'; it must be a number or a day"}),
        (MONTHS | {"select": {"f" * 80: True, "g" * 80: True}},
         {"select": "asks for too many facts: their names have 162 characters together; it may be 160 at most"}),
        (MONTHS | {"again_after": 4}, {"again_after": "is 4; it must be an object"}),
        (MONTHS | {"again_after": {"event": "permit"}}, {"again_after.months": "is missing"}),
        (MONTHS | {"again_after": {"event": "permit", "months": 0}}, {"again_after.months": "is 0"}),
        (MONTHS | {"again_after": {"event": "The permit", "months": 4}},
         {"again_after.event": "is 'The permit'; it must be the name of an event"}),
        (MONTHS | {"shared_flue": "highest"}, {"shared_flue": "is 'highest'; it must be one of: strictest"}),
        (MONTHS | {"first": MONTHS | {"select": {"x": 1}}}, {"first.select": "it can't stand here"}),
        (MONTHS | {"variants": [{"select": {"x": 1}, "shared_flue": "strictest"}]},
         {"variants.0.shared_flue": "it can't stand here"}),
        ({"type": "once"}, {"event": "is missing", "months": "is missing"}),
        ({"type": "once", "months": 12}, {"event": "is missing"}),
        ({"type": "once", "months": 12, "event": "The start"},
         {"event": "is 'The start'; it must be the name of an event"}),
        ({"type": "once", "months": 12, "event": "start", "from_months": 12},
         {"from_months": "is 12; it must be below months, 12"}),
        ({"type": "once", "by": "30 September 2027"},
         {"by": "is '30 September 2027'; it must be a day from 1900 to 2200"}),
        ({"type": "once", "by": "2027-09-31"}, {"by": "is '2027-09-31'"}),
        ({"type": "once", "by": "2201-01-01"}, {"by": "it must be a day from 1900 to 2200"}),
        (HOURS | {"relax_after_passes": "x"}, {"relax_after_passes": "is 'x'"}),
        (HOURS | {"relax_after_passes": {"passes": 3}},
         {"relax_after_passes.months": "is missing", "relax_after_passes.hours": "is missing"}),
        (HOURS | {"months": 0, "hours": "x", "grace": 4}, {"months": "is 0", "hours": "is 'x'", "grace": "is 4"}),
    ],
)  # fmt: skip
def test_a_rule_that_cannot_always_be_calculated_with_is_refused_at_each_path(rule: Any, found: dict[str, str]) -> None:
    said = {path: wrong_text(each) for path, each in faults(rule).items()}
    assert said.keys() == found.keys()
    assert [path for path, part in found.items() if part not in said[path]] == []
    within = {f"interval.{path}" if path else "interval": each for path, each in faults(rule).items()}
    assert faults(rule, "interval") == within


odd = st.one_of(st.none(), st.booleans(), st.integers(-5, 10**18), st.text(max_size=3), st.just([1]), st.just({}))
places = st.sampled_from([*EVERYWHERE, *ONLY_WHOLE, "select", "first", "variants", "alignment_extension_used"])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sampled_from([*SHIPPED.values(), *RULES]), st.dictionaries(places, odd, min_size=1, max_size=2))
def test_what_is_taken_gives_an_answer_and_what_is_not_is_told(rule: Any, change: dict[str, Any]) -> None:
    spoilt = copy.deepcopy(rule) | change
    if found := faults(spoilt):
        assert all(wrong_text(said) for said in found.values())
        return
    facts = {"out_of_use": [{"from": "2020-01-01", "to": None}], "consecutive_passes": 9}
    made = next_due(spoilt, ["2024-01-31", "2025-02-28"], start="2024-01-01", today="2026-01-01", facts=facts)
    assert date_words(made.steps)


# What a schema can't tell of the fields of one rule together.
BETWEEN_FIELDS = {"below_months", "room_in_the_year", "day_in_two_windows", "too_many_facts"}
SCHEMA = Draft202012Validator(rule_schema({"type": "object"}))


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.sampled_from([*SHIPPED.values(), *RULES]), st.dictionaries(places, odd, max_size=2))
def test_the_schema_of_a_rule_takes_what_is_taken_here_and_nothing_else(rule: Any, change: dict[str, Any]) -> None:
    spoilt = copy.deepcopy(rule) | change
    found, is_taken = faults(spoilt), SCHEMA.is_valid(spoilt)
    if not is_taken:
        # A select that is empty is refused by whoever reads all of its facts.
        assert found or spoilt["select"] == {}
    together = (code in BETWEEN_FIELDS or path.startswith("variants.") for path, (code, _figures) in found.items())
    assert not is_taken or all(together), found


def test_the_schema_of_a_rule_is_one() -> None:
    Draft202012Validator.check_schema(rule_schema({"type": "object"}))
    assert '"$ref"' not in json.dumps(rule_schema({"type": "object"}))


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
