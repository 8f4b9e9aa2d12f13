"""Decision rules: does a limit fire, given the value, its uncertainty and the rule its source demands.

simple : the value as it stands.
guarded : kept only where the probability of conformity is high enough (JCGM 106:2012, 8.3.2); between
    that and the limit nothing can be decided.
relaxed : the uncertainty counts for the operator (1. BImSchV 2010, Annex 2 no. 2.3 with 3.4.2).
add_uncertainty : the uncertainty counts against the operator (44. BImSchV, section 31(7)).

Uncertainties here are expanded ones (k = 2); a standard uncertainty is half of that.
"""

import math

COVERAGE_FACTOR = 2.0
# How many standard uncertainties a one-sided guard band is wide at a probability of conformity of 0.95
# (JCGM 106:2012, 8.3.2): a normal quantile, written out so that a port needs no inverse of the normal distribution.
GUARD_FACTOR = 1.6448536269514722
# How far a rule moves a limit inward, in expanded uncertainties: where it fires, and up to where it is kept.
MARGINS: dict[str, tuple[float, float]] = {
    "simple": (0.0, 0.0),
    "guarded": (0.0, GUARD_FACTOR / COVERAGE_FACTOR),
    "relaxed": (-1.0, -1.0),
    "add_uncertainty": (1.0, 1.0),
}
RULE_NAMES = {"subtract_uncertainty": "relaxed"} | {rule: rule for rule in MARGINS}
# Doubles don't carry 9.2 + 0.2 exactly; a limit is never decided by the last bits of a sum.
SLACK = 1e-9


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
    below_upper = 1.0 if upper is None else _normal((upper - value) / standard_uncertainty)
    below_lower = 0.0 if lower is None else _normal((lower - value) / standard_uncertainty)
    return below_upper - below_lower


def _normal(quantile: float) -> float:
    """The standard normal distribution, by the error function (some ten times as fast as the library's object)."""
    return 0.5 * math.erfc(-quantile / math.sqrt(2))


def acceptance_limits(
    lower: float | None, upper: float | None, rule: str, expanded_uncertainty: float
) -> tuple[float | None, float | None] | None:
    """The limits that the reading itself must keep under a rule; None where no reading can keep them.

    With U = 0.3 a band of +-0.2 can't be proven at 95 %: its guarded zone is empty.

    >>> acceptance_limits(9.0, 9.4, "guarded", 0.3) is None
    True
    """
    move = MARGINS[RULE_NAMES[rule]][1] * expanded_uncertainty
    low = None if lower is None else lower + move
    high = None if upper is None else upper - move
    if low is not None and high is not None and low > high:
        return None
    return low, high


def _above(value: float, limit: float) -> bool:
    # A share of the smaller of the two: an end that is infinite has no last bits to forgive.
    return value > limit and value - limit > SLACK * max(1e-3, min(abs(value), abs(limit)))


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
    """Whether a value known to lie from `low` to `high` breaks a limit; None where that can't be told.

    low, high : equal for a plain value, infinite on a side that the reading leaves open.
    lower, upper : the figures to keep, None on an open side; they belong to what is kept unless `upper_open`,
        where reaching the upper figure already breaks it.
    expanded_uncertainty : in the limit's unit; without one the relaxed rule takes the value as it stands, and
        a rule that counts it against the operator can only condemn.

    >>> decide(9.4, 9.4, None, 9.0, rule="relaxed", expanded_uncertainty=0.5)
    False
    """
    fires_at, kept_to = MARGINS[rule]
    reach = expanded_uncertainty or 0.0
    if _broken(high - fires_at * reach, low + fires_at * reach, lower, upper, upper_open):
        return True
    if expanded_uncertainty is None and kept_to > 0:
        return None
    return None if _broken(low - kept_to * reach, high + kept_to * reach, lower, upper, upper_open) else False


def _broken(low: float, high: float, lower: float | None, upper: float | None, upper_open: bool) -> bool:
    if upper is not None and (not _above(upper, high) if upper_open else _above(high, upper)):
        return True
    return lower is not None and _above(lower, low)
