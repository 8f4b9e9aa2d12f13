"""How far an adjuster moves CO2, learned from adjustments made before on this appliance and on others.

Turns are signed so that positive is the direction that raises CO2; a change is in points of CO2.

A step's response is r = change / turns. Three levels, each a normal distribution around the one above:

    r of appliance a ~ N(theta_a, sigma2)    theta_a of model s ~ N(m_s, tau2)    m_s ~ N(M, omega2)

With the variances given, an appliance's mean response is its own mean and what its model says, weighted by their
precisions; the model's likewise between its other appliances and the fleet:

    model  ~ N(m, v),  1/v = 1/(omega2 + var M) + sum of 1/(tau2 + sigma2/n_a),  m the mean so weighted
    theta  ~ N(B ybar + (1 - B) m, 1 / (n/sigma2 + 1/(v + tau2))),  B = (v + tau2) / (v + tau2 + sigma2/n)

sigma2 is the pooled variance within appliances, tau2 and omega2 come from the squares between means by moments (one-way
analysis of variance with unequal numbers; none is let go below its floor). Every step counts the same whatever its
size. The interval takes Student's t with the degrees of freedom of sigma2, since the variances are estimates too.

Sources: Gelman et al., Bayesian Data Analysis, chapter 5 (normal model with a hierarchy); Efron & Morris, Data
analysis using Stein's estimator and its generalizations, JASA 70 (1975); moments of unbalanced groups: DerSimonian &
Laird, Controlled Clinical Trials 7 (1986); doubt about the weights themselves: Morris, JASA 78 (1983). [From memory.]
Floors, the spread taken where none can be learned and the least number of steps are our own choices.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from scipy.stats import t as student_t

THIS_APPLIANCE: Final = "this_appliance"
THIS_MODEL: Final = "this_model"
THE_FLEET: Final = "fleet"

LEAST_STEPS: Final = 5
PROBABILITY: Final = 0.90
# Standard deviations as shares of the typical response, own choices: no set of steps is believed to agree better than
# the floor; the other stands where there are too few appliances, or models, to learn how they differ.
FLOOR_SHARE: Final = 0.05
UNKNOWN_SHARE: Final = 0.30


@dataclass(frozen=True)
class Step:
    """One adjustment: how far the adjuster was turned, and by how many points CO2 changed. NaN: not read."""

    turns: float
    change_pts: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.turns) or self.turns == 0:
            raise ValueError(f"turns must be a finite figure other than 0, not {self.turns}")

    @property
    def points_per_turn(self) -> float:
        return self.change_pts / self.turns


@dataclass(frozen=True)
class Response:
    """An appliance's mean response, in points of CO2 a turn.

    low, high : 90 % interval of the mean response. predictive_sd : standard deviation of one step's response, points a
    turn. coverage_factor : how many standard deviations 90 % reach to either side. based_on : what weighs most,
    "this_appliance", "this_model" or "fleet". steps : how many went in.
    """

    points_per_turn: float
    low: float
    high: float
    predictive_sd: float
    coverage_factor: float
    based_on: str
    steps: int


class _Belief(NamedTuple):
    """A normal distribution; an infinite variance where nothing is known."""

    mean: float
    variance: float

    @property
    def precision(self) -> float:
        return 1 / self.variance


class _Variances(NamedTuple):
    """Within an appliance, between appliances of one model, between models, and degrees of freedom of the first."""

    within: float
    appliances: float
    models: float
    freedom: int


Appliance = Sequence[Step]
Model = Sequence[Appliance]
Rs = list[float]
NOTHING: Final = _Belief(0.0, math.inf)


def learned_response(own: Appliance, model: Model, fleet: Sequence[Model]) -> Response | None:
    """The appliance's mean response, its own steps shrunk toward its model's and the model's toward the fleet's.

    own : this appliance's steps. model : those of each other appliance of the same sheet. fleet : for each other sheet
    those of each of its appliances. None with fewer than five steps in all.

    >>> quarter = [Step(0.25, 0.20), Step(-0.25, -0.22), Step(0.25, 0.18), Step(0.5, 0.42), Step(-0.25, -0.20)]
    >>> made = learned_response(quarter, [], [])
    >>> round(made.points_per_turn, 3), made.based_on
    (0.808, 'this_appliance')
    """
    mine, peers = _responses(own), _model(model)
    others = [each for each in map(_model, fleet) if each]
    models = [each for each in [[*([mine] if mine else []), *peers], *others] if each]
    steps = [r for each in models for appliance in each for r in appliance]
    if len(steps) < LEAST_STEPS:
        return None
    spread = _variances(models)
    of_fleet = _of_fleet(others, spread)
    of_peers = _mean_of([_of_appliance(each, spread) for each in peers])
    of_model = _together(of_fleet, of_peers)
    before = _Belief(of_model.mean, of_model.variance + spread.appliances)
    itself = _Belief(_mean(mine), spread.within / len(mine)) if mine else NOTHING
    after = _together(before, itself)
    mean = _Belief(after.mean, after.variance + _doubt(before, itself, models))
    return _response(mean, _heaviest(of_fleet, of_peers, before, itself), spread, len(steps))


def agrees(response: Response, step: Step) -> bool:
    """Whether a step moved CO2 the way that was learned, and as far as 90 % of steps would."""
    reach = response.coverage_factor * response.predictive_sd
    seen = step.points_per_turn
    return seen * response.points_per_turn > 0 and abs(seen - response.points_per_turn) <= reach


def turns_for(response: Response, gap_pts: float, largest_step_turns: float | None) -> tuple[float, float, float]:
    """About how far to turn for a gap, and the least and most by the interval: turns, low, high, low <= turns <= high.

    gap_pts : points of CO2 still wanted; negative to lower it. largest_step_turns : no figure goes beyond it, either
    way. NaN where the interval reaches zero: a response that may have no effect, or the other one, tells no distance.

    >>> turns_for(Response(0.8, 0.5, 1.0, 0.1, 1.7, "this_model", 30), 0.2, None)
    (0.25, 0.2, 0.4)
    >>> turns_for(Response(0.8, 0.5, 1.0, 0.1, 1.7, "this_model", 30), -0.2, 0.25)
    (-0.25, -0.25, -0.2)
    """
    if largest_step_turns is not None and not largest_step_turns > 0:
        raise ValueError(f"largest_step_turns must be above 0, not {largest_step_turns}")
    if response.low <= 0 or not math.isfinite(gap_pts):
        return math.nan, math.nan, math.nan
    most = math.inf if largest_step_turns is None else largest_step_turns
    far = [max(-most, min(most, gap_pts / each)) for each in (response.points_per_turn, response.low, response.high)]
    return far[0], min(far), max(far)


def _responses(appliance: Appliance) -> Rs:
    """Points a turn of each step whose change was read."""
    return [step.points_per_turn for step in appliance if math.isfinite(step.change_pts)]


def _model(model: Model) -> list[Rs]:
    return [responses for appliance in model if (responses := _responses(appliance))]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _squares(values: Sequence[float]) -> float:
    mean = _mean(values)
    return math.fsum((value - mean) ** 2 for value in values)


def _together(one: _Belief, other: _Belief) -> _Belief:
    """Two independent beliefs about one figure, weighted by their precisions."""
    precision = one.precision + other.precision
    if precision == 0:
        return NOTHING
    return _Belief((one.mean * one.precision + other.mean * other.precision) / precision, 1 / precision)


def _mean_of(beliefs: Sequence[_Belief]) -> _Belief:
    """What independent beliefs say together of the mean that they share."""
    precision = math.fsum(each.precision for each in beliefs)
    if precision == 0:
        return NOTHING
    return _Belief(math.fsum(each.mean * each.precision for each in beliefs) / precision, 1 / precision)


def _of_appliance(responses: Rs, spread: _Variances) -> _Belief:
    """What one appliance says of its model's mean."""
    return _Belief(_mean(responses), spread.appliances + spread.within / len(responses))


