import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fleet.limits.learned import (
    FLOOR_SHARE,
    THE_FLEET,
    THIS_APPLIANCE,
    THIS_MODEL,
    Response,
    Step,
    _Belief,
    _doubt,
    _heaviest,
    _together,
    _variances,
    agrees,
    learned_response,
    turns_for,
)

bounded = settings(max_examples=40, deadline=None, derandomize=True)
sizes = st.sampled_from([-0.5, -0.25, 0.25, 0.5, 1.0])
one_step = st.builds(Step, sizes, st.integers(-40, 40).map(lambda hundredths: hundredths / 100))
one_appliance = st.lists(one_step, max_size=4)
one_model = st.lists(one_appliance, max_size=3)
a_response = Response(0.8, 0.5, 1.0, 0.1, 1.7, THIS_MODEL, 30)


def steps_of(*responses, turns=0.25):
    return [Step(turns, turns * each) for each in responses]


def figures(response):
    return (response.points_per_turn, response.low, response.high, response.predictive_sd)


def drawn(rng, models, appliances, most):
    """Invented steps of each model's appliances, and the true mean response of each appliance."""
    steps, truth = [], []
    for centre in rng.normal(0.8, 0.2, models):
        own = rng.normal(centre, 0.15, appliances)
        counts = rng.integers(1, most + 1, appliances)
        steps.append([steps_of(*rng.normal(mean, 0.2, n)) for mean, n in zip(own, counts, strict=True)])
        truth.append(own)
    return steps, truth


@pytest.fixture(scope="module")
def many_worlds():
    """Squared errors of the shrunk, own and model means, and whether the interval held the truth."""
    rng, rows = np.random.default_rng(20), []
    for _ in range(400):
        steps, truth = drawn(rng, 6, 8, 4)
        made, true = learned_response(steps[0][0], steps[0][1:], steps[1:]), truth[0][0]
        own = np.mean([each.points_per_turn for each in steps[0][0]])
        model = np.mean([np.mean([each.points_per_turn for each in one]) for one in steps[0][1:]])
        errors = [(mean - true) ** 2 for mean in (made.points_per_turn, own, model)]
        rows.append([*errors, made.low <= true <= made.high])
    return np.mean(np.array(rows, dtype=float), axis=0)


def test_the_shrunk_mean_errs_less_than_the_own_mean_and_than_the_models(many_worlds):
    shrunk, own, model, _ = many_worlds
    assert shrunk < 0.7 * own
    assert shrunk < 0.7 * model


def test_the_interval_holds_the_true_mean_about_nine_times_in_ten(many_worlds):
    assert 0.85 <= many_worlds[3] <= 0.95


def test_balanced_appliances_of_one_model_agree_with_the_analysis_of_variance():
    # scipy.stats.f_oneway gives F = MSB / MSW; by moments tau2 = (F - 1) MSW / n.
    groups = np.array([[0.7, 0.8, 0.9], [1.1, 1.0, 1.2], [0.5, 0.7, 0.6], [0.9, 0.8, 1.0]])
    n, others = groups.shape[1], groups[1:].mean(axis=1)
    within = groups.var(axis=1, ddof=1).mean()
    between = (stats.f_oneway(*groups).statistic - 1) * within / n
    prior = between + (between + within / n) / len(others)
    own = prior / (prior + within / n)
    expected = own * groups[0].mean() + (1 - own) * others.mean()
    # Morris's term, f = 3 degrees of freedom between appliances.
    variance = own * within / n + 2 / 3 * ((1 - own) * (groups[0].mean() - others.mean())) ** 2
    made = learned_response(steps_of(*groups[0]), [steps_of(*each) for each in groups[1:]], [])
    assert made.points_per_turn == pytest.approx(expected)
    assert made.high - made.low == pytest.approx(2 * stats.t.ppf(0.95, 8) * math.sqrt(variance))
    assert made.predictive_sd == pytest.approx(math.sqrt(variance + within))
    assert (made.based_on, made.steps) == (THIS_APPLIANCE, 12)


