import re
from dataclasses import fields, replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fleet.combustion import FUELS, air_free, co2_pct_from_o2, co_co2_ratio, excess_air_ratio_from_o2
from fleet.limits import Verdict, evaluate
from fleet.limits.cases import read_cases
from fleet.presentation.verdicts import reason_words, set_version_words, verdict_sentence
from tests.limits.cast import LIMIT_SETS, make_card, of, one_limit_set, reading, sheet, target, the

bounded = settings(max_examples=60, deadline=None, derandomize=True)
o2_values = st.floats(0, 17.9)
co_values = st.floats(0, 3000)


def judged(limit_set, *readings, **card_facts):
    return of(evaluate(make_card(limit_set, **card_facts), list(readings)), kind="limit")


def outcome(limit_set, *readings, **card_facts):
    (only,) = judged(limit_set, *readings, **card_facts)
    return only.outcome


# --- derived figures -------------------------------------------------------------------------------------


@bounded
@given(o2_values, co_values, st.sampled_from(["natural_gas", "propane", "light_oil", "methane"]))
def test_derived_figures_are_those_of_the_combustion_room(o2_pct, co_ppm, fuel):
    made = make_card(fuel=fuel)
    (figures,) = read_cases(made, [reading(o2_pct=o2_pct, co2_pct=None, co_ppm=co_ppm)])
    co2_pct = float(co2_pct_from_o2(FUELS[fuel], o2_pct, co_ppm))
    assert figures["co2_pct"] == pytest.approx(co2_pct, rel=1e-9)
    assert figures["co_ppm_air_free"] == pytest.approx(float(air_free(co_ppm, o2_pct)), rel=1e-9)
    assert figures["co_co2_ratio"] == pytest.approx(float(co_co2_ratio(co_ppm, co2_pct)), rel=1e-9)
    ratio = float(excess_air_ratio_from_o2(FUELS[fuel], o2_pct, co_ppm))
    assert (np.nan if figures["excess_air_ratio"] is None else figures["excess_air_ratio"]) == pytest.approx(
        ratio, rel=1e-9, nan_ok=True
    )
    assert figures["derived"] == "co2_pct"


@bounded
@given(o2_values, co_values)
def test_o2_from_co2_leads_back_to_the_same_o2(o2_pct, co_ppm):
    co2_pct = float(co2_pct_from_o2(FUELS["natural_gas"], o2_pct, co_ppm))
    assume(co2_pct <= FUELS["natural_gas"].co2_max_pct)
    (figures,) = read_cases(make_card(), [reading(co2_pct=co2_pct, co_ppm=co_ppm)])
    assert figures["o2_pct"] == pytest.approx(o2_pct, abs=1e-9)


def test_a_co2_above_the_fuels_maximum_belongs_to_no_o2():
    (figures,) = read_cases(make_card(), [reading(co2_pct=13.0)])
    assert figures["o2_pct"] is None


@bounded
@given(o2_values, co_values)
def test_a_limit_at_reference_o2_is_judged_there_in_its_own_unit(o2_pct, co_ppm):
    rows = one_limit_set(basis="dry_at_3_pct_o2", unit="mg/m3")
    (verdict,) = judged(rows, reading(o2_pct=o2_pct, co2_pct=None, co_ppm=co_ppm))
    assert verdict.value == pytest.approx(1.25 * co_ppm * (20.9 - 3.0) / (20.9 - o2_pct), rel=1e-9)


def test_german_texts_undilute_with_21_percent():
    (verdict,) = judged(one_limit_set(basis="undiluted"), reading(o2_pct=11.0, co2_pct=None, co_ppm=50.0))
    assert verdict.value == pytest.approx(50 * 21 / 10)


# --- both sides of each kind of limit, and exactly on it -------------------------------------------------


@bounded
@given(st.integers(1, 4000), st.integers(1, 200))
def test_over_under_and_exactly_on_a_ceiling(limit, step):
    rows = one_limit_set(fires_when={"op": ">", "value": float(limit)})
    assert outcome(rows, reading(co_ppm=float(limit + step))) == "outside"
    assert outcome(rows, reading(co_ppm=float(limit))) == "within"
    assert outcome(rows, reading(co_ppm=float(max(0, limit - step)))) == "within"


