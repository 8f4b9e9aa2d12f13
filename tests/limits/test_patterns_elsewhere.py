import json
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits.patterns import ELSEWHERE
from fleet.limits.patterns_elsewhere import analyser_shift, copied_readings, site_shift
from fleet.presentation.diagnoses import diagnosis_words

DATA = Path(__file__).resolve().parents[2] / "fixtures" / "reference" / "diagnostics.json"
PATTERNS = json.loads(DATA.read_text(encoding="utf-8"))["patterns"]

bounded = settings(max_examples=60, deadline=None, derandomize=True)
SAME = {"o2_pct": 5.1, "co_ppm": 12.0, "flue_temp_c": 64.8}


def row(name, **figures):
    return {"id": name, "number": name, **figures}


def at_site(*changes):
    return [{"visit": f"v{n}", "appliance": f"a{n}", "change_pct": each} for n, each in enumerate(changes)]


def by_analyser(*changes, buildings=2):
    return [each | {"building": f"b{n % buildings}"} for n, each in enumerate(at_site(*changes))]


def without(name, threshold):
    return [
        each | {"thresholds": {key: value for key, value in each["thresholds"].items() if key != threshold}}
        for each in PATTERNS
        if each["id"] == name
    ]


@pytest.mark.parametrize(
    ("more", "other", "copied"),
    [
        ({"draught_pa": -4.0}, {"draught_pa": -4.0}, True),
        ({"draught_pa": -4.0, "air_temp_c": 19.0}, {"draught_pa": -4.0, "air_temp_c": 19.0}, True),
        ({}, {}, False),
        ({"draught_pa": -4.0}, {"draught_pa": -4.1}, False),
        ({"draught_pa": None}, {"draught_pa": None}, False),
        ({"draught_pa": math.nan}, {"draught_pa": math.nan}, False),
    ],
)
def test_readings_equal_in_four_figures_are_copied(more, other, copied):
    made = copied_readings([row("1", **SAME, **more)], [row("2", **SAME, **other)], PATTERNS)
    assert (made is not None) is copied


def test_the_pair_that_agrees_in_most_is_named_and_every_pair_went_in():
    four = SAME | {"draught_pa": -4.0}
    five = four | {"air_temp_c": 19.0}
    made = copied_readings(
        [row("1", **five), row("2", o2_pct=3.0)], [row("8", **four), row("9", **five), row("7", o2_pct=3.0)], PATTERNS
    )
    assert (
        diagnosis_words(made)
        == "Reading 1 of this visit and Reading 9 of another visit agree in 5 figures to the digit."
    )
    assert made.figures == {"equal_quantities": 5.0}
    assert made.inputs == {"readings": ["1"], "others": ["8", "9"]}


def test_of_pairs_that_agree_in_as_many_the_first_by_name_is_told_however_they_are_given():
    four = SAME | {"draught_pa": -4.0}
    ones, others = [row("2", **four), row("1", **four)], [row("9", **four), row("8", **four)]
    for some in (ones, ones[::-1]):
        for rest in (others, others[::-1]):
            said = diagnosis_words(copied_readings(some, rest, PATTERNS))
            assert said == "Reading 1 of this visit and Reading 8 of another visit agree in 4 figures to the digit."


def test_a_reading_is_no_copy_of_itself_and_names_are_no_figures():
    assert copied_readings([row("1", **SAME, draught_pa=-4.0)], [row("1", **SAME, draught_pa=-4.0)], PATTERNS) is None
    told = {"phase": "as_found", "rate": "high", "casing": "closed", "invalid": False}
    assert copied_readings([row("1", **told)], [row("2", **told)], PATTERNS) is None


@pytest.mark.parametrize(
    ("changes", "fires"),
    [
        ([0.5, 0.5, 0.5], True),
        ([0.4, 0.5, 0.6], True),
        ([-0.6, -0.5, -0.4], True),
        ([0.4, 0.5, 0.59], False),
        ([0.9, 0.9], False),
        ([0.9, 0.9, -0.1], False),
        ([0.9, 0.9, 0.0], False),
        ([-0.9, -0.9, 0.0], False),
        ([0.9, 0.9, None], False),
        ([0.9, 0.9, math.nan], False),
        ([0.9, 0.9, 0.9, math.nan], True),
        ([], False),
    ],
)
def test_three_appliances_of_a_site_moving_one_way_by_half_a_point_are_a_shift(changes, fires):
    assert (site_shift(at_site(*changes), PATTERNS) is not None) is fires


