import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits.patterns import (
    ELSEWHERE,
    ORDER,
    READ_TO_THE_DIGIT,
    RULES,
    STAYS,
    WITH_HIGH_CO,
    Diagnosis,
    VisitView,
    compared,
    diagnose,
    diagnosis_of,
    difference,
    number,
)
from fleet.presentation.diagnoses import causes_of, checks_of, diagnosis_words, sentence_of

DATA = Path(__file__).resolve().parents[2] / "fixtures" / "reference" / "diagnostics.json"
DOCUMENT = json.loads(DATA.read_text(encoding="utf-8"))
PATTERNS = DOCUMENT["patterns"]
INVALIDATING = ("DX09", "DX10", "DX11")
RATE_KEYS = (
    *("o2_pct", "co2_pct", "co_ppm", "co_ppm_air_free", "o2_corrected_pct", "flue_temp_c", "air_temp_c", "net_temp_k"),
    *("input_share_pct", "draught_pa", "smoke_spot", "spillage_min", "gas_pressure_working_pa", "co_slope_ppm_min"),
    "co_first_minute_ppm_air_free",
)
VISIT_KEYS = (
    *("co2_max_pct", "zero_o2_pct", "zero_co_ppm", "ambient_before_ppm", "ambient_max_ppm"),
    *("minimum_working_pressure_pa", "spillage_limit_min"),
)

bounded = settings(max_examples=60, deadline=None, derandomize=True)


def view(high=None, low=None, last_high=None, last_low=None, **more):
    """A plain visit of a gas boiler with two rates, a year after it was last left; with what is told otherwise."""
    plain = {"co_ppm": 20.0, "outside": False, "invalid": False, "draught_pa": -5.0, "input_share_pct": 99.0}
    at_high = plain | {"o2_pct": 5.0, "co2_pct": 9.1, "co_ppm_air_free": 26.0, "flue_temp_c": 65.0, "net_temp_k": 45.0}
    at_low = plain | {"o2_pct": 5.4, "co2_pct": 8.9, "co_ppm_air_free": 27.0, "flue_temp_c": 55.0, "net_temp_k": 35.0}
    usual = {
        "co2_basis": "calculated",
        "fuel": "natural_gas",
        "analyser_fuel": "natural_gas",
        "co2_max_pct": 11.9,
        "zero_o2_pct": 20.9,
        "zero_co_ppm": 0.0,
        "ambient_before_ppm": 0.0,
        "ambient_max_ppm": 1.0,
        "natural_draught": True,
        "minimum_working_pressure_pa": 1700.0,
        "spillage_limit_min": 5.0,
        "left": {"high": at_high, "low": at_low},
    }
    found = {"high": at_high | (high or {}), "low": at_low | (low or {})}
    last = {"high": at_high | (last_high or {}), "low": at_low | (last_low or {})}
    return VisitView(found=found, last=last, **(usual | more))


def reading(phase, rate, **figures):
    return {"phase": phase, "rate": rate, **figures}


SAME = {"o2_pct": "5.1", "co_ppm": "12", "flue_temp_c": "64.8"}
FOUND = reading("as_found", "high", **SAME)

