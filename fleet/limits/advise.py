"""Which adjuster to turn and which way, or why no such advice is given. Stop rules come first."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from fleet.limits.evaluate import evaluate
from fleet.limits.learned import Response, Step, agrees, turns_for
from fleet.limits.sentences import figure
from fleet.limits.verdicts import CANNOT_TELL, NOT_JUDGED, OUTSIDE, Verdict, Verdicts
from fleet.numerals import limit_figure

Card = Mapping[str, Any]

OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
CO_FINDINGS = ("co", "co_air_free", "co_co2_ratio", "co_trend_in_test")
OTHER_WAY = "the first step moved CO2 the other way than the sheet says: look before turning on"
# As fine as a screw can be turned by eye: common practice, no source.
SMALLEST_TURN = Fraction(1, 16)


@dataclass(frozen=True)
class Advice:
    """What to do next with one reading.

    action : "stop", "none" (in the band), "investigate" (in the band, yet CO is out), "adjust" or "withheld".
    adjuster, direction : name of the adjuster and "clockwise" or "anticlockwise", only with "adjust".
    sentence : for the technician. withheld_reason : why there is no advice, only with "withheld".
    turns, turns_low, turns_high : about how far in that direction and between what, never beyond the largest step;
        None where the response isn't known, or this visit's own first step hasn't agreed with it.
    """

    action: str
    adjuster: str | None
    direction: str | None
    sentence: str
    withheld_reason: str | None = None
    turns: float | None = None
    turns_low: float | None = None
    turns_high: float | None = None


def advise(
    card: Card,
    reading: Mapping[str, Any],
    *,
    qualified: bool,
    earlier: Sequence[Mapping[str, Any]] = (),
    response: Response | None = None,
    first_step: Step | None = None,
) -> Advice:
    """Advice on one reading, judged by its card together with the visit's earlier readings.

    response : what was learned of the adjuster of this rate. first_step : what the visit's own first turn of it did,
    positive turns being the direction that the sheet says raises CO2.

    A stop finding of any reading ends the advice. Then: on a reading that can't be judged against its target
    advice is withheld with the reason; one inside its band needs no adjustment, and the distance from the
    target is told; one outside names the adjuster of that rate unless the person isn't qualified, the burner
    adapts itself, the maker forbids field adjustment, or CO wasn't read: CO2 alone can't tell lean from rich. About
    how far is told only after a first step that agrees with what was learned; after one that went the other way
    nothing is.
    """
    verdicts = evaluate(card, [*earlier, reading])
    if verdicts.stop:
        return _stop(verdicts)
    band = _band_verdict(verdicts, reading)
    reason = _unusable(band, reading)
    if reason or band is None:
        return _withheld(reason)
    if band.outcome != OUTSIDE:
        return _in_band(card, band, verdicts, reading)
    advice = _adjust(card, band, reading, qualified=qualified, first_step=first_step)
    if advice.action != "adjust" or response is None or first_step is None:
        return advice
    return _with_turns(card, band, advice, response, first_step)


def _stop(verdicts: Verdicts) -> Advice:
    first = next(verdict for verdict in verdicts.findings if verdict.stop)
    return Advice("stop", None, None, f"{first.sentence} End the firing: {first.action.rstrip('.')}.")


def _band_verdict(verdicts: Verdicts, reading: Mapping[str, Any]) -> Verdict | None:
    """The verdict on the target; one that was judged goes before one that wasn't."""
    own = [v for v in verdicts.verdicts if v.kind == "band" and v.reading_key == reading.get("key")]
    judged = [verdict for verdict in own if verdict.outcome != NOT_JUDGED]
    return next(iter(judged or own), None)


def _unusable(band: Verdict | None, reading: Mapping[str, Any]) -> str:
    if band is None:
        return f"no target for this reading at {reading.get('rate')}"
    return band.reason if band.outcome in (NOT_JUDGED, CANNOT_TELL) else ""