@bounded
@given(st.integers(1, 4000), st.integers(1, 200))
def test_at_or_above_fires_exactly_on_the_figure(limit, step):
    rows = one_limit_set(fires_when={"op": ">=", "value": float(limit)})
    assert outcome(rows, reading(co_ppm=float(limit + step))) == "outside"
    assert outcome(rows, reading(co_ppm=float(limit))) == "outside"
    assert outcome(rows, reading(co_ppm=float(max(0, limit - step)))) == "within"


@bounded
@given(st.integers(50, 100), st.integers(1, 30))
def test_over_under_and_exactly_on_a_floor(limit, step):
    rows = one_limit_set(
        quantity="combustion_efficiency", unit="%", basis="gross_assumed", fires_when={"op": "<", "value": float(limit)}
    )
    assert outcome(rows, reading(efficiency_pct_gross=float(limit - step))) == "outside"
    assert outcome(rows, reading(efficiency_pct_gross=float(limit))) == "within"
    assert outcome(rows, reading(efficiency_pct_gross=float(limit + step))) == "within"


@bounded
@given(st.decimals(min_value=7, max_value=10, places=1), st.decimals("0.1", "0.5", places=1))
def test_both_ends_of_a_band_belong_to_it(value, tolerance):
    page = sheet(targets=[target(value=str(value), tolerance=str(tolerance))], adjusters=[])
    made = make_card(the_sheet=page)

    def at(co2_pct):
        return the(evaluate(made, [reading(co2_pct=co2_pct)]), kind="band").outcome

    lower, upper = float(value - tolerance), float(value + tolerance)
    assert at(lower) == at(upper) == at(float(value)) == "within"
    assert at(lower - 0.01) == at(upper + 0.01) == "outside"


@pytest.mark.parametrize(
    ("co_ppm", "service", "stop"),
    [
        (359.0, "within", "within"),
        (360.0, "outside", "within"),  # 0.004 exactly, at 9 % CO2
        (720.0, "outside", "within"),  # 0.008 exactly
        (721.0, "not_judged", "outside"),
    ],
)
def test_a_range_takes_both_its_ends_and_hands_over_above(co_ppm, service, stop):
    said = evaluate(make_card("uk-bs7967-in-service"), [reading(co2_pct=9.0, co_ppm=co_ppm)])
    assert the(said, limit_id="r-service").outcome == service
    assert the(said, limit_id="r-stop").outcome == stop


def test_the_two_limbs_meet_at_8_75_percent_co2():
    said = evaluate(make_card("uk-condensing-commissioning"), [reading(co2_pct=8.75, co_ppm=350.0)])
    assert {v.limit_id: v.outcome for v in said.verdicts if v.reading_key and v.kind == "limit"} == {
        "tb143-co": "within",
        "tb143-ratio": "within",
    }


@bounded
@given(st.decimals(0, 17, places=1), st.sampled_from(["air_free", "undiluted", "dry_at_3_pct_o2"]))
def test_the_last_bits_of_a_double_never_decide_a_limit(o2_pct, basis):
    in_air, reference = {"air_free": (20.9, 0), "undiluted": (21.0, 0), "dry_at_3_pct_o2": (20.9, 3)}[basis]
    on_the_limit = 400 * (in_air - float(o2_pct)) / (in_air - reference)
    rows = one_limit_set(basis=basis, fires_when={"op": ">", "value": 400.0})
    assert outcome(rows, reading(o2_pct=float(o2_pct), co2_pct=None, co_ppm=on_the_limit)) == "within"


def test_nitrogen_oxides_in_mg_are_counted_as_no2():
    rows = one_limit_set(quantity="nox", basis="dry_at_3_pct_o2", unit="mg/m3")
    (verdict,) = judged(rows, reading(o2_pct=3.0, co2_pct=None, nox_ppm=10.0))
    # Molar mass of NO2 over the molar volume of an ideal gas at 0 degC and 101 325 Pa.
    assert verdict.value == pytest.approx(10 * 46.0055 / 22.414, rel=1e-4)


def test_words_are_compared_as_words():
    rows = one_limit_set(quantity="oil_derivatives", unit=None, fires_when={"op": "!=", "value": "none"})
    assert outcome(rows, reading(oil_derivatives="present")) == "outside"
    assert outcome(rows, reading(oil_derivatives="none")) == "within"
    assert outcome(rows, reading()) == "not_judged"