# Of each pattern, from its own words: a visit exactly on its thresholds, and whether that fires it; then visits that
# lie just on the side that fires, and just on the side that doesn't.
ON = {
    "DX01": (view({"o2_pct": 4.2, "co_ppm_air_free": 76.0}), True),
    "DX02": (view({"o2_pct": 4.2}, {"o2_pct": 4.6}), True),
    "DX03": (view({"o2_pct": 5.8}, {"o2_pct": 6.2}), True),
    "DX04": (view({"o2_pct": 5.8, "co_ppm_air_free": 76.0}), True),
    "DX07": (view({"net_temp_k": 60.0, "o2_pct": 5.49}), True),
    "DX08": (view({"net_temp_k": 30.0, "o2_pct": 6.0}), True),
    "DX09": (view({"o2_pct": 0.0, "co2_pct": 11.5}, co2_basis="measured"), False),
    "DX11": (view(zero_o2_pct=20.6, zero_co_ppm=3.0), False),
    "DX12": (view({"co_slope_ppm_min": 10.1, "co_ppm_air_free": 100.0}), True),
    "DX13": (view({"co_first_minute_ppm_air_free": 400.0}), True),
    "DX14": (view(ambient_before_ppm=1.1, ambient_max_ppm=6.1), True),
    "DX15": (view({"draught_pa": -1.0, "spillage_min": 5.0}), False),
    "DX16": (view({"smoke_spot": 2.0, "o2_pct": 4.0}, fuel="oil_light", analyser_fuel="oil_light"), True),
    "DX17": (view({"smoke_spot": 2.0, "o2_pct": 6.0}, fuel="oil_light", analyser_fuel="oil_light"), True),
    "DX19": (view({"input_share_pct": 105.0}), False),
    "DX20": (view({"input_share_pct": 90.0, "gas_pressure_working_pa": 1700.0}), False),
    "DX21": (view({"o2_pct": 5.3, "flue_temp_c": 57.0}, {"o2_pct": 5.4}), False),
    "DX22": (view(adjusted=True, readings=(FOUND, reading("as_left", "high", **SAME))), True),
}
BEYOND = {
    "DX01": [view({"o2_pct": 4.1, "co_ppm_air_free": 77.0})],
    "DX02": [view({"o2_pct": 4.1, "co_ppm_air_free": 99.0}, {"o2_pct": 4.5})],
    "DX03": [view({"o2_pct": 5.9, "co_ppm_air_free": 99.0}, {"o2_pct": 6.3})],
    "DX04": [view({"o2_pct": 5.9, "co_ppm_air_free": 77.0})],
    "DX05": [view(low={"outside": True})],
    "DX06": [view(high={"outside": True})],
    "DX07": [view({"net_temp_k": 60.1, "o2_pct": 4.51})],
    "DX08": [view({"net_temp_k": 29.9, "o2_pct": 6.1})],
    "DX09": [
        view({"o2_pct": 0.0, "co2_pct": 11.49}, co2_basis="measured"),
        view({"o2_pct": 0.0, "co2_pct": 12.31}, co2_basis="measured"),
    ],
    "DX10": [view(analyser_fuel="lpg")],
    "DX11": [view(zero_o2_pct=20.59), view(zero_o2_pct=21.01), view(zero_co_ppm=3.1)],
    "DX12": [view(low={"co_slope_ppm_min": 10.1, "co_ppm_air_free": 101.0})],
    "DX13": [view({"co_first_minute_ppm_air_free": 401.0, "co_ppm_air_free": 99.0})],
    "DX14": [view(ambient_before_ppm=1.0, ambient_max_ppm=6.1)],
    "DX15": [view({"draught_pa": -0.9, "spillage_min": 5.1}), view(low={"draught_pa": 2.0, "spillage_min": 9.0})],
    "DX16": [view({"smoke_spot": 3.0, "o2_pct": 3.9}, fuel="")],
    "DX17": [view({"smoke_spot": 3.0, "o2_pct": 6.1}, fuel="")],
    "DX18": [view({"oil_derivatives": True}, fuel="oil_light", analyser_fuel="oil_light")],
    "DX19": [view({"input_share_pct": 105.1})],
    "DX20": [view({"input_share_pct": 89.9, "gas_pressure_working_pa": 1699.0})],
    "DX21": [view({"o2_pct": 5.31, "flue_temp_c": 56.9}, {"o2_pct": 5.4})],
    "DX22": [
        view(
            adjusted=True, readings=(FOUND | {"draught_pa": "-4"}, reading("as_left", "high", **SAME, draught_pa="-4"))
        )
    ],
}
SHORT = {
    "DX01": [
        view({"o2_pct": 4.21, "co_ppm_air_free": 90.0}),
        view({"o2_pct": 4.0, "co_ppm_air_free": 75.9}),
        view({"o2_pct": 6.0, "co_ppm_air_free": 90.0}),
    ],
    "DX02": [
        view({"o2_pct": 4.21}, {"o2_pct": 4.0}),
        view({"o2_pct": 4.0}, {"o2_pct": 4.61}),
        view({"o2_pct": 4.0, "co_ppm_air_free": 100.0}, {"o2_pct": 4.0}),
        view({"o2_pct": 4.0}, {"o2_pct": None}),
    ],
    "DX03": [
        view({"o2_pct": 5.79}, {"o2_pct": 7.0}),
        view({"o2_pct": 7.0}, {"o2_pct": 6.19}),
        view({"o2_pct": 7.0, "co_ppm_air_free": 100.0}, {"o2_pct": 7.0}),
    ],
    "DX04": [view({"o2_pct": 5.79, "co_ppm_air_free": 90.0}), view({"o2_pct": 6.0, "co_ppm_air_free": 75.9})],
    "DX05": [view(high={"outside": True}, low={"outside": True}), view(high={"outside": None}, low={"outside": True})],
    "DX06": [view(high={"outside": True}, low={"outside": True}), view(high={"outside": True}, low={"outside": None})],
    "DX07": [view({"net_temp_k": 59.9}), view({"net_temp_k": 70.0, "o2_pct": 5.5})],
    "DX08": [view({"net_temp_k": 30.1, "o2_pct": 7.0}), view({"net_temp_k": 20.0, "o2_pct": 5.99})],
    "DX09": [
        view({"o2_pct": 0.0, "co2_pct": 11.51}, co2_basis="measured"),
        view({"o2_pct": 0.0, "co2_pct": 12.29}, co2_basis="measured"),
        view({"o2_pct": 0.0, "co2_pct": 10.0}),
    ],
    "DX10": [view(analyser_fuel=""), view(fuel="")],
    "DX11": [view(zero_o2_pct=20.61), view(zero_o2_pct=21.0), view(zero_co_ppm=2.9)],
    "DX12": [
        view({"co_slope_ppm_min": 10.0, "co_ppm_air_free": 300.0}),
        view({"co_slope_ppm_min": 50.0, "co_ppm_air_free": 99.9}),
    ],
    "DX13": [
        view({"co_first_minute_ppm_air_free": 399.0}),
        view({"co_first_minute_ppm_air_free": 500.0, "co_ppm_air_free": 100.0}),
    ],
    "DX14": [view(ambient_before_ppm=1.1, ambient_max_ppm=6.0)],
    "DX15": [
        view({"draught_pa": -1.0, "spillage_min": 9.0}),
        view({"draught_pa": 1.0, "spillage_min": 5.0}),
        view({"draught_pa": 1.0, "spillage_min": 9.0}, natural_draught=False),
        view({"draught_pa": 1.0, "spillage_min": 9.0}, natural_draught=None),
    ],
    "DX16": [
        view({"smoke_spot": 1.0, "o2_pct": 3.0}, fuel=""),
        view({"smoke_spot": 3.0, "o2_pct": 4.01}, fuel=""),
        view({"smoke_spot": 3.0, "o2_pct": 3.0}),
    ],
    "DX17": [
        view({"smoke_spot": 1.0, "o2_pct": 7.0}, fuel=""),
        view({"smoke_spot": 3.0, "o2_pct": 5.99}, fuel=""),
        view({"smoke_spot": 3.0, "o2_pct": 7.0}),
    ],
    "DX18": [view({"oil_derivatives": False}, fuel="oil_light"), view({"oil_derivatives": True})],
    "DX19": [view({"input_share_pct": 104.9})],
    "DX20": [
        view({"input_share_pct": 90.0, "gas_pressure_working_pa": 1500.0}),
        view({"input_share_pct": 80.0, "gas_pressure_working_pa": 1700.0}),
    ],
    "DX21": [
        view({"o2_pct": 5.3, "flue_temp_c": 55.0}, {"o2_pct": 5.4}),
        view({"o2_pct": 5.4, "flue_temp_c": 57.0}, {"o2_pct": 5.4}),
    ],
    "DX22": [
        view(adjusted=False, readings=(FOUND, reading("as_left", "high", **SAME))),
        view(adjusted=True, readings=(FOUND, reading("as_left", "high", **SAME | {"co_ppm": "13"}, draught_pa="-4"))),
        view(adjusted=True, readings=(FOUND, reading("as_left", "low", **SAME))),
        view(adjusted=True, readings=(FOUND, reading("as_left", "high", o2_pct="5.1", co_ppm="12"))),
        view(adjusted=True, readings=(FOUND,)),
        view(adjusted=True, readings=(reading("as_left", "high", **SAME),)),
    ],
}