def _withheld(reason: str) -> Advice:
    return Advice("withheld", None, None, f"No advice: {reason}.", reason)


def _in_band(card: Card, band: Verdict, verdicts: Verdicts, reading: Mapping[str, Any]) -> Advice:
    co = [v for v in verdicts.findings if v.quantity in CO_FINDINGS and v.reading_key == reading.get("key")]
    stands = _stands(card, band)
    if co:
        text = f"{stands}, inside its band, yet {co[0].sentence} Look for the cause before turning anything."
        return Advice("investigate", None, None, text)
    if order := _broken_order(card, verdicts, reading):
        text = f"{stands}, inside its band, yet {order.sentence} Read both rates again before turning anything."
        return Advice("investigate", None, None, text)
    return Advice("none", None, None, f"No adjustment needed: {stands}, band {band.limit_text} %.")


def _broken_order(card: Card, verdicts: Verdicts, reading: Mapping[str, Any]) -> Verdict | None:
    """The order between this rate and another that the readings of this phase break."""
    concerned = [row["limit_id"] for row in card["orders"] if reading.get("rate") in row["rates"]]
    broken = [v for v in verdicts.findings if v.kind == "order" and v.phase == reading.get("phase")]
    return next((verdict for verdict in broken if verdict.limit_id in concerned), None)


def _stands(card: Card, band: Verdict) -> str:
    value = figure(band.value, band.quantity, band.lower, band.upper)
    return f"{band.label} {value} % at {band.rate}{_distance(card, band)}"


def _distance(card: Card, band: Verdict) -> str:
    target = _target(card, band)
    if target is None or not isinstance(band.value, float):
        return ""
    gap = band.value - target
    side = "above" if gap > 0 else "below"
    on_target = abs(gap) < 5e-4
    return (
        " is on its target"
        if on_target
        else f" is {figure(abs(gap), band.quantity, 0.0)} points {side} its target {limit_figure(target, 0)} %"
    )


def _target(card: Card, band: Verdict) -> float | None:
    row = next(row for row in card["bands"] if row["limit_id"] == band.limit_id)
    return None if row["target"] is None else float(row["target"])


def _adjust(
    card: Card, band: Verdict, reading: Mapping[str, Any], *, qualified: bool, first_step: Step | None
) -> Advice:
    adjuster = _adjuster_for(card, band.rate)
    if reason := _forbidden(card, adjuster, reading, qualified=qualified):
        return _withheld(reason)
    if first_step is not None and first_step.points_per_turn < 0:
        return _withheld(OTHER_WAY)
    assert adjuster is not None  # no adjuster is one of the reasons above
    direction = adjuster["raises_co2"] if _raise_co2(band) else OPPOSITE[adjuster["raises_co2"]]
    how_far = "by a small first step" if first_step is None else "by a small step"
    return Advice("adjust", adjuster["name"], direction, _instruction(card, band, adjuster, f"{direction} {how_far}"))


def _with_turns(card: Card, band: Verdict, advice: Advice, response: Response, first_step: Step) -> Advice:
    """The same advice with about how far to turn, if the visit's first step did what was learned."""
    adjuster = _adjuster_for(card, band.rate)
    if adjuster is None or band.qualifier != "=" or not agrees(response, first_step):
        return advice
    largest = adjuster["largest_step_turns"]
    signed = turns_for(response, _co2_gap_pts(card, band), largest)
    if math.isnan(signed[0]):
        return advice
    turns, (least, most) = abs(signed[0]), sorted(map(abs, signed[1:]))
    between = f" ({least:.2g} to {most:.2g})" if least < most else ""
    how_far = f"about {_turn_words(turns, largest)}{between}"
    text = _instruction(card, band, adjuster, f"{advice.direction} {how_far}")
    return replace(advice, sentence=text, turns=turns, turns_low=least, turns_high=most)


