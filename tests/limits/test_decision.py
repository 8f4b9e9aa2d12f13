"""Outside checks: fixtures/golden/check_values.csv and conformity_check.csv (normal quantiles, JCGM 106)."""

import csv
import math
from pathlib import Path
from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits import acceptance_limits, conformance_probability, decide
from fleet.limits.decision import COVERAGE_FACTOR, GUARD_FACTOR, MARGINS, RULE_NAMES

GOLDEN = Path(__file__).parents[2] / "fixtures" / "golden"
bounded = settings(max_examples=60, deadline=None, derandomize=True)
values = st.floats(0.001, 5000, allow_nan=False)
uncertainties = st.floats(0, 500, allow_nan=False)


def fired(low, high, lower, upper, **more):
    return decide(low, high, lower, upper, rule="simple", **more)


def rows(name):
    with (GOLDEN / name).open() as file:
        return list(csv.DictReader(file))


GUARD_ROWS = [row for row in rows("check_values.csv") if row["quantity"] == "guard_band_factor_one_sided"]


def test_the_guard_factor_is_the_published_quantile_of_95_per_cent():
    (row,) = (row for row in GUARD_ROWS if row["inputs"] == "p=0.95")
    assert pytest.approx(float(row["expected"]), abs=float(row["tolerance"])) == GUARD_FACTOR
    assert pytest.approx(NormalDist().inv_cdf(0.95), rel=1e-14) == GUARD_FACTOR


@pytest.mark.parametrize("row", rows("conformity_check.csv"), ids=lambda row: f"y={row['y']} u={row['u']}")
def test_conformance_probabilities_match_the_table(row):
    middle, half = float(row["target"]), float(row["tolerance_half_width"])
    probability = conformance_probability(float(row["y"]), float(row["u"]), middle - half, middle + half)
    assert probability == pytest.approx(float(row["conformance_probability"]), abs=5e-5)


def test_a_narrow_band_cannot_be_proven_and_says_so():
    # Expanded 0.3 is a standard uncertainty of 0.15: widths from combustion reference computations.
    assert acceptance_limits(8.8, 9.2, "guarded", 0.3) is None
    low, high = acceptance_limits(8.7, 9.3, "guarded", 0.3)
    assert (high - low) / 2 == pytest.approx(0.053, abs=1e-3)
    low, high = acceptance_limits(8.5, 9.5, "guarded", 0.3)
    assert (high - low) / 2 == pytest.approx(0.253, abs=1e-3)


def test_each_rule_moves_the_limit_its_own_way():
    assert acceptance_limits(None, 9.0, "simple", 0.5) == (None, 9.0)
    assert acceptance_limits(None, 9.0, "relaxed", 0.5) == (None, 9.5)
    assert acceptance_limits(None, 9.0, "subtract_uncertainty", 0.5) == (None, 9.5)
    assert acceptance_limits(None, 9.0, "add_uncertainty", 0.5) == (None, 8.5)


@bounded
@given(values)
def test_exactly_on_a_limit_is_kept_unless_the_limit_is_open(limit):
    assert fired(limit, limit, None, limit) is False
    assert fired(limit, limit, limit, None) is False
    assert fired(limit, limit, None, limit, upper_open=True) is True


@bounded
@given(values, st.floats(1e-6, 0.5))
def test_both_sides_of_a_limit_are_told_apart(limit, share):
    below, above = limit * (1 - share), limit * (1 + share)
    assert fired(above, above, None, limit) is True
    assert fired(below, below, None, limit) is False
    assert fired(below, below, limit, None) is True
    assert fired(above, above, limit, None) is False


@bounded
@given(values, values)
def test_a_value_known_only_in_part_is_decided_only_when_all_of_it_agrees(limit, bound):
    assert fired(bound, math.inf, None, limit) in (True, None)
    assert fired(-math.inf, bound, None, limit) in (False, None)


@bounded
@given(values, values, uncertainties)
def test_the_rules_are_ordered_from_the_mildest_to_the_hardest(value, limit, uncertainty):
    def fires(rule):
        return decide(value, value, None, limit, rule=rule, expanded_uncertainty=uncertainty)

    assert not fires("relaxed") or fires("simple")
    assert not fires("simple") or fires("guarded")
    assert fires("guarded") is False or fires("add_uncertainty")
    assert fires("simple") == (fires("guarded") is True)


@bounded
@given(values, values, st.sampled_from(["simple", "relaxed"]))
def test_without_uncertainty_simple_and_relaxed_are_the_same(value, limit, rule):
    assert decide(value, value, None, limit, rule=rule, expanded_uncertainty=None) == (value > limit)


@pytest.mark.parametrize("rule", ["guarded", "add_uncertainty"])
def test_a_rule_that_demands_an_uncertainty_can_only_condemn_without_one(rule):
    assert decide(101, 101, None, 100, rule=rule, expanded_uncertainty=None) is True
    assert decide(50, 50, None, 100, rule=rule, expanded_uncertainty=None) is None


def test_the_relaxed_rule_fires_only_beyond_the_uncertainty():
    assert decide(9.4, 9.4, None, 9.0, rule="relaxed", expanded_uncertainty=0.5) is False
    assert decide(9.6, 9.6, None, 9.0, rule="relaxed", expanded_uncertainty=0.5) is True


@pytest.mark.parametrize("rule", MARGINS)
def test_every_rule_clears_a_value_far_inside(rule):
    assert decide(10, 10, None, 100, rule=rule, expanded_uncertainty=20) is False