def fired(a_view, patterns=PATTERNS):
    return [each.pattern for each in diagnose(a_view, patterns)]


def only(wanted, a_view):
    return next((each for each in diagnose(a_view, PATTERNS) if each.pattern == wanted), None)


def row_of(wanted):
    return next(row for row in PATTERNS if row["id"] == wanted)


def test_each_pattern_of_the_data_has_a_function_and_each_function_a_pattern():
    assert [row["id"] for row in PATTERNS] == [f"DX{number:02}" for number in range(1, 26)]
    assert {row["id"] for row in PATTERNS} == set(RULES) | set(ELSEWHERE)
    assert not set(RULES) & set(ELSEWHERE)


def test_the_data_is_whole():
    assert DOCUMENT["schema"] == "diagnostics/1"
    for row in PATTERNS:
        assert row["severity"] in ORDER
        assert row["title"] and row["sentence"].endswith(".") and row["evidence"]
        assert row["causes"] and row["checks"]
        assert row["makes_invalid"] is (row["id"] in INVALIDATING)
        assert all(isinstance(value, (int, float)) for value in row["thresholds"].values())


@pytest.mark.parametrize("wanted", sorted(RULES))
def test_each_threshold_named_is_used_and_each_used_is_named(wanted):
    class Watched(dict):
        def __getitem__(self, name):
            used.add(name)
            return super().__getitem__(name)

    used: set[str] = set()
    row = row_of(wanted) | {"thresholds": Watched(row_of(wanted)["thresholds"])}
    for a_case in BEYOND[wanted]:
        diagnose(a_case, [row])
        # A invalid reading of the last visit asks whether CO itself is high.
        diagnose(replace(a_case, last={"high": {**a_case.last["high"], "invalid": True}}), [row])
    assert used == set(row["thresholds"])