@pytest.mark.parametrize("count", [2, 3])
def test_a_new_model_gets_the_mean_of_the_models_and_their_spread(count):
    # Balanced: the variance between models is that of their means less what the steps alone would give.
    models = np.array([[[0.6, 0.7], [0.9, 0.8]], [[1.2, 1.4], [1.0, 1.1]], [[0.3, 0.5], [0.2, 0.5]]])[:count]
    means = models.mean(axis=2)
    within = models.var(axis=2, ddof=1).mean()
    between = means.var(axis=1, ddof=1).mean() - within / 2
    of_a_mean = (between + within / 2) / 2
    apart = means.mean(axis=1).var(ddof=1) - of_a_mean
    variance = apart + (apart + of_a_mean) / count + between
    made = learned_response([], [], [[steps_of(*each) for each in model] for model in models])
    assert made.points_per_turn == pytest.approx(models.mean())
    assert made.high - made.low == pytest.approx(2 * stats.t.ppf(0.95, 2 * count) * math.sqrt(variance))
    assert made.based_on == THE_FLEET


def test_one_appliance_alone_has_students_interval_of_its_mean():
    responses = [0.7, 0.9, 0.8, 1.1, 0.6, 0.9]
    made = learned_response(steps_of(*responses), [], [])
    low, high = stats.t.interval(0.9, 5, loc=np.mean(responses), scale=stats.sem(responses))
    assert (made.low, made.high) == pytest.approx((low, high))


def test_an_appliance_never_adjusted_goes_by_its_model():
    peers = [steps_of(0.8, 0.9), steps_of(0.7, 0.8), steps_of(0.9, 0.8)]
    made = learned_response([], peers, [[steps_of(2.0, 2.1), steps_of(1.9, 2.0)]])
    assert made.based_on == THIS_MODEL
    assert 0.75 < made.points_per_turn < 0.95


def test_steps_that_agree_to_the_digit_are_not_believed_beyond_the_floor():
    made = learned_response(steps_of(*[0.8] * 5), [], [])
    assert made.predictive_sd == pytest.approx(0.8 * FLOOR_SHARE * math.sqrt(1 + 1 / 5))
    assert made.low < 0.8 < made.high


def test_five_steps_in_all_are_the_least():
    assert learned_response(steps_of(0.8, 0.9), [steps_of(0.7)], [[steps_of(0.8)]]) is None
    assert learned_response(steps_of(0.8, 0.9), [steps_of(0.7)], [[steps_of(0.8, 0.9)]]).steps == 5
    assert learned_response([], [], []) is None


def test_a_change_that_was_not_read_counts_for_nothing():
    read = steps_of(0.8, 0.9, 0.7, 0.8, 0.9)
    assert learned_response([*read, Step(0.25, math.nan)], [], []) == learned_response(read, [], [])
    assert learned_response([*read[1:], Step(0.25, math.nan)], [], []) is None


@pytest.mark.parametrize("turns", [0, 0.0, math.nan, math.inf])
def test_a_step_of_no_turns_is_refused(turns):
    with pytest.raises(ValueError, match="turns"):
        Step(turns, 0.2)


@bounded
@given(one_appliance, one_model, st.lists(one_model, max_size=3), st.sampled_from([-4.0, 0.1, 0.5, 3.0, 64.0]))
def test_other_units_of_turning_change_nothing_but_the_unit(own, model, fleet, c):
    def scaled(appliance):
        return [Step(c * each.turns, each.change_pts) for each in appliance]

    before = learned_response(own, model, fleet)
    after = learned_response(scaled(own), [*map(scaled, model)], [[*map(scaled, each)] for each in fleet])
    if before is None:
        assert after is None
        return
    assert after.points_per_turn * c == pytest.approx(before.points_per_turn, rel=1e-6, abs=1e-9)
    assert after.predictive_sd * abs(c) == pytest.approx(before.predictive_sd, rel=1e-6)
    assert (after.high - after.low) * abs(c) == pytest.approx(before.high - before.low, rel=1e-6)


