"""A reading made ready for judging: what is usable, what is derived, what is doubtful, what it is held against."""

import math
from dataclasses import replace

import pytest

from fleet.limits.card import Accuracy, FuelConstants
from fleet.limits.cases import measured, qualifier, read_cases
from fleet.limits.quantities import measure_for
from tests.limits.cast import make_card

# A fuel of round figures, so that each derived figure can be worked out by head.
FUEL = FuelConstants("round", 12.0, 0.0, o2_air_pct=21.0, dry_products_per_air=0.9, o2_too_dilute_pct=18.0)
CARD = replace(make_card(analyser=None), fuel=FUEL, co_rise_ppm=5.0)
RICH_AIR = replace(CARD, fuel=replace(FUEL, co2_air_pct=1.5))


def case_of(**reading):
    (only,) = read_cases(CARD, [reading])
    return only


def derived(**reading):
    made = case_of(**reading)
    return {name: made[name] for name in ("derived", "o2_pct", "co2_pct", "too_dilute", "excess_air_ratio")}


def test_what_follows_from_o2():
    made = case_of(o2_pct=7.0, co_ppm=40.0)
    burnt_o2_pct = (7.0 - 0.002) / (1 - 0.00002)
    co2_pct = (12 - 12 * burnt_o2_pct / 21) * (1 - 0.00002) - 0.004
    assert (made["derived"], made["too_dilute"], made["doubt"]) == ("co2_pct", False, None)
    assert made["co2_pct"] == pytest.approx(co2_pct)
    assert made["co_ppm_air_free"] == pytest.approx(40 * 20.9 / 13.9)
    assert made["co_co2_ratio"] == pytest.approx(40 / (1e4 * co2_pct))
    assert made["excess_air_ratio"] == pytest.approx(1 + 0.9 * burnt_o2_pct / (21 - burnt_o2_pct))


def test_more_co_than_can_be_shown_means_less_air():
    made = case_of(o2_pct=7.0, co_ppm=2000.0, qualifiers={"co": "more_than"})
    assert qualifier(made, "excess_air_ratio") == "less_than"
    assert qualifier(case_of(o2_pct=7.0, co_ppm=2000.0), "excess_air_ratio") == "="


def test_co_for_which_there_is_no_air_takes_no_air_free_figure_away():
    made = case_of(co2_pct=11.9, co_ppm=5000.0)
    assert (made["o2_pct"], made["co_ppm_air_free"], made["excess_air_ratio"]) == (0.0, 5000.0, None)


@pytest.mark.parametrize(("co2_max_pct", "there"), [(0.04, False), (0.9, False), (1.0, True), (12.0, True)])
def test_of_a_fuel_with_next_to_no_carbon_there_is_no_co_over_co2(co2_max_pct, there):
    """What little CO2 is in the flue gas came with the air; its CO air-free stays."""
    card = replace(CARD, fuel=replace(FUEL, co2_max_pct=co2_max_pct))
    for read in ({"o2_pct": 7.0, "co_ppm": 40.0}, {"o2_pct": 7.0, "co2_pct": 0.3, "co_ppm": 40.0}):
        (made,) = read_cases(card, [dict(read)])
        assert (made["co_co2_ratio"] is not None) is there
        assert made["co_ppm_air_free"] == pytest.approx(40 * 20.9 / 13.9)


def test_what_follows_from_co2():
    made = case_of(co2_pct=8.0)
    assert (made["derived"], made["o2_pct"]) == ("o2_pct", 7.0)
    assert (made["co_ppm_air_free"], made["co_co2_ratio"]) == (None, None)
    assert (case_of(co2_pct=12.0)["o2_pct"], case_of(co2_pct=12.0)["derived"]) == (0.0, "o2_pct")
    assert (case_of(co2_pct=12.01)["o2_pct"], case_of(co2_pct=12.01)["derived"]) == (None, "")


def test_the_co2_of_the_air_is_where_the_line_ends():
    (made,) = read_cases(RICH_AIR, [{"o2_pct": 14.0}])
    assert made["co2_pct"] == 5.0
    (made,) = read_cases(RICH_AIR, [{"co2_pct": 5.0}])
    assert made["o2_pct"] == 14.0


def test_what_was_read_is_never_replaced_and_nothing_comes_from_nothing():
    both = derived(o2_pct=7.0, co2_pct=9.0)
    assert (both["derived"], both["o2_pct"], both["co2_pct"]) == ("", 7.0, 9.0)
    assert derived() == {"derived": "", "o2_pct": None, "co2_pct": None, "too_dilute": False, "excess_air_ratio": None}