def _co2_gap_pts(card: Card, band: Verdict) -> float:
    """Points of CO2 between the reading and its target, or the middle of a band without one; an O2 along the fuel's
    line. Which way is told apart. NaN where the band is open on one side and has no target."""
    ends = (band.lower, band.upper)
    middle = math.nan if None in ends else sum(end for end in ends if end is not None) / 2
    target = _target(card, band)
    gap = (middle if target is None else target) - float(band.value or 0)
    fuel = card["fuel"]
    slope = (fuel["co2_max_pct"] - fuel["co2_air_pct"]) / fuel["o2_air_pct"]
    return gap if band.quantity == "co2" else gap * slope


def _turn_words(turns: float, largest: float | None) -> str:
    """In sixteenths, never beyond the largest step.

    >>> _turn_words(0.13, None), _turn_words(1.24, None), _turn_words(0.1, 0.1), _turn_words(0.02, None)
    ('1/8 turn', '1 1/4 turns', '1/16 turn', 'less than 1/16 turn')
    """
    sixteenths = round(turns / SMALLEST_TURN)
    if largest is not None:
        sixteenths = min(sixteenths, math.floor(largest / SMALLEST_TURN))
    if sixteenths < 1:
        return f"less than {SMALLEST_TURN} turn"
    whole, part = divmod(sixteenths * SMALLEST_TURN, 1)
    shown = " ".join(str(each) for each in (whole, part) if each)
    return f"{shown} turn" if sixteenths * SMALLEST_TURN <= 1 else f"{shown} turns"


def _adjuster_for(card: Card, rate: str | None) -> Mapping[str, Any] | None:
    return next((a for a in card["adjusters"] if a["rate"] in (rate, "any")), None)


def _forbidden(card: Card, adjuster: Mapping[str, Any] | None, reading: Mapping[str, Any], *, qualified: bool) -> str:
    if card["sheet"]["control"] == "self-adapting":
        return "the burner adapts itself: look for the cause instead of adjusting"
    if adjuster is None:
        return f"the sheet names no adjuster for {reading.get('rate')}"
    if adjuster["field_adjustment"] == "check only":
        return f"the maker forbids adjusting {adjuster['name']} in the field"
    if not qualified:
        return "the person isn't recorded as qualified for this adjustment"
    return "" if reading.get("co_ppm") is not None else "no CO read: CO2 alone can't tell lean from rich"


def _raise_co2(band: Verdict) -> bool:
    """Whether the mixture must become richer: CO2 too low, or O2 too high."""
    value = band.value
    too_low = isinstance(value, float) and band.lower is not None and value < band.lower
    return too_low == (band.quantity == "co2")


def _instruction(card: Card, band: Verdict, adjuster: Mapping[str, Any], turning: str) -> str:
    """turning : which way, and how far as far as that is known."""
    largest = adjuster["largest_step"]
    if not largest and adjuster["largest_step_turns"]:
        largest = f"{adjuster['largest_step_turns']:g} turns"
    step = f", at most {largest} at a time" if largest else ""
    place = f" ({adjuster['place']})" if adjuster["place"] else ""
    tool = f" with {adjuster['tool']}" if adjuster["tool"] else ""
    who = f" Only {adjuster['who']} may touch it." if adjuster["who"] else ""
    seal = f" Afterwards: {adjuster['reseal']}." if adjuster["reseal"] else ""
    return (
        f"{_stands(card, band)}, band {band.limit_text} %: "
        f"turn {adjuster['name']}{place} {turning}{step}{tool}. "
        f"Let it settle and read {_read_again(card, band)}. "
        f"End the firing if CO air-free passes {limit_figure(_stop_co(card), 0)} ppm or climbs.{who}{seal}"
    )


def _read_again(card: Card, band: Verdict) -> str:
    """This rate first, then every other: their settings act on one another."""
    others = [rate for rate in card["sheet"]["rates"] if rate != band.rate]
    return f"{band.rate} again" + (f", then {' and '.join(others)}" if others else "")


def _stop_co(card: Card) -> float:
    return next(float(row["limit"]) for row in card["stop_lines"] if row["quantity"] == "co_air_free")