@pytest.mark.parametrize(("seen", "wanted"), [(True, "outside"), (False, "within")])
def test_oil_derivatives_may_be_said_by_yes_or_no(seen, wanted):
    rows = one_limit_set(quantity="oil_derivatives", unit=None, fires_when={"op": "!=", "value": "none"})
    assert outcome(rows, reading(oil_derivatives=seen)) == wanted


def test_the_mean_of_three_smoke_spots_is_rounded_before_it_is_compared():
    rows = one_limit_set(quantity="soot_number", basis="mean_of_three", fires_when={"op": ">", "value": 1.0})
    assert outcome(rows, reading(smoke_spot=1.497)) == "within"
    assert outcome(rows, reading(smoke_spot=1.5)) == "outside"


# --- decision rules --------------------------------------------------------------------------------------


def test_flue_loss_is_judged_less_its_uncertainty_where_the_law_says_so():
    page = sheet(condensing=False, targets=[], adjusters=[])
    analyser = {"id": "a", "co2": "measured", "accuracy": {"flue_loss": {"absolute": 0.5}}}
    facts = {"output_kw": 60}

    def loss(value):
        return outcome("de-1bimschv", reading(flue_loss_pct=value), the_sheet=page, analyser=analyser, facts=facts)

    assert loss(9.5) == "within"
    assert loss(9.6) == "outside"


def test_without_a_known_uncertainty_the_flue_loss_stands_as_it_is():
    page = sheet(condensing=False, targets=[], adjusters=[])
    assert outcome("de-1bimschv", reading(flue_loss_pct=9.1), the_sheet=page, facts={"output_kw": 60}) == "outside"


def test_an_added_uncertainty_counts_that_of_co_and_of_o2():
    rows = one_limit_set("add_uncertainty", basis="dry_at_3_pct_o2", fires_when={"op": ">", "value": 100.0})
    # At O2 3 % the scale is 1; 20 ppm and 80 x 0.3 / 17.9 = 1.34 ppm add up to 20.04 ppm.
    assert outcome(rows, reading(o2_pct=3.0, co2_pct=None, co_ppm=79.9)) == "within"
    assert outcome(rows, reading(o2_pct=3.0, co2_pct=None, co_ppm=79.97)) == "outside"


def test_a_guarded_limit_cannot_be_decided_close_by():
    rows = one_limit_set("guarded")
    assert outcome(rows, reading(co_ppm=101.0)) == "outside"
    assert outcome(rows, reading(co_ppm=90.0)) == "cannot_tell"
    assert outcome(rows, reading(co_ppm=80.0)) == "within"
    (close,) = judged(rows, reading(co_ppm=90.0))
    assert "can't be decided" in verdict_sentence(close)


def test_a_guarded_ratio_counts_the_uncertainty_of_co2():
    rows = one_limit_set("guarded", quantity="co_co2_ratio", unit="1", fires_when={"op": ">", "value": 0.004})
    assert outcome(rows, reading(co2_pct=9.0, co_ppm=350.0)) == "cannot_tell"
    assert outcome(rows, reading(co2_pct=9.0, co_ppm=300.0)) == "within"


def test_an_analyser_without_accuracy_cannot_keep_a_limit_that_demands_one():
    rows = one_limit_set("add_uncertainty")
    assert outcome(rows, reading(co_ppm=10.0), analyser=None) == "cannot_tell"
    assert outcome(rows, reading(co_ppm=101.0), analyser=None) == "outside"


# --- side figures ----------------------------------------------------------------------------------------


def test_the_probability_of_conformity_comes_from_the_analysers_accuracy():
    # JCGM 106:2012, 7.4 by the standard library: 0.3 points of O2, on the fuel's line some 0.17 of CO2 at k = 2.
    made = make_card()
    u = made.analyser.accuracy["co2_pct"].absolute / 2
    for co2_pct in (8.9, 9.0, 9.2, 9.45):
        verdict = the(evaluate(made, [reading(co2_pct=co2_pct)]), kind="band", rate="high")
        true_value = NormalDist(co2_pct, u)
        assert verdict.conformity == pytest.approx(true_value.cdf(9.4) - true_value.cdf(9.0), abs=5e-5)