@pytest.mark.parametrize(("o2_pct", "too_dilute"), [(17.99, False), (18.0, True), (20.9, True)])
def test_from_18_percent_o2_on_a_sample_is_mostly_air(o2_pct, too_dilute):
    made = case_of(o2_pct=o2_pct, co_ppm=40.0)
    assert made["too_dilute"] is too_dilute
    assert (made["co_ppm_air_free"] is None, made["co_co2_ratio"] is None) == (too_dilute, too_dilute)
    assert made["doubt"] == (["mostly_air", {"o2_pct": o2_pct}] if too_dilute else None)


@pytest.mark.parametrize(("co2_pct", "ratio"), [(0.0, None), (-0.1, None), (0.5, 0.008)])
def test_a_ratio_needs_some_co2(co2_pct, ratio):
    assert case_of(o2_pct=5.0, co2_pct=co2_pct, co_ppm=40.0)["co_co2_ratio"] == ratio


@pytest.mark.parametrize(("o2_pct", "ratio"), [(-0.1, None), (0.0, 1.0), (21.0, None), (21.5, None), (20.0, 19.0)])
def test_excess_air_needs_an_o2_between_none_and_that_of_air(o2_pct, ratio):
    assert case_of(o2_pct=o2_pct)["excess_air_ratio"] == ratio


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_figure_that_is_not_finite_was_not_read(value):
    assert case_of(co_ppm=value, flue_temp_c=value)["co_ppm"] is None


@pytest.mark.parametrize("said", ["not_measured", "sensor_fault"])
@pytest.mark.parametrize("name", ["co", "co_ppm"])
def test_what_failed_or_was_not_measured_is_no_value_by_either_name(said, name):
    made = case_of(co_ppm=40.0, o2_pct=7.0, qualifiers={name: said})
    assert (made["co_ppm"], made["o2_pct"], qualifier(made, "co_ppm")) == (None, 7.0, "=")


@pytest.mark.parametrize(
    ("qualifiers", "said"),
    [
        (None, "="),
        ({}, "="),
        ({"co": "more_than"}, "more_than"),
        ({"co_ppm": "less_than", "co": "more_than"}, "less_than"),
        ({"o2": "more_than"}, "="),
        ({"co": None}, "="),
        ({"co": "="}, "="),
    ],
)
def test_what_is_said_of_a_figure(qualifiers, said):
    made = case_of(co_ppm=40.0, qualifiers=qualifiers)
    assert (qualifier(made, "co_ppm"), made["co_ppm"]) == (said, 40.0)


@pytest.mark.parametrize(
    "field",
    ["co_ppm", "o2_pct", "efficiency_pct_net", "efficiency_pct_gross", "flue_temp_c", "draught_pa", "spillage_min",
     "co_mg_per_kwh"],
)  # fmt: skip
def test_a_text_where_a_number_belongs_is_named(field):
    with pytest.raises(ValueError, match=f"^{field} must be a number, not '12'$"):
        case_of(**{field: "12"})


def test_words_stay_words_and_a_yes_about_oil_becomes_one():
    made = case_of(flame="stable", oil_derivatives=True, rate_proven=True)
    assert (made["flame"], made["oil_derivatives"], made["rate_proven"]) == ("stable", "present", True)
    assert case_of(oil_derivatives=False)["oil_derivatives"] == "none"
    assert case_of(oil_derivatives=None)["oil_derivatives"] is None


def test_the_reading_given_is_left_as_it_was():
    given = {"co2_pct": 8.0, "co_ppm": math.inf}
    case_of(**given)
    assert given == {"co2_pct": 8.0, "co_ppm": math.inf}


@pytest.mark.parametrize(
    ("more", "doubt", "anywhere"),
    [
        ({}, None, None),
        ({"invalid": True}, ["invalid", {}], ["invalid", {}]),
        ({"invalid": True, "steady": False}, ["invalid", {}], ["invalid", {}]),
        ({"steady": False}, ["not_steady", {}], None),
        ({"steady": True}, None, None),
        ({"steady": None}, None, None),
        ({"sampling_point": "common_flue"}, ["common_flue", {}], None),
        ({"o2_pct": 18.5, "steady": False}, ["mostly_air", {"o2_pct": 18.5}], None),
    ],
)
def test_what_makes_a_reading_doubtful(more, doubt, anywhere):
    made = case_of(**{"o2_pct": 7.0, **more})
    assert (made["doubt"], made["doubt_anywhere"]) == (doubt, anywhere)


