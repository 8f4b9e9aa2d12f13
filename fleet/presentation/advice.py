"""Advice on a reading as the technician reads it: what to do, or why nothing is advised."""

import math
from fractions import Fraction

from django.utils.translation import gettext as _

from fleet.limits import Advice, Verdict
from fleet.limits.quantities import figure
from fleet.presentation.codes import label_words
from fleet.presentation.figures import limit_figure
from fleet.presentation.verdicts import action_words, keeps_words, reason_words, verdict_sentence
from fleet.presentation.words import rate_words, within_ours

# As fine as a screw can be turned by eye: common practice, no source.
SMALLEST_TURN = Fraction(1, 16)


def advice_words(advice: Advice) -> str:
    """The advice in whole sentences."""
    figures = advice.figures
    if advice.action == "withheld":
        return _("No advice: %s.") % withheld_words(advice)
    if advice.action == "stop":
        said = {"finding": verdict_sentence(figures["verdict"]), "action": action_words(figures["verdict"]).rstrip(".")}
        return _("%(finding)s End the firing: %(action)s.") % said
    stands = {"stands": _stands(figures["verdict"], figures["target"]), "band": keeps_words(figures["verdict"].keeps)}
    if advice.action == "none":
        return _("No adjustment needed: %(stands)s, band %(band)s %%.") % stands
    if advice.action == "investigate":
        words = {
            "co_is_out": _("%(stands)s, inside its band, yet %(finding)s Look for the cause before turning anything."),
            "order_is_broken": _(
                "%(stands)s, inside its band, yet %(finding)s Read both rates again before turning anything."
            ),
        }
        return words[advice.code] % (stands | {"finding": verdict_sentence(figures["finding"])})
    return _instruction(advice, stands)


def withheld_words(advice: Advice) -> str | None:
    """Why there is no advice; None where there is."""
    if advice.action != "withheld":
        return None
    if advice.code == "not_judged":
        return reason_words(advice.figures["verdict"])
    words = {
        "no_target": _("no target for this reading at %(rate)s"),
        "self_adapting": _("the burner adapts itself: look for the cause instead of adjusting"),
        "no_adjuster": _("the sheet names no adjuster for %(rate)s"),
        "check_only": _("the manufacturer forbids adjusting %(adjuster)s in the field"),
        "not_qualified": _("the person isn't recorded as qualified for this adjustment"),
        "co_not_read": _("no CO read: CO2 alone can't tell lean from rich"),
        "other_way": _("the first step moved CO2 the other way than the sheet says: look before turning on"),
    }
    return words[advice.code] % {**advice.figures, "rate": rate_words(advice.figures.get("rate") or "")}


def _stands(band: Verdict, target: float | None) -> str:
    """Where the reading is, and how far from its target."""
    value = figure(band.value, band.quantity, band.lower, band.upper)
    said = {"label": label_words(band.label), "value": value, "rate": rate_words(band.rate or "")}
    if target is None or not isinstance(band.value, float):
        return _("%(label)s %(value)s %% at %(rate)s") % said
    gap = band.value - target
    if abs(gap) < 5e-4:
        return _("%(label)s %(value)s %% at %(rate)s is on its target") % said
    said |= {"gap": figure(abs(gap), band.quantity, 0.0), "target": limit_figure(target, 0)}
    if gap > 0:
        return _("%(label)s %(value)s %% at %(rate)s is %(gap)s points above its target %(target)s %%") % said
    return _("%(label)s %(value)s %% at %(rate)s is %(gap)s points below its target %(target)s %%") % said


def _instruction(advice: Advice, stands: dict[str, str]) -> str:
    adjuster, rate = advice.figures["adjuster"], advice.figures["verdict"].rate
    largest, others = within_ours(adjuster.largest_step), advice.figures["other_rates"]
    if not largest and adjuster.largest_step_turns:
        largest = _("%s turns") % f"{adjuster.largest_step_turns:g}"
    said = stands | {
        "adjuster": adjuster.name,
        "place": f" ({within_ours(adjuster.place)})" if adjuster.place else "",
        "turning": _turning(advice),
        "step": _(", at most %s at a time") % largest if largest else "",
        "tool": _(" with %s") % within_ours(adjuster.tool) if adjuster.tool else "",
        "rate": rate_words(rate),
        # This rate first, then every other: their settings act on one another.
        "then": _(", then %s") % _(" and ").join(map(rate_words, others)) if others else "",
        "stop": limit_figure(advice.figures["stop_co_ppm_air_free"], 0),
    }
    words = [
        _("%(stands)s, band %(band)s %%: turn %(adjuster)s%(place)s %(turning)s%(step)s%(tool)s.") % said,
        _("Let it settle and read %(rate)s again%(then)s.") % said,
        _("End the firing if CO air-free passes %(stop)s ppm or climbs.") % said,
        _("Only %s may touch it.") % within_ours(adjuster.who) if adjuster.who else "",
        _("Afterwards: %s.") % within_ours(adjuster.reseal) if adjuster.reseal else "",
    ]
    return " ".join(filter(None, words))


def _turning(advice: Advice) -> str:
    """Which way, and how far as far as that is known."""
    way = {"clockwise": _("clockwise"), "anticlockwise": _("anticlockwise")}
    said = {"way": way[advice.direction or ""]}
    if advice.turns is None or advice.turns_low is None or advice.turns_high is None:
        first = advice.figures["is_first_step"]
        return (_("%(way)s by a small first step") if first else _("%(way)s by a small step")) % said
    said["turns"] = turn_words(advice.turns, advice.figures["adjuster"].largest_step_turns)
    if advice.turns_low >= advice.turns_high:
        return _("%(way)s about %(turns)s") % said
    said |= {"low": f"{advice.turns_low:.2g}", "high": f"{advice.turns_high:.2g}"}
    return _("%(way)s about %(turns)s (%(low)s to %(high)s)") % said


def turn_words(turns: float, largest: float | None) -> str:
    """In sixteenths, never beyond the largest step.

    >>> turn_words(0.13, None), turn_words(1.24, None), turn_words(0.1, 0.1), turn_words(0.02, None)
    ('1/8 turn', '1 1/4 turns', '1/16 turn', 'less than 1/16 turn')
    """
    sixteenths = round(turns / SMALLEST_TURN)
    if largest is not None:
        sixteenths = min(sixteenths, math.floor(largest / SMALLEST_TURN))
    if sixteenths < 1:
        return _("less than %s turn") % SMALLEST_TURN
    whole, part = divmod(sixteenths * SMALLEST_TURN, 1)
    shown = " ".join(str(each) for each in (whole, part) if each)
    return (_("%s turn") if sixteenths * SMALLEST_TURN <= 1 else _("%s turns")) % shown