def test_the_probability_of_a_scaled_concentration_counts_the_o2_that_scaled_it():
    (verdict,) = judged(one_limit_set(basis="dry_at_3_pct_o2"), reading(o2_pct=3.0, co2_pct=None, co_ppm=90.0))
    # 20 ppm, and 90 x 0.3 / 17.9 = 1.51 ppm: together 20.06 ppm at k = 2.
    assert verdict.conformity == pytest.approx(NormalDist(90, 20.06 / 2).cdf(100), abs=2e-4)


@pytest.mark.parametrize(
    "more",
    [
        {"invalid": True, "co_ppm": 500.0},
        {"steady": False},
        {"qualifiers": {"co": "less_than"}},
        {"qualifiers": {"co": "more_than"}},
        {"o2_pct": 18.5, "co2_pct": None},
    ],
)
def test_a_doubtful_or_qualified_value_has_no_probability(more):
    (verdict,) = judged(one_limit_set(), reading(**more))
    assert verdict.value is not None
    assert verdict.conformity is None


def test_above_a_range_where_another_limit_decides_there_is_no_probability():
    rows = one_limit_set(fires_when={"op": "between", "value": [100.0, 400.0]})
    (within,), (above,) = (judged(rows, reading(co_ppm=co_ppm)) for co_ppm in (90.0, 450.0))
    assert within.conformity is not None
    assert (above.outcome, above.conformity) == ("not_judged", None)


def test_without_a_recorded_accuracy_and_for_words_there_is_no_probability():
    for analyser in (None, {"id": "a", "accuracy": {"co": {"absolute": 0}}}):
        (verdict,) = judged(one_limit_set(), reading(), analyser=analyser)
        assert (verdict.outcome, verdict.conformity) == ("within", None)
    assert the(evaluate(make_card(), [reading(flame="stable")]), quantity="flame").conformity is None


@bounded
@given(st.floats(8.5, 9.9), st.sampled_from(["0.01", "0.3", "2"]))
def test_the_side_figures_never_change_an_outcome(co2_pct, accuracy):
    analyser = {"id": "a", "co2": "measured", "accuracy": {"co2": {"absolute": accuracy}}}
    with_it, without = (evaluate(make_card(analyser=each), [reading(co2_pct=co2_pct)]) for each in (analyser, None))
    assert [v.outcome for v in with_it.verdicts] == [v.outcome for v in without.verdicts]
    band = the(with_it, kind="band", rate="high")
    assert 0 <= band.conformity <= 1


@pytest.mark.parametrize(
    ("tolerance", "accuracy", "provable"), [("0.2", "0.3", False), ("0.3", "0.3", True), ("0.2", "0.2", True)]
)
def test_a_band_too_narrow_for_the_accuracy_is_said_not_to_be_provable(tolerance, accuracy, provable):
    # With 0.3 at k = 2 the guard is 0.25 on each side: 0.2 can't be proven at 95 %, 0.3 can.
    analyser = {"id": "a", "co2": "measured", "accuracy": {"co2": {"absolute": accuracy}}}
    made = make_card(the_sheet=sheet(targets=[target(tolerance=tolerance)]), analyser=analyser)
    band = the(evaluate(made, [reading()]), kind="band")
    assert (band.outcome, band.provable) == ("within", provable)


def test_whether_a_band_can_be_proven_is_not_said_without_an_accuracy_nor_of_other_rows():
    assert the(evaluate(make_card(analyser=None), [reading()]), kind="band", rate="high").provable is None
    assert {v.provable for v in evaluate(make_card(), [reading()]).verdicts if v.kind != "band"} == {None}


# --- what a target asks of a reading ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"invalid": True}, "invalid"),
        ({"rate_proven": False}, "isn't proven"),
        ({"sampling_point": "common_flue"}, "common flue"),
        ({"o2_pct": 18.2, "co2_pct": None}, "mostly air"),
    ],
)
def test_a_doubtful_reading_is_not_judged_against_the_target(more, reason):
    verdict = the(evaluate(make_card(), [reading(**more)]), kind="band", rate="high")
    assert verdict.outcome == "not_judged"
    assert reason in reason_words(verdict)


def test_like_casing_is_judged_with_like():
    page = sheet(targets=[target(casing="closed"), target(value="9.4", casing="open")])
    said = evaluate(make_card(the_sheet=page), [reading(co2_pct=9.35, casing="open")])
    outcomes = {v.limit_id: v.outcome for v in of(said, kind="band")}
    assert outcomes == {"co2 high open": "within", "co2 high closed": "not_judged"}
    unknown = of(evaluate(make_card(the_sheet=page), [reading(casing=None)]), kind="band")
    assert {v.outcome for v in unknown} == {"not_judged"}


