"""An interval rule as one says it."""

from typing import Any

import pytest

from fleet.intervals.kinds import KINDS
from fleet.presentation.contents import limit_set_differences
from fleet.presentation.intervals import INTERVALS, interval_lines, interval_words, set_interval_lines
from tests.intervals.rules_of_each_kind import RULES


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (
            {"type": "months_or_hours_first", "months": 12, "hours": 4000},
            "12 months or 4000 run hours after the check before, whichever is first",
        ),
        (
            {"type": "months_or_hours_later", "months": 1, "hours": 750},
            "1 month or 750 run hours after the check before, whichever is later",
        ),
        (
            {"type": "in_each_window", "windows": [{"from_month": 9, "to_month": 4}]},
            "once every year, from 1 September to 30 April",
        ),
        (
            {"type": "in_each_window", "windows": [{"from_month": 11, "from_day": 15, "to_month": 2},
                                                   {"from_month": 6, "to_month": 6, "to_day": 20}]},
            "once in each of these stretches of the year: 15 November to the end of February; 1 June to 20 June",
        ),
        ({"type": "in_named_months", "named_months": [9, 4, 9]}, "once every calendar year, in April or September"),
        (
            {"type": "max_months", "months": 25, "component_defer_months": {"burner_inspection": 36}},
            ("no more than 25 months after the check before; burner inspection may wait for the next shutdown, "
            "at most 36 months"),
        ),
        ({"type": "once", "by": "2027-09-30"}, "once, by 30 September 2027"),
        ({"type": "once", "event": "permit", "months": 12}, "once, at the latest 12 months after permit"),
        (
            {"type": "once", "event": "installation", "months": 192, "from_months": 180,
             "variants": [{"select": {"installation_on_lt": "2009-10-01"}, "by": "2027-09-30"}]},
            ("once, 180 months to 192 months after installation; day of installation before 1 October 2009: once, by "
             "30 September 2027"),
        ),
        (
            {"type": "max_months", "months": 36, "again_after": {"event": "emission_relevant_change", "months": 4}},
            ("no more than 36 months after the check before; again at the latest 4 months after each emission relevant "
             "change"),
        ),
        (
            {"type": "calendar_years", "every": 2, "shared_flue": "strictest"},
            ("once in every 2 calendar years; where several appliances share one flue, the strictest of their "
             "intervals goes for each"),
        ),
    ],
)  # fmt: skip
def test_each_kind_in_words(rule: dict[str, Any], said: str) -> None:
    assert interval_words(rule) == said


def test_what_a_rule_lets_be_later_stands_with_the_variant_that_lets_it() -> None:
    rule = {
        "type": "same_quarter_each_year",
        "one_off_alignment_extension_months": 2,
        "variants": [
            {"select": {"generating": True}, "type": "by_day_each_year", "month": 5, "day": 1,
             "grace": {"if_not_operating_on_due_date": {"days": 7}}},
        ],
    }  # fmt: skip
    assert interval_lines(rule) == [
        "in the same quarter of every calendar year",
        "generating: once every calendar year, by 1 May; out of use on that day: 7 days after restart",
        "once, to align it with another appliance there: in the 2 months that begin with the due day",
    ]


RELAXED = {"months": 1, "hours": 750, "relax_after_passes": {"passes": 3, "months": 4, "hours": 3000}}
FURTHER: list[dict[str, Any]] = [
    {"type": "none"},
    {"type": "calendar_years", "every": 1},
    {"type": "months_or_hours_later"} | RELAXED,
    {"type": "months_or_hours_first"} | RELAXED,
    {"type": "days_after_event", "days": 14},
    {"type": "days_after_event", "months": 2, "event": "repair"},
    {"type": "once", "by": "2027-09-30"},
    {"type": "once", "event": "permit", "months": 12},
    {"type": "once", "event": "permit", "months": 12, "from_months": 6},
]


def test_each_kind_says_itself_by_a_code_that_has_its_words_and_no_words_are_left_over() -> None:
    said = [(each, KINDS[each["type"]].said(each)) for each in [*RULES, *FURTHER]]
    assert {code for _rule, (code, _figures) in said} == INTERVALS.keys()
    assert {each["type"] for each, _said in said} == KINDS.keys()
    assert interval_words(FURTHER[2]) == (
        "1 month or 750 run hours after the check before, whichever is later "
        "(4 months or 3000 hours after 3 passes in a row)"
    )


@pytest.mark.parametrize("rule", [*RULES, *FURTHER], ids=lambda rule: rule["type"])
def test_no_kind_is_said_by_its_name_for_programs(rule: dict[str, Any]) -> None:
    assert interval_lines(rule)[0] != rule["type"].replace("_", " ")


TUNE_UP = {"name": "tune-up", "type": "max_months", "months": 6, "select": {"low_use": True}}
CONTENT: dict[str, Any] = {"interval": {"type": "calendar_years", "every": 1}, "extra_intervals": [TUNE_UP]}


def test_each_rule_of_a_set_is_said_with_its_name_and_for_whom_it_is() -> None:
    assert set_interval_lines(CONTENT) == [
        "once in every calendar year",
        "tune-up: low use only: no more than 6 months after the check before",
    ]


def test_a_further_rule_that_comes_changes_or_goes_is_a_difference_by_its_name() -> None:
    def said(extra: list[dict[str, Any]]) -> list[tuple[str, str, str]]:
        found = limit_set_differences(CONTENT, CONTENT | {"extra_intervals": extra})
        return [(each.path, each.before, each.after) for each in found]

    words = "low use only: no more than 6 months after the check before"
    yearly = {"name": "sweep", "type": "max_months", "months": 12}
    assert said([TUNE_UP]) == []
    assert said([TUNE_UP | {"months": 9}]) == [("interval tune-up", words, words.replace("6", "9"))]
    assert said([yearly]) == [
        ("interval tune-up", words, ""),
        ("interval sweep", "", "no more than 12 months after the check before"),
    ]