def test_a_conformance_probability_needs_an_uncertainty():
    with pytest.raises(ValueError, match="above zero"):
        conformance_probability(9.0, 0, 8.5, 9.5)


def test_the_margins_of_each_rule():
    # From the texts: 1. BImSchV counts U for the operator, 44. BImSchV against; JCGM 106 guards by a one-sided 95 %.
    assert MARGINS == {
        "simple": (0.0, 0.0),
        "guarded": (0.0, GUARD_FACTOR / 2),
        "relaxed": (-1.0, -1.0),
        "add_uncertainty": (1.0, 1.0),
    }
    assert {rule: rule for rule in MARGINS} | {"subtract_uncertainty": "relaxed"} == RULE_NAMES
    assert COVERAGE_FACTOR == 2.0


@pytest.mark.parametrize(
    ("lower", "upper", "expected"),
    [(None, 9.5, NormalDist(9.4, 0.15).cdf(9.5)), (8.5, None, 1 - NormalDist(8.6, 0.15).cdf(8.5)), (None, None, 1.0)],
)
def test_the_probability_of_a_limit_with_an_open_side(lower, upper, expected):
    value = 9.4 if lower is None else 8.6
    assert conformance_probability(value, 0.15, lower, upper) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("uncertainty", [0, -0.1, math.nan])
def test_an_uncertainty_that_is_none_is_named(uncertainty):
    with pytest.raises(ValueError, match=f"^a standard uncertainty above zero is needed, not {uncertainty}$"):
        conformance_probability(9.0, uncertainty, 8.5, 9.5)


def test_an_acceptance_zone_may_be_a_single_figure_or_open_on_a_side():
    assert acceptance_limits(8.0, 10.0, "add_uncertainty", 1.0) == (9.0, 9.0)
    assert acceptance_limits(8.0, 10.0, "add_uncertainty", 1.001) is None
    assert acceptance_limits(8.0, None, "add_uncertainty", 1.0) == (9.0, None)
    assert acceptance_limits(None, None, "guarded", 1.0) == (None, None)


@pytest.mark.parametrize(("limit", "beyond"), [(100.0, 100 * 2e-9), (1e-4, 2e-12), (-100.0, 100 * 2e-9), (0.0, 2e-12)])
def test_the_slack_is_a_share_of_the_limit_and_of_a_thousandth_at_least(limit, beyond):
    assert fired(limit + beyond, limit + beyond, None, limit) is True
    assert fired(limit + beyond / 4, limit + beyond / 4, None, limit) is False
    assert fired(limit - beyond, limit - beyond, limit, None) is True
    assert fired(limit - beyond / 4, limit - beyond / 4, limit, None) is False
    assert fired(limit - beyond / 4, limit - beyond / 4, None, limit, upper_open=True) is True
    assert fired(limit - beyond, limit - beyond, None, limit, upper_open=True) is False


@pytest.mark.parametrize(
    ("rule", "outcomes"),
    [
        ("simple", [False, False, False, True, True]),
        ("relaxed", [False, False, False, False, True]),
        ("add_uncertainty", [False, True, True, True, True]),
        ("guarded", [False, None, None, True, True]),
    ],
)
def test_each_rule_against_a_ceiling_and_a_floor(rule, outcomes):
    """A limit of 100 and U = 10: guarded keeps up to 100 - 1.645 * 5 = 91.8."""
    against_a_ceiling = [decide(v, v, None, 100, rule=rule, expanded_uncertainty=10) for v in (89, 93, 99, 101, 111)]
    assert against_a_ceiling == outcomes
    against_a_floor = [decide(v, v, 100, None, rule=rule, expanded_uncertainty=10) for v in (111, 107, 101, 99, 89)]
    assert against_a_floor == outcomes


def test_the_guarded_rule_keeps_up_to_its_guard_band():
    edge = 100 - GUARD_FACTOR * 5
    assert decide(edge - 0.01, edge - 0.01, None, 100, rule="guarded", expanded_uncertainty=10) is False
    assert decide(edge + 0.01, edge + 0.01, None, 100, rule="guarded", expanded_uncertainty=10) is None


def test_a_value_known_in_part_fires_where_all_of_it_does():
    assert fired(101, math.inf, None, 100) is True
    assert fired(99, math.inf, None, 100) is None
    assert fired(-math.inf, 99, None, 100) is False
    assert fired(-math.inf, 99, 100, None) is True
    assert fired(99, math.inf, 100, None) is None
    assert fired(50, 60, 40, 70) is False


def test_no_uncertainty_and_one_of_zero_are_told_apart():
    assert decide(50, 50, None, 100, rule="guarded", expanded_uncertainty=0.0) is False
    assert decide(50, 50, None, 100, rule="guarded") is None
    assert decide(50, 50, None, 100, rule="relaxed") is False


def test_the_upper_figure_belongs_to_what_is_kept_unless_said_otherwise():
    assert decide(100, 100, None, 100, rule="simple") is False
    assert decide(100, 100, None, 100, rule="simple", upper_open=True) is True
    assert decide(99, 99, 99, 100, rule="simple", upper_open=True) is False


def test_a_value_known_only_from_above_breaks_no_open_limit_over_it_and_keeps_no_floor():
    assert fired(-math.inf, 2, None, 30, upper_open=True) is False
    assert fired(-math.inf, 101, 100, None) is None