def _of_model(model: Sequence[Rs], spread: _Variances) -> _Belief:
    return _mean_of([_of_appliance(each, spread) for each in model])


def _of_fleet(others: Sequence[Sequence[Rs]], spread: _Variances) -> _Belief:
    """What the other models say of the mean of one more."""
    means = [_of_model(each, spread) for each in others]
    of_mean = _mean_of([_Belief(each.mean, each.variance + spread.models) for each in means])
    return _Belief(of_mean.mean, of_mean.variance + spread.models)


def _variances(models: Sequence[Sequence[Rs]]) -> _Variances:
    """By moments, each at least its floor."""
    appliances = [each for model in models for each in model]
    typical = _mean([r * r for each in appliances for r in each]) or 1.0
    floor, unknown = FLOOR_SHARE**2 * typical, UNKNOWN_SHARE**2 * typical
    freedom = sum(len(each) - 1 for each in appliances)
    within = math.fsum(_squares(each) for each in appliances) / freedom if freedom else unknown
    within = max(within, floor)
    between = max(_between_appliances(models, within, unknown), floor)
    first = _Variances(within, between, 0.0, max(1, freedom))
    means = [_of_model(each, first) for each in models]
    return first._replace(models=max(_between_models(means, unknown), floor))


def _doubt(before: _Belief, itself: _Belief, models: Sequence[Sequence[Rs]]) -> float:
    """Variance for not knowing how far to shrink: 2/f (B' (ybar - m))^2, B' the weight of what was known before.

    f : degrees of freedom of the variance between appliances, where Morris (1983) has two less; ours is at least 1.
    """
    if not itself.precision or not before.precision:
        return 0.0
    freedom = max(1, sum(len(each) - 1 for each in models))
    weight = before.precision / (before.precision + itself.precision)
    return 2 / freedom * (weight * (itself.mean - before.mean)) ** 2