@bounded
@given(one_appliance, one_model, st.lists(one_model, max_size=3), st.randoms(use_true_random=False))
def test_the_order_of_steps_appliances_and_models_does_not_matter(own, model, fleet, chance):
    def shuffled(items):
        return chance.sample(items, len(items))

    before = learned_response(own, model, fleet)
    after = learned_response(
        shuffled(own), shuffled([*map(shuffled, model)]), shuffled([shuffled([*map(shuffled, each)]) for each in fleet])
    )
    if before is None:
        assert after is None
        return
    assert figures(after) == pytest.approx(figures(before), rel=1e-6, abs=1e-9)


@bounded
@given(one_appliance, one_model, st.lists(one_model, max_size=3))
def test_the_mean_lies_in_its_interval_and_among_the_steps(own, model, fleet):
    made = learned_response(own, model, fleet)
    if made is None:
        return
    seen = [each.points_per_turn for one in [own, *model, *[a for each in fleet for a in each]] for each in one]
    assert made.low < made.points_per_turn < made.high
    assert min(seen) - 1e-9 <= made.points_per_turn <= max(seen) + 1e-9
    assert made.predictive_sd > 0


def test_a_step_agrees_by_its_sign_and_within_the_predictive_range():
    # 0.8 +- 1.7 x 0.1 points a turn.
    assert agrees(a_response, Step(0.5, 0.5 * 0.969))
    assert agrees(a_response, Step(-0.5, -0.5 * 0.631))
    assert not agrees(a_response, Step(0.5, 0.5 * 0.971))
    assert not agrees(a_response, Step(0.5, 0.5 * 0.629))
    assert not agrees(a_response, Step(0.5, -0.4))
    assert not agrees(a_response, Step(0.5, math.nan))


def test_a_step_the_wrong_way_never_agrees_however_wide_the_range():
    wide = Response(0.1, 0.05, 0.15, 1.0, 1.7, THE_FLEET, 30)
    assert agrees(wide, Step(0.5, 0.2))
    assert not agrees(wide, Step(0.5, -0.2))


def test_how_far_is_the_gap_over_the_response_and_no_further_than_the_largest_step():
    assert turns_for(a_response, 0.4, None) == pytest.approx((0.5, 0.4, 0.8))
    assert turns_for(a_response, 0.4, 0.45) == pytest.approx((0.45, 0.4, 0.45))
    assert turns_for(a_response, -0.4, 0.45) == pytest.approx((-0.45, -0.45, -0.4))
    assert turns_for(a_response, 0.0, 0.25) == (0, 0, 0)


@bounded
@given(st.floats(-5, 5), st.none() | st.floats(0.01, 2))
def test_how_far_is_in_order_capped_and_the_same_both_ways(gap_pts, largest):
    turns, low, high = turns_for(a_response, gap_pts, largest)
    assert low <= turns <= high
    assert largest is None or max(abs(low), abs(high)) <= largest
    assert turns_for(a_response, -gap_pts, largest) == (-turns, -high, -low)


@pytest.mark.parametrize("low", [0.0, -0.1])
def test_a_response_that_may_have_no_effect_tells_no_distance(low):
    assert all(map(math.isnan, turns_for(Response(0.2, low, 0.5, 0.1, 1.7, THE_FLEET, 9), 0.3, 0.25)))
    assert all(map(math.isnan, turns_for(a_response, math.nan, 0.25)))


@pytest.mark.parametrize("largest", [0.0, -0.25, math.nan])
def test_a_largest_step_must_be_above_zero(largest):
    with pytest.raises(ValueError, match="largest_step_turns"):
        turns_for(a_response, 0.3, largest)