def test_a_plain_visit_fires_nothing():
    assert fired(view()) == []
    assert fired(VisitView()) == []


@pytest.mark.parametrize("wanted", sorted(ON))
def test_exactly_on_its_threshold(wanted):
    a_view, fires = ON[wanted]
    assert (wanted in fired(a_view)) is fires


@pytest.mark.parametrize(("wanted", "a_view"), [(name, each) for name, cases in BEYOND.items() for each in cases])
def test_beyond_its_threshold_a_pattern_fires_with_its_figures_in_the_sentence(wanted, a_view):
    made = only(wanted, a_view)
    assert made is not None
    assert "{" not in diagnosis_words(made)
    assert all(math.isfinite(value) for value in made.figures.values())
    assert causes_of(made) and checks_of(made) and made.inputs == {}


@pytest.mark.parametrize(("wanted", "a_view"), [(name, each) for name, cases in SHORT.items() for each in cases])
def test_short_of_its_threshold_a_pattern_does_not_fire(wanted, a_view):
    assert wanted not in fired(a_view)


def test_every_pattern_of_one_visit_has_its_cases():
    assert set(BEYOND) == set(SHORT) == set(RULES)
    assert set(RULES) - set(ON) == {"DX05", "DX06", "DX10", "DX18"}  # these have no threshold


