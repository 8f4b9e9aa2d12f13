from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.predicates import day_in, fact_name, holds, missing_facts, one_holds, recorded, undecided

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


SELECTS = st.fixed_dictionaries(
    {},
    optional={
        "output_kw_ge": st.integers(0, 9),
        "Output_kW_lt": st.integers(0, 9),
        "fuel": st.lists(st.sampled_from(["gas", "oil", "lpg"]), max_size=3),
        "vent": st.sampled_from(["warm", "not_warm"]),
        "installation_on_lt": st.dates(date(2009, 9, 28), date(2009, 10, 3)).map(date.isoformat),
        "new_plant": st.booleans(),
    },
)
FACTS = st.fixed_dictionaries(
    {},
    optional={
        "output_kW": st.one_of(st.integers(0, 9), st.integers(0, 9).map(str), st.just("many"), st.none()),
        "fuel": st.sampled_from(["gas", "oil", "wood"]),
        "VENT": st.sampled_from(["warm", "cold"]),
        "installation_on": st.dates(date(2009, 9, 28), date(2009, 10, 3)),
        "new_plant": st.sampled_from([True, False, "yes"]),
    },
)
WHOLE = {"output_kW": 5, "fuel": "gas", "VENT": "warm", "installation_on": date(2009, 10, 1), "new_plant": True}


@given(SELECTS, FACTS)
def test_one_that_fails_decides_and_one_that_is_open_keeps_it_open(select, facts):
    """Kleene's three-valued and (Introduction to Metamathematics, section 64)."""
    each = [one_holds(name.lower(), wanted, facts) for name, wanted in select.items()]
    assert holds(select, facts) is (False if False in each else None if None in each else True)
    assert (missing_facts(select, facts) == ()) == (None not in each)


@given(SELECTS, FACTS, FACTS)
def test_to_record_more_never_changes_what_was_decided(select, facts, more):
    learnt = {name: value for name, value in more.items() if name.lower() not in {each.lower() for each in facts}}
    before = holds(select, facts)
    assert before is None or holds(select, facts | learnt) is before
    assert set(missing_facts(select, facts | learnt)) <= set(missing_facts(select, facts))


@given(SELECTS, FACTS)
def test_what_was_left_open_decides_once_its_facts_are_recorded(select, facts):
    """An interval of a set asks once more only what was left open."""
    still_open, missing = undecided(select, facts), missing_facts(select, facts)
    known = facts | {name: value for name, value in WHOLE.items() if name.lower() in missing}
    assert still_open is None or holds(still_open, known) is holds(select, known) is not None


@pytest.mark.parametrize("said", ["2009-02-29", "2009-13-01", "2009-1-1", "01.10.2009", "2009-10-01 ", 20091001, None])
def test_what_is_no_day_of_the_calendar_is_none(said):
    assert day_in(said) is None


def test_a_leap_day_is_one():
    assert day_in("2008-02-29") == date(2008, 2, 29)


def test_a_moment_is_no_day_to_compare_with():
    """Which day it is depends on the place."""
    assert one_holds("installation_on_lt", "2009-10-01", {"installation_on": datetime(2009, 9, 30, 12)}) is None


def test_true_and_one_are_told_apart_only_where_yes_or_no_is_asked():
    assert one_holds("new_plant", True, {"new_plant": 1}) is None
    assert one_holds("burners", 1, {"burners": 1}) is True


def test_the_first_of_two_spellings_of_a_fact_is_taken():
    assert recorded("vent", {"Vent": "warm", "VENT": "cold"}) == "warm"