def test_the_target_of_one_rate_does_not_judge_another():
    said = evaluate(make_card(), [reading(rate="low", co2_pct=9.0)])
    assert the(said, kind="band", rate="low").outcome == "within"
    assert the(said, limit_id="co2 high any").outcome == "not_judged"


def test_an_o2_target_is_judged_from_a_co2_reading():
    page = sheet(targets=[target(quantity="o2", value="5.0", tolerance="0.3")])
    verdict = the(evaluate(make_card(the_sheet=page), [reading(co2_pct=9.1)]), kind="band")
    assert verdict.outcome == "within"
    assert verdict.value == pytest.approx(4.96, abs=0.05)


# --- rates and phases ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", ["high", "low", "somewhere between"])
@pytest.mark.parametrize("phase", ["as_found", "as_left", "between"])
def test_a_ceiling_applies_to_every_rate_and_phase(rate, phase):
    said = evaluate(make_card(), [reading(rate=rate, phase=phase, co_ppm=300.0, rate_proven=False)])
    assert the(said, kind="ceiling").outcome == "outside"
    assert the(said, kind="ceiling").action == "off"


@pytest.mark.parametrize("rate", ["high", "low"])
@pytest.mark.parametrize("phase", ["as_found", "as_left", "between"])
@pytest.mark.parametrize("quantity", ["co", "co_co2_ratio", "ambient_co"])
def test_so_does_a_limit_of_a_set_that_names_neither(quantity, phase, rate):
    rows = one_limit_set(quantity=quantity, unit="1", firing_rate="any", fires_when={"op": ">", "value": 1e-4})
    rows["limits"][0]["unit"] = "1" if quantity == "co_co2_ratio" else "ppm"
    assert outcome(rows, reading(rate=rate, phase=phase, rate_proven=False, ambient_co_ppm=3.0)) == "outside"


def test_a_ceiling_at_one_rate_applies_there_alone():
    ceilings = [{"quantity": "flue_temp", "value": 80, "unit": "C", "rate": "low", "action": "look"}]
    made = make_card(the_sheet=sheet(ceilings=ceilings))
    high = reading(flue_temp_c=90.0)
    low = reading(key="r2", rate="low", flue_temp_c=85.0)
    assert [v.reading_key for v in evaluate(made, [high, low]).findings if v.kind == "ceiling"] == ["r2"]


def test_a_source_that_names_rate_and_phase_is_read_so():
    page = sheet(ceilings=[], targets=[], adjusters=[])
    rows = LIMIT_SETS["it-dpr74"]
    made = make_card({**rows, "limits": rows["limits"][:1]}, the_sheet=page)

    def co(**more):
        return the(evaluate(made, [reading(co_ppm=900.0, **more)]), limit_id="it-co").outcome

    assert co() == "outside"
    assert co(rate="low") == "not_judged"
    assert co(phase="as_left") == "not_judged"


def test_a_limit_at_a_named_rate_is_not_kept_by_an_unproven_one():
    rows = one_limit_set(firing_rate="nominal")
    assert outcome(rows, reading(rate_proven=False)) == "not_judged"
    assert outcome(rows, reading(rate_proven=False, co_ppm=150.0)) == "outside"


def test_a_single_rate_is_the_nominal_one():
    page = sheet(rates=["single"], targets=[], adjusters=[])
    rows = one_limit_set(firing_rate="rated, else highest settable")
    assert outcome(rows, reading(rate="single"), the_sheet=page) == "within"


# --- qualifiers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("field", ["co", "co_ppm"])
def test_over_range_counts_as_fired(field):
    rows = one_limit_set(fires_when={"op": ">", "value": 5000.0})
    (verdict,) = judged(rows, reading(co_ppm=4000.0, qualifiers={field: "more_than"}))
    assert verdict.outcome == "outside"
    assert "more than 4000 ppm" in verdict_sentence(verdict)


def test_less_than_keeps_a_limit_above_it_and_cannot_tell_below():
    less = {"co_ppm": "less_than"}
    assert outcome(one_limit_set(), reading(co_ppm=5.0, qualifiers=less)) == "within"
    assert outcome(one_limit_set(), reading(co_ppm=150.0, qualifiers=less)) == "cannot_tell"