def test_readings_come_in_the_order_taken_and_one_without_a_number_comes_first():
    given = [{"key": "c", "taken_order": 2}, {"key": "b", "taken_order": 1}, {"key": "a"}]
    assert [each["key"] for each in read_cases(CARD, given)] == ["a", "b", "c"]


def rises(*readings):
    return [each["ambient_co_rise_ppm"] for each in read_cases(CARD, numbered(readings))]


def numbered(readings):
    return [{**each, "taken_order": order} for order, each in enumerate(readings, 1)]


def test_ambient_co_rises_above_the_lowest_before_it():
    assert rises({"ambient_co_ppm": 4.0}) == [None]
    assert rises({"ambient_co_before_ppm": 1.0, "ambient_co_ppm": 4.0}) == [3.0]
    assert rises({"ambient_co_ppm": 2.0}, {"ambient_co_ppm": 4.0}, {"ambient_co_ppm": 3.0}) == [None, 2.0, 1.0]
    assert rises({"ambient_co_before_ppm": 0.0}, {"ambient_co_ppm": 4.0}) == [None, 4.0]
    assert rises({"ambient_co_ppm": 2.0}, {"co_ppm": 4.0}) == [None, None]
    assert rises({"ambient_co_ppm": 2.0}, {"ambient_co_before_ppm": 3.0, "ambient_co_ppm": 3.0}) == [None, 1.0]


def rising(*readings):
    plain = {"rate": "high", "sampling_point": "outlet", "o2_pct": 0.0}
    return [each["co_while_rising_ppm"] for each in read_cases(CARD, numbered([plain | each for each in readings]))]


def test_co_that_rose_by_the_least_rise_is_told_and_less_is_none():
    assert rising({"co_ppm": 100.0}, {"co_ppm": 104.9}) == [None, 0.0]
    assert rising({"co_ppm": 100.0}, {"co_ppm": 105.1}) == [None, pytest.approx(105.1)]
    assert rising({"co_ppm": 100.0}, {"co_ppm": None}, {"co_ppm": 90.0}) == [None, None, 0.0]
    assert rising({"co_ppm": 100.0}, {"co_ppm": 120.0}, {"co_ppm": 110.0}) == [
        None,
        pytest.approx(120.0),
        pytest.approx(110.0),
    ]


def test_co_is_compared_at_one_rate_and_place():
    assert rising({"co_ppm": 100.0}, {"co_ppm": 200.0, "rate": "low"}) == [None, None]
    assert rising({"co_ppm": 100.0}, {"co_ppm": 200.0, "sampling_point": "flue"}) == [None, None]


def test_co_is_compared_no_further_back_than_the_last_before_a_turn():
    turned = {"co_ppm": 90.0, "adjusted_before": True}
    assert rising({"co_ppm": 10.0}, {"co_ppm": 100.0}, turned) == [None, pytest.approx(100.0), 0.0]
    assert rising({"co_ppm": 10.0}, {"co_ppm": 100.0}, turned, {"co_ppm": 96.0}) == [
        None,
        pytest.approx(100.0),
        0.0,
        pytest.approx(96.0),
    ]
    other = {"co_ppm": 50.0, "rate": "low", "adjusted_before": True}
    assert rising({"co_ppm": 10.0}, {"co_ppm": 100.0}, other, {"co_ppm": 99.0}) == [
        None,
        pytest.approx(100.0),
        None,
        0.0,
    ]


def test_a_turn_before_this_reading_counts_past_readings_at_another_rate():
    between = {"co_ppm": 50.0, "rate": "low"}
    turned = {"co_ppm": 103.0, "adjusted_before": True}
    assert rising({"co_ppm": 10.0}, {"co_ppm": 100.0}, between, turned)[-1] == 0.0


def test_co_is_compared_undiluted_where_both_can_be():
    assert rising({"co_ppm": 100.0}, {"co_ppm": 60.0, "o2_pct": 10.45}) == [None, pytest.approx(120.0)]
    assert rising({"co_ppm": 100.0, "o2_pct": None}, {"co_ppm": 60.0, "o2_pct": 10.45}) == [None, 0.0]
    assert rising({"co_ppm": 100.0}, {"co_ppm": 104.0, "o2_pct": None}) == [None, 0.0]


# --- on a limit's basis ----------------------------------------------------------------------------------


