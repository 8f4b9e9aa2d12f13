"""An interval rule as one says it."""

from typing import Any

import pytest

from fleet.intervals.kinds import KINDS
from fleet.presentation.contents import limit_set_differences, sheet_differences
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


LIMIT: dict[str, Any] = {"id": "our-co-stop", "quantity": "co", "basis": "air_free", "unit": "ppm", "when": "any"}
LIMIT |= {"firing_rate": "any", "fires_when": {"op": ">", "value": "400"}, "severity": "shut_down", "source": "ours"}
LOWER = {"fires_when": {"op": "<", "value": "9"}, "severity": "advise"}
PAIR = {"fires_when": {"op": "outside", "value": ["8", "9"]}, "severity": "advise"}
RANGE = {"fires_when": {"op": "between", "value": ["100", "400"]}, "severity": "advise"}
LESS_AGAINST = "looser: the analyser's uncertainty counts less against it"
LATER, LOOSER = "looser: it ends the firing later", "looser"


def fires(op: str, value: Any) -> dict[str, Any]:
    return {"fires_when": {"op": op, "value": value}}


@pytest.mark.parametrize(
    ("before", "after", "milder"),
    [
        ({}, {"severity": "normal"}, "no longer ends the firing"),
        ({}, {"severity": "stop_work"}, "milder"),
        ({"severity": "advise"}, {"severity": "shut_down"}, ""),
        ({}, fires(">", "500"), LATER),
        ({}, fires(">", "300"), ""),
        ({}, fires(">", None), LATER),
        ({}, fires(">=", "400"), ""),
        (fires(">=", "400"), fires(">", "400"), LATER),
        ({}, fires("rising_and_over", "400"), LATER),
        ({}, fires(">", "some_fact"), "a stop that no longer stands where it stood"),
        (LOWER, fires("<", "8"), LOOSER),
        (LOWER, fires("<", "10"), ""),
        (PAIR, fires("outside", ["7", "9"]), LOOSER),
        (PAIR, fires("outside", ["8", None]), LOOSER),
        (PAIR, fires("outside", ["8.2", "8.8"]), ""),
        (RANGE, fires("between", ["100", "200"]), LOOSER),
        (RANGE, fires("between", ["50", "400"]), ""),
        ({}, {"select": {"fuel": "lpg"}}, "a stop that no longer stands where it stood"),
        ({}, {"when": "as_found"}, "a stop that no longer stands where it stood"),
        ({"severity": "advise"}, {"when": "as_found"}, ""),
        ({}, {"decision_rule": "subtract_uncertainty"}, LESS_AGAINST),
        ({"decision_rule": "guarded"}, {"decision_rule": "simple"}, LESS_AGAINST),
        ({"decision_rule": "add_uncertainty"}, {"decision_rule": "guarded"}, LESS_AGAINST),
        ({"decision_rule": "simple"}, {"decision_rule": "add_uncertainty"}, ""),
        ({}, {"source": "somebody"}, ""),
    ],
)
def test_what_makes_a_limit_milder_is_said(before: dict[str, Any], after: dict[str, Any], milder: str) -> None:
    then = LIMIT | before
    (said,) = limit_set_differences({"limits": [then]}, {"limits": [then | after]})
    assert said.milder == milder
    assert said.path.startswith("limit CO air-free ") and LIMIT["id"] not in said.path


def test_a_limit_that_goes_ends_what_it_stopped() -> None:
    (said,) = limit_set_differences({"limits": [LIMIT]}, {"limits": []})
    assert (said.after, said.milder) == ("", "ends, and with it a stop")
    (said,) = limit_set_differences({"limits": [LIMIT | {"severity": "advise"}]}, {"limits": []})
    assert said.milder == "ends"
    assert [each.milder for each in limit_set_differences({"limits": []}, {"limits": [LIMIT]})] == [""]


SCREW = {"name": "ratio screw", "rate": "high", "raises_co2": "clockwise", "field_adjustment": "check_only"}
SCREW |= {"largest_step_turns": "0.25", "sealed": True, "who": "the maker"}  # type: ignore[dict-item]


@pytest.mark.parametrize(
    ("after", "milder"),
    [
        ({"raises_co2": "anticlockwise"}, "turns the other way"),
        ({"largest_step_turns": "40"}, "larger step"),
        ({"largest_step_turns": None}, "larger step"),
        ({"largest_step_turns": "0.2"}, ""),
        ({"field_adjustment": "allowed"}, "may be turned in the field from now on"),
        ({"sealed": False}, "no longer sealed"),
        ({"who": None}, "anybody may touch it"),
        ({"place": "below"}, ""),
    ],
)
def test_what_is_turned_otherwise_is_said(after: dict[str, Any], milder: str) -> None:
    (said,) = sheet_differences({"adjusters": [SCREW]}, {"adjusters": [SCREW | after]})
    assert said.milder == milder
    (gone,) = sheet_differences({"adjusters": [SCREW]}, {"adjusters": []})
    assert gone.milder == "ends"


@pytest.mark.parametrize(
    ("before", "after", "milder"),
    [
        ({"fuel": "natural_gas"}, {"fuel": "propane"}, ["readings are worked out by another fuel"]),
        ({"minimum_gas_pressure_pa": "1700"}, {"minimum_gas_pressure_pa": "900"}, ["looser"]),
        ({"minimum_gas_pressure_pa": "900"}, {"minimum_gas_pressure_pa": "1700"}, [""]),
        ({"source": "page 3"}, {"source": "page 4"}, [""]),
    ],
)
def test_what_else_of_a_sheet_is_milder_is_said(before: Any, after: Any, milder: list[str]) -> None:
    assert [each.milder for each in sheet_differences(before, after)] == milder


def test_another_name_for_the_same_words_is_a_difference_too() -> None:
    before, after = ({"limits": [LIMIT | {"quantity": each}]} for each in ("co_co2_ratio", "CO_CO2_ratio"))
    assert limit_set_differences(before, after)