@pytest.mark.parametrize(("o2_pct", "expected"), [(5.0, "within"), (3.0, "within"), (2.5, "cannot_tell")])
def test_more_than_keeps_a_floor_below_it_and_cannot_tell_above(o2_pct, expected):
    floor = one_limit_set(quantity="o2", unit="%", basis="dry", fires_when={"op": "<", "value": 3.0})
    more = {"o2_pct": o2_pct, "qualifiers": {"o2": "more_than"}}
    assert outcome(floor, reading(**more)) == expected


def test_over_range_co_of_a_sample_that_is_mostly_air_stays_over_range():
    given = reading(o2_pct=18.6, co2_pct=None, co_ppm=4000.0, qualifiers={"co": "more_than"})
    (said,) = [each for each in evaluate(make_card(), [given]).verdicts if "mostly air, so" in reason_words(each)]
    assert (said.value, said.qualifier, said.outcome) == (4000.0, "more_than", "not_judged")


@pytest.mark.parametrize("qualifier", ["not_measured", "sensor_fault"])
def test_a_value_that_was_not_had_is_no_value(qualifier):
    said = evaluate(make_card(one_limit_set()), [reading(co_ppm=900.0, qualifiers={"co_ppm": qualifier})])
    assert not said.stop
    assert the(said, kind="limit").outcome == "not_judged"
    assert "no CO air-free read" in reason_words(the(said, limit_id="co_ppm_air_free", kind="stop_level"))


def test_a_faulty_co2_is_replaced_by_the_one_from_o2():
    more = {"o2_pct": 5.0, "co2_pct": 2.0, "qualifiers": {"co2_pct": "sensor_fault"}}
    (figures,) = read_cases(make_card(), [reading(**more)])
    assert figures["co2_pct"] == pytest.approx(9.08, abs=0.05)


def test_a_figure_that_stands_in_for_one_not_measured_is_judged_like_any():
    given = reading(o2_pct=5.0, co2_pct=None, qualifiers={"co2": "not_measured"})
    band = the(evaluate(make_card(), [given]), kind="band", rate="high")
    assert (band.outcome, band.qualifier) == ("within", "=")
    assert band.conformity is not None


def test_a_value_that_is_not_a_number_is_no_value():
    assert outcome(one_limit_set(), reading(co_ppm=float("nan"))) == "not_judged"


def test_a_word_is_not_held_against_a_figure():
    rows = one_limit_set(quantity="flame", unit=None, fires_when={"op": ">", "value": 1.0})
    with pytest.raises(ValueError, match=r"^flame must be a number, not 'stable'$"):
        evaluate(make_card(rows), [reading(flame="stable")])


def test_a_text_where_a_number_belongs_is_refused():
    with pytest.raises(ValueError, match="co_ppm"):
        evaluate(make_card(one_limit_set()), [reading(co_ppm="40")])


# --- what can't be judged --------------------------------------------------------------------------------


def test_limits_that_no_reading_shows_are_listed_with_what_they_need():
    said = evaluate(make_card("intl-exposure-co", "uk-gsiur-36", "eu-ecodesign-813-2013"), [reading()])
    assert "8 h average" in verdict_sentence(the(said, limit_id="osha"))
    assert "examination" in verdict_sentence(the(said, limit_id="26-9"))
    assert "type test" in verdict_sentence(the(said, limit_id="eco-nox-gas"))
    assert the(said, limit_id="osha").outcome == "not_judged"


def test_mg_per_kwh_is_taken_from_the_instrument_never_converted():
    rows = one_limit_set(basis="per_kwh", unit="mg/kWh", fires_when={"op": ">", "value": 1300.0})
    assert outcome(rows, reading(co_ppm=2000.0)) == "not_judged"
    assert outcome(rows, reading(co_mg_per_kwh=1400.0)) == "outside"


def test_a_figure_named_by_a_word_comes_from_the_facts():
    rows = one_limit_set(
        quantity="combustion_efficiency", basis="net", fires_when={"op": "<", "value": "min_efficiency_pct"}
    )
    low = reading(efficiency_pct_net=90.0)
    assert outcome(rows, low) == "not_judged"
    assert outcome(rows, low, facts={"min_efficiency_pct": 91.8}) == "outside"


