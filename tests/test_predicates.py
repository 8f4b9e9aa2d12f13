from datetime import date

import pytest

from fleet.predicates import fact_name, holds, missing_facts, one_holds, recorded, undecided

CASES = [
    ({}, {}, True),
    ({"fuel": ["natural_gas", "lpg"]}, {"fuel": "lpg"}, True),
    ({"fuel": ["natural_gas", "lpg"]}, {"fuel": "oil_light"}, False),
    ({"fuel": ["natural_gas", "lpg"]}, {}, None),
    ({"output_kW_gt": 25, "output_kW_le": 50}, {"output_kw": 25}, False),
    ({"output_kW_gt": 25, "output_kW_le": 50}, {"output_kw": 50}, True),
    ({"output_kW_ge": 4, "output_kW_lt": 25}, {"output_kw": 4}, True),
    ({"output_kW_ge": 4, "output_kW_lt": 25}, {"output_kw": 25}, False),
    ({"output_kW_ge": 4}, {"output_kW": "12.5"}, True),
    ({"new_plant": True}, {"new_plant": False}, False),
    ({"new_plant": False}, {"new_plant": False}, True),
    ({"construction": "not_fire_tube"}, {"construction": "water_tube"}, True),
    ({"construction": "not_fire_tube"}, {"construction": "fire_tube"}, False),
    ({"type": 2}, {"type": 2}, True),
    ({"new_plant": True, "fuel": ["lpg"]}, {"fuel": "natural_gas"}, False),
    ({"new_plant": True, "fuel": ["lpg"]}, {"fuel": "lpg"}, None),
    ({"new_plant": True}, {"new_plant": None}, None),
    ({"low_use": True}, {"low_use": "yes"}, None),
    ({"low_use": False}, {"low_use": 0}, None),
    ({"installation_on_lt": "2009-10-01"}, {"installation_on": "2009-09-30"}, True),
    ({"installation_on_lt": "2009-10-01"}, {"installation_on": "2009-10-01"}, False),
    ({"installation_on_ge": "2009-10-01"}, {"installation_on": date(2009, 10, 1)}, True),
    ({"installation_on_ge": "2009-10-01"}, {"installation_on": "20091001"}, None),
    ({"installation_on_ge": "2009-10-01"}, {"installation_on": 2009}, None),
    ({"installation_on_ge": "2009-10-01"}, {}, None),
]


@pytest.mark.parametrize(("select", "facts", "expected"), CASES)
def test_all_hold_or_one_fails_or_it_cannot_be_told(select, facts, expected):
    assert holds(select, facts) is expected


def test_the_undecided_predicates_are_named():
    assert undecided({"output_kW_ge": 4, "fuel": ["lpg"]}, {"fuel": "lpg"}) == {"output_kw_ge": 4}
    assert undecided({"output_kW_ge": 4, "fuel": ["lpg"]}, {"fuel": "oil_light"}) is None
    assert undecided({"output_kW_ge": 4, "fuel": ["lpg"]}, {"fuel": "lpg", "output_kw": 5}) == {}


def test_a_missing_fact_is_named_once_however_often_it_is_asked_for():
    asked = {"output_kW_ge": 4, "output_kW_lt": 9, "fuel": ["lpg"], "Vent": "warm"}
    assert missing_facts(asked, {"fuel": "oil_light", "output_kw": "many"}) == ("output_kw", "vent")


@pytest.mark.parametrize(
    ("suffix", "below", "on_it", "above"),
    [("_ge", False, True, True), ("_gt", False, False, True), ("_le", True, True, False), ("_lt", True, False, False)],
)
def test_each_comparison_on_both_sides_of_its_figure_and_on_it(suffix, below, on_it, above):
    said = [one_holds(f"output_kw{suffix}", 25, {"output_kw": value}) for value in (24.9, 25, 25.1)]
    assert said == [below, on_it, above]


@pytest.mark.parametrize("value", ["many", "nan", "inf", None, ""])
def test_words_where_a_number_belongs_are_as_good_as_nothing_recorded(value):
    assert one_holds("output_kw_ge", 4, {"output_kw": value}) is None


def test_any_entry_of_a_list_will_do_and_a_tuple_is_one_too():
    for entries in (["a", "b"], ("a", "b")):
        assert [one_holds("vent", entries, {"vent": value}) for value in ("a", "b", "c")] == [True, True, False]


def test_a_word_behind_not_means_any_other_and_other_values_are_compared_as_they_are():
    assert one_holds("type", "not_a", {"type": "not_a"}) is True
    assert one_holds("type", "nota", {"type": "nota"}) is True
    assert one_holds("type", 2, {"type": "2"}) is False


def test_names_are_found_in_any_case_and_told_in_small_letters():
    assert recorded("Vent", {"vENT": "warm"}) == "warm"
    assert recorded("vent", {"other": "warm"}) is None
    assert undecided({"VENT": "warm", "Output_kW_gt": 3}, {}) == {"vent": "warm", "output_kw_gt": 3}
    assert undecided({"VENT": "warm"}, {"Vent": "warm"}) == {}


@pytest.mark.parametrize(
    ("name", "fact"),
    [("output_kw_ge", "output_kw"), ("output_kw_gt", "output_kw"), ("output_kw_le", "output_kw"), ("a_lt", "a"),
     ("gel", "gel"), ("change", "change")],
)  # fmt: skip
def test_the_fact_that_a_name_asks_for(name, fact):
    assert fact_name(name) == fact