def _between_appliances(models: Sequence[Sequence[Rs]], within: float, unknown: float) -> float:
    """tau2 = (S - (A - K) sigma2) / (N - sum of n_a^2 / N_s); S the weighted squares of appliance means about their
    model's, A appliances, K models, N steps, N_s those of model s."""
    squares = weight = 0.0
    spare = 0
    for model in models:
        counts = [len(each) for each in model]
        means = [_mean(each) for each in model]
        centre = math.fsum(n * mean for n, mean in zip(counts, means, strict=True)) / sum(counts)
        squares += math.fsum(n * (mean - centre) ** 2 for n, mean in zip(counts, means, strict=True))
        weight += sum(counts) - sum(n * n for n in counts) / sum(counts)
        spare += len(model) - 1
    return (squares - spare * within) / weight if spare else unknown


def _between_models(means: Sequence[_Belief], unknown: float) -> float:
    """omega2 = (Q - (K - 1)) / (sum w - sum w^2 / sum w), w = 1 / variance of a model's mean."""
    if len(means) < 2:
        return unknown
    weights = [each.precision for each in means]
    total = math.fsum(weights)
    centre = _mean_of(means).mean
    q = math.fsum(w * (each.mean - centre) ** 2 for w, each in zip(weights, means, strict=True))
    return (q - (len(means) - 1)) / (total - math.fsum(w * w for w in weights) / total)


def _heaviest(of_fleet: _Belief, of_peers: _Belief, before: _Belief, itself: _Belief) -> str:
    """Whose steps weigh most in the mean; the nearer one where two weigh the same."""
    own = itself.precision / (itself.precision + before.precision)
    peers = of_peers.precision / ((of_peers.precision + of_fleet.precision) or 1.0)
    shares = {THIS_APPLIANCE: own, THIS_MODEL: (1 - own) * peers, THE_FLEET: (1 - own) * (1 - peers)}
    return max(shares, key=lambda name: shares[name])


def _response(mean: _Belief, based_on: str, spread: _Variances, steps: int) -> Response:
    factor = float(student_t.ppf((1 + PROBABILITY) / 2, spread.freedom))
    reach = factor * math.sqrt(mean.variance)
    predictive = math.sqrt(mean.variance + spread.within)
    return Response(mean.mean, mean.mean - reach, mean.mean + reach, predictive, factor, based_on, steps)