def test_a_record_of_pairs_needs_both_phases_at_one_rate():
    found = reading()
    left = reading(key="r2", phase="as_left", taken_order=2)

    def pair(*readings):
        return outcome("us-epa-5d-annual", *readings)

    assert pair(found) == "outside"
    assert pair(found, {**left, "rate": "low"}) == "outside"
    assert pair(found, {**left, "invalid": True}) == "outside"
    assert pair(found, left) == "within"


ON_RECORD = {"unit": None, "fires_when": {"op": "missing", "value": None}, "limit_text": "present"}


@pytest.mark.parametrize(
    ("quantity", "found", "left", "expected"),
    [
        ("co_and_o2_pair", {"o2_pct": 5.0}, {"o2_pct": 5.1}, "within"),
        ("co_and_o2_pair", {"o2_pct": 5.0, "co_ppm": None}, {"o2_pct": 5.1}, "outside"),
        ("co_and_o2_pair", {"o2_pct": 5.0}, {"o2_pct": 5.1, "co_ppm": None}, "outside"),
        ("co_and_o2_pair", {"co2_pct": None}, {"co2_pct": None}, "outside"),
        ("co_and_o2_pair", {"o2_pct": 5.0, "phase": "as_left"}, {"o2_pct": 5.1}, "outside"),
        ("co_on_record", {"phase": "between"}, {"co_ppm": None}, "within"),
        ("co_on_record", {"co2_pct": None}, {"co2_pct": None}, "within"),
        ("co_on_record", {"co_ppm": None}, {"co_ppm": None, "o2_pct": 5.0}, "outside"),
        ("co_on_record", {"invalid": True}, {"co_ppm": None}, "outside"),
    ],
)
def test_what_must_be_on_record_is_looked_for_in_all_readings(quantity, found, left, expected):
    """Of a pair both phases at one rate count, with O2 and CO each; of CO alone any reading that isn't invalid."""
    readings = [reading(**found), reading(**{"key": "r2", "phase": "as_left", "taken_order": 2, **left})]
    (verdict,) = judged(one_limit_set(quantity=quantity, **ON_RECORD), *readings)
    words = {"co_and_o2_pair": "CO and O₂ before and after", "co_on_record": "co on record"}[quantity]
    reason = "" if expected == "within" else f"{words} not on record"
    assert (verdict.outcome, reason_words(verdict)) == (expected, reason)


def test_after_a_stop_no_record_rule_asks_for_another_firing():
    (verdict,) = judged("us-epa-5d-annual", reading(co_ppm=2000.0))
    assert (verdict.outcome, reason_words(verdict)) == ("not_judged", "stopped for safety")


# --- applicability ---------------------------------------------------------------------------------------


def test_an_open_predicate_cannot_be_decided_unless_it_would_stop():
    mild = one_limit_set(select={"new_plant": True})
    severe = one_limit_set(select={"new_plant": True}, severity="shut_down")
    high = reading(co_ppm=150.0)
    assert outcome(mild, high) == outcome(mild, reading()) == outcome(severe, reading()) == "cannot_tell"
    (fired,) = judged(severe, high)
    assert fired.stop
    assert "new plant not recorded" in verdict_sentence(fired)


# --- words and order -------------------------------------------------------------------------------------


def test_the_strictest_action_comes_first_and_all_are_listed():
    made = make_card("us-residential-co-safety", "us-trade-co-practice", facts={"appliance": "boiler"})
    said = evaluate(made, [reading(co_ppm=600.0, ambient_co_ppm=80.0, phase="as_left")])
    assert said.strictest.severity == "evacuate"
    ranks = [verdict.rank for verdict in said.findings]
    assert ranks == sorted(ranks, reverse=True)
    assert {"bpi-amb-stop", "nf-boiler", "trade-co-stop", "trade-co-good"} <= {v.limit_id for v in said.findings}