def test_the_sentence_tells_what_moved_and_by_how_much():
    made = only(
        "DX01", view({"o2_pct": 4.0, "co_ppm_air_free": 60.0}, last_high={"o2_pct": 5.1, "co_ppm_air_free": 0.0})
    )
    assert diagnosis_words(made) == (
        "O2 at high fire fell from 5.1 to 4.0 % since it was last left; CO air-free rose by 60 ppm."
    )
    assert made.figures == {"o2_pct": 4.0, "last_o2_pct": 5.1, "co_rise_ppm_air_free": 60.0}


def test_o2_is_compared_at_one_air_temperature_where_both_visits_have_it():
    warm = {"o2_corrected_pct": 5.0}
    fell = view({"o2_pct": 4.0, **warm}, {"o2_pct": 4.4, **warm}, warm, warm)
    assert fired(fell) == []
    assert "not corrected for air temperature" not in diagnosis_words(
        only("DX02", view({"o2_corrected_pct": 4.0}, {"o2_corrected_pct": 4.0}, warm, warm))
    )


@pytest.mark.parametrize("missing", [None, math.nan])
def test_o2_as_read_is_compared_where_a_visit_lacks_the_air_temperature_and_the_sentence_says_so(missing):
    warm = {"o2_corrected_pct": 5.0}
    made = only("DX02", view({"o2_pct": 4.0, **warm}, {"o2_pct": 4.4, **warm}, warm, {"o2_corrected_pct": missing}))
    assert diagnosis_words(made) == (
        "O2 fell by 1.0 points or more at every rate since it was last left (not corrected for air temperature); "
        "CO air-free is 26 ppm."
    )


def test_a_single_rate_is_every_rate_the_appliance_has():
    a_view = VisitView(found={"high": {"o2_pct": 4.0, "co_ppm_air_free": 20.0}}, last={"high": {"o2_pct": 5.0}})
    assert fired(a_view) == ["DX02"]


def test_a_zero_that_was_not_read_shows_as_a_dash():
    made = only("DX11", view(zero_o2_pct=None, zero_co_ppm=8.0))
    assert diagnosis_words(made) == "In fresh air the analyser read O2 - % and CO 8 ppm."
    assert made.figures == {"zero_co_ppm": 8.0}


def test_co_that_climbs_in_a_sample_too_dilute_for_air_free_is_taken_as_read():
    assert fired(view({"co_slope_ppm_min": 20.0, "co_ppm": 120.0, "co_ppm_air_free": None})) == ["DX12"]


def test_the_reading_that_fired_is_named_and_as_left_is_looked_at_too():
    left = {"high": {}, "low": {"co_slope_ppm_min": 12.0, "co_ppm_air_free": 150.0}}
    made = only("DX12", view(left=left))
    assert diagnosis_words(made) == "CO climbed by 12 ppm a minute at low fire, as left and stood at 150 ppm."


def test_the_strictest_comes_first_then_the_id():
    a_view = view({"input_share_pct": 110.0, "co_slope_ppm_min": 20.0, "co_ppm_air_free": 200.0, "o2_pct": 4.0})
    a_view = replace(a_view, ambient_max_ppm=9.0, zero_co_ppm=5.0)
    assert fired(a_view) == ["DX12", "DX14", "DX01", "DX11", "DX19"]


def test_an_invalid_reading_drops_what_rests_on_flue_gas():
    rich = view({"o2_pct": 4.0}, {"o2_pct": 4.0})
    assert fired(rich) == ["DX02"]
    assert fired(replace(rich, analyser_fuel="lpg")) == ["DX10"]
    assert fired(view({"o2_pct": 4.0}, {"o2_pct": 4.0, "invalid": True})) == []


@pytest.mark.parametrize("wanted", ["DX18", "DX19", "DX20", "DX22"])
def test_invalid_flue_gas_takes_nothing_from_gas_rate_filter_paper_and_record(wanted):
    assert wanted in fired(replace(BEYOND[wanted][0], zero_o2_pct=19.0))


