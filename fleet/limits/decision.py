"""Decision rules: does a limit fire, given the value, its uncertainty and the rule its source demands.

simple : the value as it stands.
guarded : kept only where the probability of conformity is high enough (JCGM 106:2012, 8.3.2); between
    that and the limit nothing can be decided.
relaxed : the uncertainty counts for the operator (1. BImSchV 2010, Annex 2 no. 2.3 with 3.4.2).
add_uncertainty : the uncertainty counts against the operator (44. BImSchV, section 31(7)).

Uncertainties here are expanded ones (k = 2); a standard uncertainty is half of that.
"""

from statistics import NormalDist

RULES = ("simple", "guarded", "relaxed", "add_uncertainty")
RULE_NAMES = {"subtract_uncertainty": "relaxed"} | {rule: rule for rule in RULES}
COVERAGE_FACTOR = 2.0
GUARD_PROBABILITY = 0.95
# One-sided normal quantile of 0.95, written out so that a port needs no inverse of the normal distribution.
GUARD_FACTOR = 1.6448536269514722
# Doubles don't carry 9.2 + 0.2 exactly; a limit is never decided by the last bits of a sum.
SLACK = 1e-9


def guard_factor(probability: float) -> float:
    """How many standard uncertainties a one-sided guard band is wide (JCGM 106:2012, 8.3.2).

    probability : of conformity that must be reached, 0.5 < p < 1.

    >>> round(guard_factor(0.95), 4)
    1.6449
    """
    if not 0.5 < probability < 1:
        raise ValueError(f"a probability of conformity above 0.5 and below 1 is needed, not {probability}")
    return NormalDist().inv_cdf(probability)


def conformance_probability(
    value: float, standard_uncertainty: float, lower: float | None, upper: float | None
) -> float:
    """Probability that the true value lies between the limits, for a normal error (JCGM 106:2012, 7.4).

    Phi((upper - value) / u) - Phi((lower - value) / u); None is an open side. ValueError unless u > 0.

    >>> round(conformance_probability(9.4, 0.15, 8.5, 9.5), 4)
    0.7475
    """
    if not standard_uncertainty > 0:
        raise ValueError(f"a standard uncertainty above zero is needed, not {standard_uncertainty}")
    true_value = NormalDist(value, standard_uncertainty)
    above_lower = 0.0 if lower is None else true_value.cdf(lower)
    below_upper = 1.0 if upper is None else true_value.cdf(upper)
    return below_upper - above_lower


def acceptance_limits(
    lower: float | None, upper: float | None, rule: str, expanded_uncertainty: float
) -> tuple[float | None, float | None] | None:
    """The limits that the reading itself must keep under a rule; None where no reading can keep them.

    With U = 0.3 a band of +-0.2 can't be proven at 95 %: its guarded zone is empty.

    >>> acceptance_limits(9.0, 9.4, "guarded", 0.3) is None
    True
    """
    move = _inward_share(rule) * expanded_uncertainty
    low = None if lower is None else lower + move
    high = None if upper is None else upper - move
    if low is not None and high is not None and low > high:
        return None
    return low, high


def _inward_share(rule: str) -> float:
    guard = GUARD_FACTOR / COVERAGE_FACTOR
    return {"simple": 0.0, "guarded": guard, "relaxed": -1.0, "add_uncertainty": 1.0}[RULE_NAMES[rule]]


def fired(
    low: float, high: float, lower: float | None, upper: float | None, *, upper_open: bool = False
) -> bool | None:
    """Whether a value known to lie from `low` to `high` breaks a limit; None when only part of that does.

    lower, upper : the figures to keep, None on an open side; they belong to what is kept unless `upper_open`,
    where reaching the upper figure already breaks it.
    """

    def over(value: float) -> bool:
        return upper is not None and (not _above(upper, value) if upper_open else _above(value, upper))

    def under(value: float) -> bool:
        return lower is not None and _above(lower, value)

    if over(low) or under(high):
        return True
    return None if over(high) or under(low) else False


def _above(value: float, limit: float) -> bool:
    return value > limit and value - limit > SLACK * max(1e-3, abs(limit))


def decide(
    low: float,
    high: float,
    lower: float | None,
    upper: float | None,
    *,
    rule: str,
    expanded_uncertainty: float | None = None,
    upper_open: bool = False,
) -> bool | None:
    """Whether a limit fires under a decision rule; None when the rule can't decide.

    low, high : what the reading allows, equal for a plain value. lower, upper, upper_open : as in `fired`.
    expanded_uncertainty : in the limit's unit; without one the relaxed rule takes the value as it stands, and
    a rule that demands one can only condemn.
    """
    plain = fired(low, high, lower, upper, upper_open=upper_open)
    if rule == "simple" or (rule == "relaxed" and (plain is None or expanded_uncertainty is None)):
        return plain
    if expanded_uncertainty is None:
        return plain or None
    reach = abs(_inward_share(rule)) * expanded_uncertainty
    widened = fired(low - reach, high + reach, lower, upper, upper_open=upper_open)
    if rule == "relaxed":
        return widened is True
    if rule == "add_uncertainty":
        return widened is not False
    return True if plain else False if widened is False else None