def test_an_appliance_counts_once_however_often_it_was_visited():
    twice = at_site(0.7, 0.9, 0.5)
    twice[1]["appliance"] = "a0"
    assert site_shift(twice, PATTERNS) is None
    made = site_shift([*twice, {"visit": "v9", "appliance": "a9", "change_pct": 0.2}], PATTERNS)
    assert made.figures == {"appliances": 3.0, "mean_change_pct": 0.5}
    assert made.inputs == {"visits": ["v0", "v1", "v2", "v9"], "appliances": ["a0", "a2", "a9"]}


def test_the_site_sentence_tells_how_many_and_by_how_much():
    made = site_shift(at_site(-0.5, -0.7, -0.9), PATTERNS)
    assert diagnosis_words(made) == "O2 of 3 appliances of this site moved the same way, by −0.7 points on average."
    assert made.severity == "investigate"


@pytest.mark.parametrize(
    ("changes", "buildings", "fires"),
    [
        ([0.4] * 10, 2, True),
        ([-0.4] * 10, 2, True),
        ([0.9] * 9 + [-4.1], 2, True),
        ([0.9] * 9 + [-4.11], 2, False),
        ([0.4] * 9 + [0.39], 2, False),
        ([2.0] * 9, 2, False),
        ([2.0] * 9 + [math.nan], 2, False),
        ([2.0] * 10, 1, False),
        ([2.0] * 10, 5, True),
        ([], 2, False),
    ],
)
def test_ten_visits_in_two_buildings_off_by_four_tenths_are_the_analysers(changes, buildings, fires):
    made = analyser_shift(by_analyser(*changes, buildings=buildings), PATTERNS)
    assert (made is not None) is fires


def test_the_analysers_sentence_and_inputs_name_what_went_in():
    made = analyser_shift(by_analyser(*[0.5] * 12, math.nan, buildings=3), PATTERNS)
    assert diagnosis_words(made) == (
        "O2 moved by 0.5 points on average over 12 visits in 3 buildings read with this analyser."
    )
    assert made.inputs["buildings"] == ["b0", "b1", "b2"]
    assert len(made.inputs["visits"]) == len(made.inputs["appliances"]) == 12


def look_elsewhere(name, patterns):
    four = SAME | {"draught_pa": -4.0}
    return {
        "DX23": lambda: copied_readings([row("1", **four)], [row("2", **four)], patterns),
        "DX24": lambda: site_shift(at_site(1.0, 1.0, 1.0), patterns),
        "DX25": lambda: analyser_shift(by_analyser(*[1.0] * 10), patterns),
    }[name]()


@pytest.mark.parametrize("name", ELSEWHERE)
def test_each_threshold_named_is_used_and_a_missing_one_refused(name):
    assert look_elsewhere(name, PATTERNS).pattern == name
    for threshold in next(each["thresholds"] for each in PATTERNS if each["id"] == name):
        with pytest.raises(ValueError, match=threshold):
            look_elsewhere(name, without(name, threshold))


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_pattern_left_out_is_not_looked_for(name):
    assert look_elsewhere(name, [each for each in PATTERNS if each["id"] != name]) is None


changed = st.none() | st.just(math.nan) | st.integers(-20, 20).map(lambda tenths: tenths / 10)


@bounded
@given(
    st.lists(changed, max_size=14),
    st.integers(0, 20).map(lambda tenths: tenths / 10),
    st.randoms(use_true_random=False),
)
def test_the_order_of_changes_does_not_matter_and_nothing_raises(changes, push, chance):
    pushed = [None if each is None else abs(each) + push for each in changes]
    for some in (changes, pushed):
        rows = by_analyser(*some, buildings=3)
        shuffled = chance.sample(rows, len(rows))
        assert site_shift(shuffled, PATTERNS) == site_shift(rows, PATTERNS)
        assert analyser_shift(shuffled, PATTERNS) == analyser_shift(rows, PATTERNS)