def on_basis(quantity, basis, unit, accuracy=None, **reading):
    card = replace(CARD, analyser=replace(CARD.analyser, accuracy=accuracy or {}))
    (case,) = read_cases(card, [reading])
    return measured(measure_for(quantity, basis, unit).measure, case, card)


CO_ACCURACY = {"co_ppm": Accuracy(3.0, 10.0)}
O2_ACCURACY = {"o2_pct": Accuracy(0.4, 0.0)}
CO2_ACCURACY = {"co2_pct": Accuracy(0.0, 5.0)}


def test_a_value_as_measured_is_as_uncertain_as_the_greater_of_its_two_figures():
    assert on_basis("co", None, "ppm", CO_ACCURACY, co_ppm=20.0) == (20.0, "=", 3.0)
    assert on_basis("co", None, "ppm", CO_ACCURACY, co_ppm=50.0) == (50.0, "=", 5.0)
    assert on_basis("co", None, "ppm", CO_ACCURACY, co_ppm=-50.0) == (-50.0, "=", 5.0)
    assert on_basis("co", None, "ppm", O2_ACCURACY, co_ppm=20.0) == (20.0, "=", None)
    assert on_basis("co", None, "ppm", CO_ACCURACY) == (None, "=", None)
    assert on_basis("flame", None, None, CO_ACCURACY, flame="stable") == ("stable", "=", None)


def test_a_scaled_value_counts_both_uncertainties():
    value, said, uncertainty = on_basis("co", "undiluted", "ppm", CO_ACCURACY | O2_ACCURACY, co_ppm=50.0, o2_pct=11.0)
    assert (value, said) == (pytest.approx(105.0), "=")
    assert uncertainty == pytest.approx(math.hypot(5.0 * 21 / 10, 105.0 * 0.4 / 10))
    for lacking in (CO_ACCURACY, O2_ACCURACY, {}):
        assert on_basis("co", "undiluted", "ppm", lacking, co_ppm=50.0, o2_pct=11.0)[2] is None
    value, _, uncertainty = on_basis("co_co2_ratio", None, None, CO_ACCURACY | CO2_ACCURACY, co_ppm=50.0, co2_pct=8.0)
    assert value == pytest.approx(50 / 80000)
    assert uncertainty == pytest.approx(value * math.hypot(0.1, 0.05))


@pytest.mark.parametrize(
    ("said_of_co", "value", "said"),
    [("=", 50.0, "at_least"), ("more_than", 50.0, "more_than"), ("less_than", 0.0, "at_least")],
)
@pytest.mark.parametrize("o2_pct", [None, 20.0, 21.0, 21.5])
def test_without_a_usable_o2_a_concentration_is_at_least_what_it_is_undiluted(said_of_co, value, said, o2_pct):
    read = {"co_ppm": 50.0, "o2_pct": o2_pct, "qualifiers": {"co": said_of_co}}
    assert on_basis("co", "undiluted", "ppm", CO_ACCURACY | O2_ACCURACY, **read) == (value, said, None)


def test_without_a_usable_co2_a_ratio_is_at_least_the_one_at_the_fuels_maximum():
    value, said, uncertainty = on_basis("co_co2_ratio", None, None, CO_ACCURACY | CO2_ACCURACY, co_ppm=60.0)
    assert (value, said, uncertainty) == (pytest.approx(60 / 120000), "at_least", None)
    assert on_basis("co_co2_ratio", None, None, co_ppm=60.0, co2_pct=0.0, o2_pct=5.0)[1] == "at_least"


def test_a_diluted_sample_has_no_uncertainty_and_keeps_its_qualifier():
    read = {"o2_pct": 18.5, "co_ppm": 50.0}
    assert on_basis("co", None, "ppm", CO_ACCURACY, **read) == (50.0, "=", None)
    read["qualifiers"] = {"co": "less_than"}
    assert on_basis("co", None, "ppm", CO_ACCURACY, **read) == (50.0, "less_than", None)


@pytest.mark.parametrize(("spot", "whole"), [(1.4, 1.0), (1.5, 2.0), (2.5, 3.0), (0.0, 0.0)])
def test_a_mean_of_three_spots_is_rounded_half_up(spot, whole):
    assert on_basis("soot_number", "mean_of_three", "1", smoke_spot=spot) == (whole, "=", None)
    assert on_basis("soot_number", "all_three_filters", "1", smoke_spot=spot) == (spot, "=", None)