def test_whose_steps_weigh_most_is_told_and_the_nearer_where_two_weigh_the_same():
    equal, nothing = _Belief(1.0, 1.0), _Belief(0.0, math.inf)
    # Own precision 2 of 2 + 1: two thirds are its own, and of the last third the model has 3 of 3 + 1.
    assert _heaviest(equal, _Belief(1.0, 1 / 3), _Belief(1.0, 1.0), _Belief(1.0, 0.5)) == THIS_APPLIANCE
    assert _heaviest(equal, nothing, _Belief(1.0, 1.0), _Belief(1.0, 2.0)) == THE_FLEET
    assert _heaviest(nothing, equal, _Belief(1.0, 1.0), _Belief(1.0, 2.0)) == THIS_MODEL
    # 0.45 its own, and of the other 0.55 the half each to model and fleet: its own weighs most.
    assert _heaviest(equal, equal, _Belief(1.0, 1 / 0.55), _Belief(1.0, 1 / 0.45)) == THIS_APPLIANCE
    assert _heaviest(equal, equal, _Belief(1.0, 1.0), nothing) == THIS_MODEL
    assert _heaviest(nothing, nothing, nothing, equal) == THIS_APPLIANCE


def test_what_cannot_be_learned_is_a_share_of_the_typical_response_and_nothing_is_below_its_floor():
    """0.3 and 0.05 of a typical response of 2 points a turn, squared."""
    never_twice = _variances([[[2.0], [2.0], [2.0]]])
    assert never_twice == (pytest.approx(0.36), pytest.approx(0.01), pytest.approx(0.36), 1)
    one_appliance = _variances([[[2.0, 2.0, -2.0, -2.0]]])
    assert one_appliance == (pytest.approx(16 / 3), pytest.approx(0.36), pytest.approx(0.36), 3)
    alike = _variances([[[2.0, 2.0], [2.0, 2.0]], [[2.0, 2.0]]])
    assert alike == (pytest.approx(0.01), pytest.approx(0.01), pytest.approx(0.01), 3)
    assert _variances([[[0.0, 0.0]]]) == (pytest.approx(0.0025), pytest.approx(0.09), pytest.approx(0.09), 1)


def test_a_step_that_moved_nothing_never_agrees():
    wide = Response(0.1, 0.05, 0.15, 1.0, 1.7, THIS_MODEL, 30)
    assert not agrees(wide, Step(0.25, 0.0))
    assert agrees(wide, Step(0.25, 0.001))
    edge = Response(1.0, 0.5, 1.5, 0.5, 1.0, THIS_MODEL, 30)
    assert agrees(edge, Step(1.0, 1.5))
    assert agrees(edge, Step(1.0, 0.5))
    assert not agrees(edge, Step(1.0, 1.51))
    assert not agrees(edge, Step(1.0, 0.49))


@pytest.mark.parametrize(("turns", "said"), [(0, "0"), (math.nan, "nan"), (math.inf, "inf")])
def test_turns_that_are_none_are_named(turns, said):
    with pytest.raises(ValueError, match=f"^turns must be a finite figure other than 0, not {said}$"):
        Step(turns, 0.1)


@pytest.mark.parametrize("largest", [0, -0.25, math.nan])
def test_a_largest_step_that_is_none_is_named(largest):
    with pytest.raises(ValueError, match=f"^largest_step_turns must be above 0, not {largest}$"):
        turns_for(a_response, 0.2, largest)


def test_two_beliefs_are_weighted_by_their_precisions():
    nothing = _Belief(0.0, math.inf)
    assert _together(_Belief(1.0, 1.0), _Belief(4.0, 0.5)) == (pytest.approx(3.0), pytest.approx(1 / 3))
    assert _together(nothing, _Belief(4.0, 0.5)) == (4.0, 0.5)
    assert _together(nothing, nothing) == (0.0, math.inf)


@pytest.mark.parametrize(("appliances", "freedom"), [(1, 1), (2, 1), (3, 2), (6, 5)])
def test_the_doubt_about_shrinking_is_two_over_its_degrees_of_freedom(appliances, freedom):
    """2/f (B' (ybar - m))^2 by Morris (1983), from memory; B' = 1/4 where what was known weighs a third of the new."""
    doubt = _doubt(_Belief(0.0, 3.0), _Belief(2.0, 1.0), [[[0.8]] * appliances])
    assert doubt == pytest.approx(2 / freedom * (2 / 4) ** 2)