def test_a_reading_as_left_may_repeat_any_of_those_as_found():
    found = (reading("as_found", "high", o2_pct="5.1"), FOUND, reading("as_found", "high", o2_pct="6.0"))
    made = only("DX22", view(adjusted=True, readings=(*found, reading("as_left", "high", **SAME))))
    assert made.figures == {"equal_quantities": 3.0}


def test_an_invalid_reading_keeps_o2_with_co_only_where_co_itself_is_high():
    def starved(co_ppm_air_free):
        return fired(view({"o2_pct": 4.0, "co_ppm_air_free": co_ppm_air_free, "invalid": True}))

    assert starved(99.9) == []
    assert starved(100.0) == ["DX01"]


def test_unknown_patterns_missing_thresholds_and_severities_are_refused():
    rising = view(ambient_max_ppm=9.0)
    room = row_of("DX14")
    with pytest.raises(ValueError, match="DX99"):
        diagnose(rising, [room | {"id": "DX99"}])
    with pytest.raises(ValueError, match="ambient_rise_ppm"):
        diagnose(rising, [room | {"thresholds": {}}])
    with pytest.raises(ValueError, match="severity"):
        diagnose(rising, [room | {"severity": "dreadful"}])


def test_a_threshold_is_data_and_a_pattern_left_out_is_not_looked_for():
    room = row_of("DX14")
    assert fired(view(), [room | {"thresholds": {"ambient_rise_ppm": 1}}]) == ["DX14"]
    assert fired(view(ambient_max_ppm=9.0), []) == []


def test_no_word_declares_an_appliance_fit():
    words = json.dumps(DOCUMENT).lower()
    assert not any(word in words for word in ("safe", "complian"))


nothing = st.sampled_from([None, math.nan])
figure = st.floats(-2000, 2000) | st.sampled_from([0.0, 4.2, 5.0, 20.9, 100.0, 400.0])
anything = nothing | figure
flags = st.sampled_from([None, True, False])


def any_reading(figures):
    keys = dict.fromkeys(RATE_KEYS, figures)
    return st.fixed_dictionaries({}, optional=keys | dict.fromkeys(("outside", "invalid", "oil_derivatives"), flags))


def any_rates(figures):
    one = any_reading(figures)
    return st.fixed_dictionaries({}, optional={"high": one, "low": one})


def any_view(figures):
    rows = st.fixed_dictionaries(
        {"phase": st.sampled_from(["as_found", "as_left"]), "rate": st.sampled_from(["high", "low"])},
        optional=dict.fromkeys(READ_TO_THE_DIGIT, figures),
    )
    fuels = st.sampled_from(["", "natural_gas", "oil_light"])
    return st.builds(
        VisitView,
        found=any_rates(figures),
        left=any_rates(figures),
        last=any_rates(figures),
        co2_basis=st.sampled_from(["measured", "calculated", "absent"]),
        fuel=fuels,
        analyser_fuel=fuels,
        natural_draught=flags,
        adjusted=st.booleans(),
        readings=st.lists(rows, max_size=4).map(tuple),
        **dict.fromkeys(VISIT_KEYS, figures),
    )


@bounded
@given(any_view(anything))
def test_no_reading_whatever_raises(a_view):
    made = diagnose(a_view, PATTERNS)
    assert [ORDER.index(each.severity) for each in made] == sorted(ORDER.index(each.severity) for each in made)


@bounded
@given(any_view(nothing))
def test_figures_that_are_missing_fire_nothing(a_view):
    without_figures = {"DX05", "DX06", "DX10", "DX18"}  # judged by somebody else, or seen by eye
    assert set(fired(a_view)) <= without_figures


@pytest.mark.parametrize("wanted", sorted(set(ON) - {"DX11", "DX22"}))
@pytest.mark.parametrize("missing", [None, math.nan])
def test_a_pattern_falls_silent_with_any_figure_it_rests_on(wanted, missing):
    a_view = BEYOND[wanted][0]
    rate = "low" if wanted == "DX12" else "high"
    moved = [
        key for key in a_view.found[rate] if key in RATE_KEYS and a_view.found[rate][key] != view().found[rate].get(key)
    ]
    for key in moved:
        without = replace(a_view, found={**a_view.found, rate: {**a_view.found[rate], key: missing}})
        # CO as read stands in for CO air-free, and is low here.
        assert wanted not in fired(without), key
    if not moved:
        assert wanted not in fired(replace(a_view, ambient_max_ppm=missing))


