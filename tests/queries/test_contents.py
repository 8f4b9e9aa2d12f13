"""An interval rule as one says it."""

from typing import Any

import pytest

from fleet.queries.contents import interval_lines, interval_words
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


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule["type"])
def test_no_kind_is_said_by_its_name_for_programs(rule: dict[str, Any]) -> None:
    assert interval_lines(rule)[0] != rule["type"].replace("_", " ")