@bounded
@given(st.lists(st.sampled_from(sorted(LIMIT_SETS)), unique=True, max_size=6), co_values, st.floats(0, 120))
def test_verdicts_are_ordered_and_worded_alike_for_any_sets(sets, co_ppm, ambient):
    said = evaluate(make_card(*sets), [reading(co_ppm=co_ppm, ambient_co_ppm=ambient)])
    order = ["outside", "cannot_tell", "not_judged", "within"]
    places = [(order.index(v.outcome), -v.rank) for v in said.verdicts]
    assert places == sorted(places)
    for verdict in said.verdicts:
        opening = {"cannot_tell": "can't be decided: ", "not_judged": "not judged: "}.get(
            verdict.outcome, f"{verdict.outcome} the limits of {set_version_words(verdict)} as recorded"
        )
        assert opening in verdict_sentence(verdict)
        assert not re.search(r"\bsafe\b|complian|\blegal\b", verdict_sentence(verdict).replace(verdict.set_name, ""))


def test_an_unreviewed_set_and_a_limit_from_memory_say_so_in_the_sentence():
    said = evaluate(make_card("uk-bs7967-in-service"), [reading()])
    assert "[set not reviewed; limit unverified]" in verdict_sentence(the(said, limit_id="r-stop"))
    (reviewed,) = judged(one_limit_set(), reading())
    assert (reviewed.review, reviewed.reviewed_by) == ("reviewed", "a named person")
    assert verdict_sentence(reviewed) == (
        "CO 40 ppm at high fire, as found (limit ≤ 100 ppm): within the limits of test set v3 as recorded."
    )


def test_a_verdict_reads_as_json():
    said = evaluate(make_card(one_limit_set()), [reading(co_ppm=150.0)])
    first = said.findings[0]
    assert first.label == said.as_json()["verdicts"][0]["label"]
    assert said.as_json()["strictest"] == 0
    assert set(said.as_json()["verdicts"][0]) == {field.name for field in fields(Verdict)}


def test_a_verdict_has_all_its_fields_and_keeps_them():
    first = evaluate(make_card(one_limit_set()), [reading(co_ppm=150.0)]).findings[0]
    with pytest.raises(AttributeError):
        first.outcome = "within"
    with pytest.raises(ValueError, match="fields must be"):
        Verdict({"outcome": "within"})


@bounded
@given(st.permutations(range(3)))
def test_each_verdict_carries_how_well_its_limit_is_known(order):
    sets = [
        {**one_limit_set(evidence=known), "id": known}
        for known in ("official_text_read", "quoted_elsewhere", "unverified")
    ]
    said = evaluate(make_card(*(sets[n] for n in order)), [reading(co_ppm=150.0)])
    assert {v.set_id: v.evidence for v in said.findings} == {each["id"]: each["id"] for each in sets}
    assert all(("limit unverified" in verdict_sentence(v)) == (v.evidence == "unverified") for v in said.findings)


def test_readings_are_judged_in_the_order_taken_whatever_the_order_given():
    readings = [reading(), reading(key="r2", taken_order=2, co_ppm=90.0), reading(key="r3", taken_order=3)]
    assert evaluate(make_card(), readings) == evaluate(make_card(), readings[::-1])


@pytest.mark.parametrize(
    ("rates", "phases", "words"),
    [
        (None, None, ""),
        (["low"], None, " at nominal"),
        (None, ["as_left"], ", as left"),
        (["low"], ["as_left", "between"], " at nominal, as left or between"),
    ],
)
def test_where_a_source_wants_it_read(rates, phases, words):
    made = make_card(one_limit_set())
    made = replace(made, limits=[made.limits[0].but(rates=rates, rate_text="nominal", phases=phases)])
    read = [] if words == "" else [reading(work_after=[""])]
    assert reason_words(the(evaluate(made, read), kind="limit")) == f"needs CO{words}"


@pytest.mark.parametrize(
    ("found", "after", "judged_at"),
    [
        ({}, [], ["r1"]),
        ({"work_after": [""]}, [], []),
        ({"work_after": ["low fire screw"]}, [], ["r1"]),
        ({"work_after": ["high fire screw"]}, [], []),
        ({"work_after": ["a screw of another sheet"]}, [], []),
        ({}, [reading(key="r2", phase="as_left", taken_order=2)], ["r2"]),
        ({}, [reading(key="r2", phase="as_left", rate="low", taken_order=2)], ["r1", "r2"]),
        ({"phase": "between"}, [], []),
    ],
)
def test_left_as_found_counts_as_left(found, after, judged_at):
    made = make_card(one_limit_set(when="as_left"))
    said = of(evaluate(made, [reading(**found), *after]), kind="limit")
    assert sorted(each.reading_key for each in said if each.reading_key) == judged_at