@bounded
@given(any_view(anything), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(a_view, chance):
    shuffled = tuple(chance.sample(a_view.readings, len(a_view.readings)))
    turned = {phase: dict(reversed(getattr(a_view, phase).items())) for phase in ("found", "left", "last")}
    assert diagnose(replace(a_view, readings=shuffled, **turned), PATTERNS) == diagnose(a_view, PATTERNS)


@bounded
@given(any_view(figure), st.sampled_from(["fuel", "zero", "mark"]))
def test_invalidity_never_removes_what_calls_for_a_shut_down(a_view, how):
    invalid = {
        "fuel": replace(a_view, fuel="natural_gas", analyser_fuel="lpg"),
        "zero": replace(a_view, zero_o2_pct=19.0),
        "mark": replace(a_view, last={**a_view.last, "high": {**a_view.last.get("high", {}), "invalid": True}}),
    }[how]
    before, after = (
        [
            (each.pattern, each.figures, diagnosis_words(each))
            for each in diagnose(seen, PATTERNS)
            if each.severity == "shut_down"
        ]
        for seen in (a_view, invalid)
    )
    assert after == before


@bounded
@given(any_view(figure))
def test_an_invalid_visit_explains_nothing_by_its_flue_gas(a_view):
    invalid = replace(a_view, zero_o2_pct=19.0)
    assert all(RULES[wanted].when_invalid in (STAYS, WITH_HIGH_CO) for wanted in fired(invalid))


def test_a_figure_that_either_reading_lacks_is_neither_equal_nor_different():
    one = {"o2_pct": 5.0, "co_ppm": 12.0, "no_ppm": math.nan, "nox_ppm": None, "flue_temp_c": 60.0}
    other = {"o2_pct": 5.0, "co_ppm": 13.0, "no_ppm": math.nan, "nox_ppm": 9.0, "air_temp_c": 20.0}
    assert compared(one, other) == (1, 1)
    assert compared({}, {}) == (0, 0)
    assert compared(dict.fromkeys(READ_TO_THE_DIGIT, 1.0), dict.fromkeys(READ_TO_THE_DIGIT, 1.0)) == (9, 0)
    assert compared({"ambient_co_ppm": 1.0}, {"ambient_co_ppm": 1.0}) == (0, 0)


@pytest.mark.parametrize("name", ["o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c",
                                  "draught_pa", "gas_pressure_working_pa"])  # fmt: skip
def test_what_two_readings_of_one_flame_seldom_share(name):
    assert compared({name: 1.0}, {name: 1.0}) == (1, 0)
    assert compared({name: 1.0}, {name: 2.0}) == (0, 1)


@pytest.mark.parametrize(
    ("value", "figure"),
    [(1, 1.0), (0.0, 0.0), (-2.5, -2.5), (None, None), (True, None), ("5", None), (math.inf, None), (math.nan, None)],
)
def test_only_a_finite_number_is_a_figure(value, figure):
    made = number(value)
    assert math.isnan(made) if figure is None else (made, type(made)) == (figure, float)


def test_a_difference_is_rounded_to_the_sixth_decimal():
    assert difference(5.8, 5.0) == 0.8
    assert difference(1.0000004, 0.0) == 1.0
    assert difference(1.000001, 0.0) == 1.000001
    assert math.isnan(difference(math.nan, 1.0))


def test_figures_of_a_sentence_are_shown_by_their_units():
    row = {"id": "x", "title": "t", "severity": "query", "causes": ["c"], "checks": ["k"], "evidence": "own",
           "sentence": "{a_pct} {b_pct} {c_pct} {d_ppm} {e_ppm} {word}"}  # fmt: skip
    given = {"a_pct": 5.0, "b_pct": 5.25, "c_pct": math.nan, "d_ppm": 1234.56, "e_ppm": math.nan}
    made = diagnosis_of(row, given, {"word": "here"})
    assert made == Diagnosis("x", "query", "own", {"a_pct": 5.0, "b_pct": 5.25, "d_ppm": 1234.56}, {"word": "here"}, {})
    assert sentence_of(row, made.figures, made.named) == "5.0 5.25 - 1235 - here"
    assert diagnosis_of(row, given, {"word": ""}, {"readings": ["1"]}).inputs == {"readings": ["1"]}


def test_the_severities_from_the_strictest():
    assert ORDER == ("shut_down", "stop_and_find", "invalid_reading", "refer", "adjust", "service", "investigate",
                     "repeat", "query", "wait")  # fmt: skip


# --- what a view leaves open ------------------------------------------------------------------------------


def test_a_view_of_which_nothing_is_told_knows_nothing_and_nothing_holds():
    empty = VisitView()
    assert diagnose(empty, PATTERNS) == ()
    assert (empty.found, empty.left, empty.last, empty.readings) == ({}, {}, {}, ())
    assert (empty.co2_basis, empty.fuel, empty.analyser_fuel, empty.adjusted) == ("absent", "", "", False)
    assert all(getattr(empty, name) is None for name in (*VISIT_KEYS, "natural_draught"))


def test_a_sentence_about_corrected_o2_says_nothing_of_a_correction():
    warm = {"o2_corrected_pct": 5.0}
    cold = {"o2_corrected_pct": 4.0}
    assert diagnosis_words(only("DX02", view(cold, cold, warm, warm))) == (
        "O2 fell by 1.0 points or more at every rate since it was last left; CO air-free is 26 ppm."
    )


def test_o2_that_high_fire_lacks_at_one_air_temperature_is_compared_as_read_at_both_rates():
    low, last_low = {"o2_pct": 4.4, "o2_corrected_pct": 5.4}, {"o2_corrected_pct": 5.4}
    made = only("DX02", view({"o2_pct": 4.0}, low, {}, last_low))
    assert "(not corrected for air temperature)" in diagnosis_words(made)


@pytest.mark.parametrize("lacks", ["found", "last"])
def test_o2_that_was_read_at_low_fire_only_once_tells_nothing_of_every_rate(lacks):
    a_view = view({"o2_pct": 4.0}, {"o2_pct": 4.4})
    assert fired(a_view) == ["DX02"]
    state = {"high": getattr(a_view, lacks)["high"]}
    assert fired(replace(a_view, **{lacks: state})) == []


def test_the_phase_that_fired_is_named_as_found_too():
    assert ", as found" in diagnosis_words(only("DX12", view({"co_slope_ppm_min": 12.0, "co_ppm_air_free": 150.0})))


def test_a_pattern_that_makes_readings_invalid_is_told_whatever_its_readings_are_worth():
    """Which patterns invalid stands in the data file: what makes invalid a reading is never silenced by that."""
    (row,) = [pattern for pattern in PATTERNS if pattern["id"] == "DX07"]
    hot = view({"net_temp_k": 60.1, "o2_pct": 5.0, "invalid": True})
    assert diagnose(hot, [row]) == ()
    (made,) = diagnose(hot, [{**row, "makes_invalid": True}])
    assert made.pattern == "DX07"


@pytest.mark.parametrize(
    "others",
    [
        (reading("as_found", "low", o2_pct="5.4", co_ppm="14"), reading("as_left", "low", o2_pct="5.5", co_ppm="14")),
        (reading("as_left", "low", **SAME),),
    ],
)
def test_one_reading_as_left_that_shows_something_of_its_own_is_enough(others):
    same = (FOUND, reading("as_left", "high", **SAME))
    assert fired(view(adjusted=True, readings=same)) == ["DX22"]
    assert fired(view(adjusted=True, readings=(*same, *others))) == []
