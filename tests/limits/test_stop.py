"""Stop levels and doubtful readings: a doubtful reading may condemn, never clear."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.combustion import FUELS, o2_pct_from_co2
from fleet.limits import evaluate
from fleet.limits.cases import read_cases
from fleet.presentation.verdicts import verdict_sentence
from tests.limits.cast import ANALYSER, LIMIT_SETS, STOP_LEVELS, make_card, of, one_limit_set, reading, sheet, the

bounded = settings(max_examples=60, deadline=None, derandomize=True)
SETS = make_card(*LIMIT_SETS, facts={"appliance": "boiler", "vent": "natural_draft", "vent_state": "warm"})

figures = st.fixed_dictionaries(
    {
        "o2_pct": st.none() | st.floats(0, 20.8),
        "co2_pct": st.none() | st.floats(0.5, 11.5),
        "co_ppm": st.none() | st.floats(0, 4000),
        "ambient_co_ppm": st.none() | st.floats(0, 200),
        "ambient_co_before_ppm": st.none() | st.floats(0, 50),
        "spillage_min": st.none() | st.floats(0, 10),
        "rate": st.sampled_from(["high", "low"]),
        "phase": st.sampled_from(["as_found", "as_left", "between"]),
        "qualifiers": st.sampled_from([{}, {"co_ppm": "more_than"}, {"co": "less_than"}]),
    }
)
visits = st.lists(figures, min_size=1, max_size=4)


def stops(said):
    return {(v.limit_id, v.set_id, v.reading_key) for v in said.verdicts if v.stop}


def numbered(visit, **more):
    return [reading(key=f"r{n}", taken_order=n, **one, **more) for n, one in enumerate(visit)]


@bounded
@given(visits)
def test_an_invalid_reading_keeps_every_stop_finding_and_loses_every_within(visit):
    plain, invalid = evaluate(SETS, numbered(visit)), evaluate(SETS, numbered(visit, invalid=True))
    assert stops(invalid) == stops(plain)
    assert not [v for v in of(invalid, outcome="within") if v.reading_key]


@bounded
@given(visits)
def test_a_common_flue_reading_keeps_every_stop_finding_and_clears_nothing_of_the_flue(visit):
    plain = evaluate(SETS, numbered(visit))
    common = evaluate(SETS, [{**one, "sampling_point": "common_flue"} for one in numbered(visit)])
    assert stops(common) == stops(plain)
    cleared = {v.quantity for v in of(common, outcome="within") if v.reading_key}
    assert cleared <= {"ambient_co", "ambient_co_rise", "spillage_time"}


@bounded
@given(visits)
def test_an_unproven_rate_keeps_every_stop_finding(visit):
    assert stops(evaluate(SETS, numbered(visit, rate_proven=False))) == stops(evaluate(SETS, numbered(visit)))


@bounded
@given(st.floats(18, 20.8), st.floats(0, 390))
def test_above_18_percent_o2_there_is_no_air_free_figure_and_nothing_is_cleared(o2_pct, co_ppm):
    sample = [reading(o2_pct=o2_pct, co2_pct=None, co_ppm=co_ppm)]
    said = evaluate(make_card(), sample)
    repeat = the(said, label=["co", {}], outcome="not_judged")
    if not said.stop:
        assert repeat.asks.startswith("repeat_")
    assert repeat.value == co_ppm
    assert read_cases(make_card(), sample)[0]["co_ppm_air_free"] is None
    assert not [v for v in of(said, outcome="within") if v.reading_key and v.quantity.startswith("co")]


def test_60_ppm_in_a_sample_of_mostly_air_is_never_called_within():
    said = evaluate(make_card(), [reading(o2_pct=18.5, co2_pct=None, co_ppm=60.0)])
    assert the(said, kind="stop_level", quantity="co_ppm_air_free").outcome == "not_judged"
    assert "CO 60 ppm" in verdict_sentence(the(said, label=["co", {}]))


# Worked by hand: (CO - 20) x 20.9 / (20.9 - (O2 - 0.3)) against 400 ppm, without the 20 what is to be repeated.
@pytest.mark.parametrize(
    ("o2_pct", "co_ppm", "at_least_ppm", "asks"),
    [
        (18.3, 300.0, 2017.9, None),
        (19.0, 75.0, 522.5, None),
        (18.3, 75.0, 396.4, "repeat_before_leaving"),
        (19.5, 40.0, 245.9, "repeat_before_leaving"),
        (18.3, 50.0, 216.2, "repeat_sample"),
        (19.9, 20.0, 20.0, "repeat_sample"),
        (20.0, 20.0, 20.0, "repeat_before_leaving"),
        (20.5, 20.0, 20.0, "repeat_before_leaving"),
        (20.5, 31.0, 31.0, "repeat_or_leave_off"),
        (20.5, 399.0, 399.0, "repeat_or_leave_off"),
        (20.5, 401.0, 401.0, None),
    ],
)
def test_the_lower_bound_of_co_in_mostly_air_condemns_and_its_highest_asks(o2_pct, co_ppm, at_least_ppm, asks):
    made = make_card(analyser=None, the_sheet=sheet(ceilings=[]))
    said = evaluate(made, [reading(o2_pct=o2_pct, co2_pct=None, co_ppm=co_ppm)])
    line = the(said, kind="stop_level", quantity="co_ppm_air_free")
    assert line.value == pytest.approx(at_least_ppm, abs=0.05)
    assert (said.stop, line.qualifier) == (asks is None, "at_least")
    assert the(said, label=["co", {}], outcome="not_judged").asks == (asks or "")


def test_the_analysers_own_accuracy_narrows_what_is_allowed_for():
    exact = ANALYSER | {"accuracy": {"co": {"absolute": 2}, "o2": {"absolute": "0.1"}}}
    sample = [reading(o2_pct=18.3, co2_pct=None, co_ppm=60.0)]
    assert not evaluate(make_card(analyser=None), sample).stop
    assert the(evaluate(make_card(analyser=exact), sample), kind="stop_level", quantity="co_ppm_air_free").value == (
        pytest.approx(58 * 20.9 / 2.7)
    )


def test_a_measured_co2_bounds_the_ratio_of_a_diluted_sample_and_a_calculated_one_does_not():
    ratio = one_limit_set(
        quantity="co_co2_ratio", unit="1", basis=None, fires_when={"op": ">", "value": 0.01}, limit_text="<= 0.01"
    )
    sample = [reading(o2_pct=18.5, co2_pct=1.4, co_ppm=300.0)]
    for co2, at_least in (
        ("measured", 280 / (1.7 * 1e4)),
        ("calculated", 300 / (FUELS["natural_gas"].co2_max_pct * 1e4)),
    ):
        line = the(evaluate(make_card(ratio, analyser={"co2": co2}), sample), quantity="co_co2_ratio")
        assert line.value == pytest.approx(at_least)
        assert line.outcome == ("outside" if co2 == "measured" else "not_judged")


def test_a_co2_alone_is_allowed_for_by_its_own_accuracy():
    sample = [reading(o2_pct=None, co2_pct=1.4, co_ppm=300.0)]
    made = make_card(analyser={"co2": "measured"})
    line = the(evaluate(made, sample), kind="stop_level", quantity="co_ppm_air_free")
    per_co2 = made.fuel.o2_air_pct / (made.fuel.co2_max_pct - made.fuel.co2_air_pct)
    o2_pct = float(o2_pct_from_co2(FUELS["natural_gas"], 1.4, 300.0))
    assert line.value == pytest.approx(280 * 20.9 / (20.9 - o2_pct + 0.3 * per_co2))


def test_raw_co_above_the_line_stops_whatever_the_o2():
    for o2 in ({"o2_pct": 20.2, "co2_pct": None}, {"o2_pct": None, "co2_pct": None}):
        said = evaluate(make_card(), [reading(co_ppm=450.0, **o2)])
        assert said.stop
        assert "at least 450 ppm" in verdict_sentence(said.strictest)


def test_without_o2_and_co2_a_low_co_is_not_judged_air_free():
    said = evaluate(make_card(), [reading(co2_pct=None, co_ppm=5.0, qualifiers={"co_ppm": "less_than"})])
    line = the(said, kind="stop_level", quantity="co_ppm_air_free")
    assert (line.outcome, line.qualifier, line.value) == ("not_judged", "at_least", 0.0)


@bounded
@given(st.integers(0, 17), st.integers(1, 390))
def test_the_stop_level_is_air_free_at_any_rate_and_phase(o2_pct, co_ppm):
    said = evaluate(make_card(), [reading(o2_pct=float(o2_pct), co2_pct=None, co_ppm=float(co_ppm), rate="x")])
    line = the(said, kind="stop_level", quantity="co_ppm_air_free")
    assert (line.outcome == "outside") == (co_ppm * 20.9 > 400 * (20.9 - o2_pct))


def test_an_over_range_co_stops_under_a_line_above_the_range():
    made = make_card(stop_levels={**STOP_LEVELS, "co_ppm_air_free": 9000})
    assert evaluate(made, [reading(co_ppm=4000.0, qualifiers={"co": "more_than"})]).stop


def test_a_co_that_was_not_read_is_said_for_every_reading():
    said = evaluate(make_card(), [reading(co_ppm=None), reading(key="r2", taken_order=2)])
    line = of(said, kind="stop_level", quantity="co_ppm_air_free", outcome="not_judged")
    assert [v.reading_key for v in line] == ["r1"]


@pytest.mark.parametrize(("ambient", "outcome"), [(29.9, "within"), (30.0, "outside"), (31.0, "outside")])
def test_ambient_co_stops_at_its_line(ambient, outcome):
    said = evaluate(make_card(), [reading(ambient_co_ppm=ambient, ambient_co_before_ppm=ambient)])
    assert the(said, kind="stop_level", quantity="ambient_co").outcome == outcome


@pytest.mark.parametrize(("after", "outcome"), [(5.9, "within"), (6.0, "outside")])
def test_ambient_co_that_rises_by_5_ppm_stops(after, outcome):
    said = evaluate(make_card(), [reading(ambient_co_ppm=after, ambient_co_before_ppm=1.0)])
    assert the(said, kind="stop_level", quantity="ambient_co_rise").outcome == outcome


def test_ambient_co_is_followed_through_the_visit():
    readings = [
        reading(ambient_co_ppm=2.0, ambient_co_before_ppm=1.0),
        reading(key="r2", taken_order=2, ambient_co_ppm=6.0),
    ]
    assert the(evaluate(make_card(), readings), quantity="ambient_co_rise", reading_key="r2").stop


def test_ambient_co_does_not_care_where_the_probe_was():
    for probe in ({"o2_pct": 19.5, "co2_pct": None}, {"sampling_point": "common_flue"}):
        said = evaluate(make_card(), [reading(ambient_co_ppm=1.0, **probe)])
        assert the(said, kind="stop_level", quantity="ambient_co").outcome == "within"


def rising(*co_values, **later):
    """CO readings at high fire in undiluted gas, in order; `later` goes to the last."""
    readings = [reading(key=f"r{n}", taken_order=n, o2_pct=0.0, co_ppm=co) for n, co in enumerate(co_values)]
    readings[-1] |= later
    said = evaluate(make_card(), readings)
    return any(v.stop for v in of(said, quantity="co_trend_in_test"))


@pytest.mark.parametrize(
    ("co_values", "stop"),
    [
        ((80.0, 130.0), True),
        ((80.0, 100.0), False),  # not above 100
        ((130.0, 120.0), False),  # falling
        ((130.0, 132.0), False),  # scatter
        ((97.0, 100.0, 103.0), True),  # a slow creep counts from the lowest
        ((150.0,), False),  # one reading shows no trend
    ],
)
def test_co_that_rises_above_100_stops(co_values, stop):
    assert rising(*co_values) is stop


def test_a_rise_from_as_found_to_as_left_counts_without_an_adjustment_between():
    assert rising(80.0, 130.0, phase="as_left")


@pytest.mark.parametrize(
    ("before", "after", "stop"),
    [
        (60.0, 190.0, True),
        (60.0, 90.0, False),  # not above 100
        (190.0, 120.0, False),  # brought down
        (130.0, 132.0, False),  # scatter
    ],
)
def test_a_rise_across_an_adjustment_counts_from_the_last_reading_before_it(before, after, stop):
    assert rising(before, after, phase="as_left", adjusted_before=True) is stop


def test_the_last_reading_before_an_adjustment_is_found_past_the_readings_of_another_rate():
    readings = [
        reading(key="a", taken_order=1, o2_pct=0.0, co_ppm=60.0),
        reading(key="b", taken_order=2, o2_pct=0.0, co_ppm=50.0, rate="low", adjusted_before=True),
        reading(key="c", taken_order=3, o2_pct=0.0, co_ppm=190.0),
    ]
    said = evaluate(make_card(), readings)
    assert [v.reading_key for v in of(said, quantity="co_trend_in_test", outcome="outside")] == ["c"]


def test_a_rise_is_looked_for_at_one_rate_and_one_sampling_point():
    assert not rising(80.0, 130.0, rate="low")
    assert not rising(80.0, 130.0, sampling_point="common_flue")


@pytest.mark.parametrize(("last_co_ppm", "stop"), [(140.0, True), (132.0, False)])
def test_a_rise_after_the_adjustment_counts_from_there(last_co_ppm, stop):
    readings = [
        reading(key="a", taken_order=1, o2_pct=0.0, co_ppm=300.0),
        reading(key="b", taken_order=2, o2_pct=0.0, co_ppm=130.0, adjusted_before=True),
        reading(key="c", taken_order=3, o2_pct=0.0, co_ppm=last_co_ppm),
    ]
    said = evaluate(make_card(), readings)
    assert [v.reading_key for v in of(said, quantity="co_trend_in_test", outcome="outside")] == ["c"] * stop


def test_a_rise_is_not_taken_from_dilution():
    readings = [
        reading(key="a", taken_order=1, o2_pct=3.0, co2_pct=None, co_ppm=90.0),
        reading(key="b", taken_order=2, o2_pct=18.5, co2_pct=None, co_ppm=60.0),
    ]
    assert not of(evaluate(make_card(), readings), quantity="co_trend_in_test", outcome="outside")


def test_an_unstable_flame_stops():
    assert evaluate(make_card(), [reading(flame="unstable")]).stop
    assert not evaluate(make_card(), [reading(flame="stable")]).stop


@pytest.mark.parametrize(("given", "line_min"), [({"spillage_min": 2}, 2.0), ({"spillage_min": 0}, 0.0), ({}, 5.0)])
def test_there_is_always_a_stop_level_for_spillage(given, line_min):
    made = make_card(stop_levels={**STOP_LEVELS, **given})
    assert evaluate(made, [reading(spillage_min=line_min + 0.1)]).stop
    assert not evaluate(made, [reading(spillage_min=line_min)]).stop


def in_the_room(key, ambient_co_ppm, phase, **more):
    order = {"before": -1, "after": 9}[key]
    case = {"key": key, "phase": phase, "sampling_point": "room", "taken_order": order, "qualifiers": {}}
    return case | {"ambient_co_ppm": ambient_co_ppm} | more


@pytest.mark.parametrize("between", [[], [reading(ambient_co_ppm=0.0)]])
@pytest.mark.parametrize(("before", "after", "stops_at"), [(200.0, 0.0, {"before"}), (0.0, 80.0, {"after"})])
def test_ambient_co_before_and_after_stops_with_and_without_readings(between, before, after, stops_at):
    cases = [in_the_room("before", before, "as_found"), *between, in_the_room("after", after, "as_left")]
    said = evaluate(make_card("us-residential-co-safety"), cases)
    assert {v.reading_key for v in said.findings if v.stop} == stops_at
    assert {v.limit_id for v in said.findings} >= {"ambient_co", "bpi-amb-stop", "bpi-amb-evac"}


def test_ambient_co_that_rose_between_before_and_after_stops():
    cases = [in_the_room("before", 1.0, "as_found"), in_the_room("after", 6.0, "as_left")]
    assert the(evaluate(make_card(), cases), quantity="ambient_co_rise", reading_key="after").stop


def test_ambient_co_alone_is_held_against_nothing_of_the_flue():
    said = evaluate(make_card(*LIMIT_SETS), [in_the_room("after", 0.0, "as_left")])
    assert {v.quantity for v in said.verdicts if v.reading_key} == {"ambient_co"}
    assert {v.outcome for v in of(said, reading_key="after")} == {"within"}
    assert the(said, kind="stop_level", quantity="co_ppm_air_free").reading_key is None
    assert "CO in the room 0 ppm, as left (limit" in verdict_sentence(of(said, reading_key="after")[0])


@bounded
@given(visits)
def test_a_reading_that_is_not_steady_keeps_every_stop_finding_and_clears_nothing_of_the_flue(visit):
    plain, moving = evaluate(SETS, numbered(visit)), evaluate(SETS, numbered(visit, steady=False))
    assert stops(moving) == stops(plain)
    cleared = {v.quantity for v in of(moving, outcome="within") if v.reading_key}
    assert cleared <= {"ambient_co", "ambient_co_rise", "spillage_time"}


@pytest.mark.parametrize(("steady", "outcome"), [(True, "within"), (None, "within"), (False, "not_judged")])
def test_only_a_reading_said_to_be_unsteady_is_doubted(steady, outcome):
    said = evaluate(make_card(), [reading(steady=steady)])
    for one in (the(said, kind="stop_level", quantity="co_ppm_air_free"), the(said, kind="band", rate="high")):
        assert one.outcome == outcome
        assert one.reasons == ([["not_steady", {}]] if steady is False else [])


@pytest.mark.parametrize("evidence", ["own", "400 ppm by a handbook, 35 ppm by an institute"])
def test_a_stop_level_is_printed_without_a_bracket(evidence):
    made = make_card(stop_levels={**STOP_LEVELS, "evidence": evidence})
    for co_ppm in (900.0, 20.0):
        line = the(evaluate(made, [reading(co_ppm=co_ppm)]), kind="stop_level", quantity="co_ppm_air_free")
        assert "[" not in verdict_sentence(line)


def test_a_stop_takes_back_the_request_to_repeat():
    said = evaluate(make_card(), [reading(o2_pct=18.5, co2_pct=None, co_ppm=450.0)])
    assert said.stop
    assert not [v for v in said.verdicts if v.asks == "repeat_sample"]


def test_review_status_never_gates_a_stop():
    said = evaluate(make_card("us-trade-co-practice"), [reading(co_ppm=600.0)])
    finding = the(said, limit_id="trade-co-stop")
    assert finding.stop
    assert finding.review == "unreviewed"


@pytest.mark.parametrize("fuel", ["hydrogen", "natural_gas_30_h2", "natural_gas"])
def test_hydrogen_is_held_to_its_co_and_never_to_co_over_co2(fuel):
    """Its CO2 is the air's: 12 ppm would be a ratio of 0.03. What condemns is CO air-free."""
    ratio = one_limit_set(quantity="co_co2_ratio", unit="1", basis=None, fires_when={"op": ">", "value": 0.004})
    made = make_card(ratio, the_sheet=sheet() | {"fuel": fuel}, fuel=fuel)
    fine, bad = (evaluate(made, [reading(o2_pct=5.0, co2_pct=None, co_ppm=co)]) for co in (12.0, 800.0))
    said = the(fine, quantity="co_co2_ratio")
    assert said.outcome == ("not_judged" if fuel == "hydrogen" else "within")
    assert not fine.stop and bad.stop
    if fuel == "hydrogen":
        assert [each[0] for each in said.reasons] == ["needs_carbon"]
