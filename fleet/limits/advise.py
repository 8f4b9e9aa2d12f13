"""Which adjuster to turn and which way, or why no such advice is given. Stop rules come first."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fleet.limits.card import Adjuster, Card
from fleet.limits.evaluate import evaluate
from fleet.limits.learned import Response, Step, agrees, turns_for
from fleet.limits.verdicts import CANNOT_TELL, NOT_JUDGED, OUTSIDE, Verdict, Verdicts

OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
CO_FINDINGS = ("co", "co_ppm_air_free", "co_co2_ratio", "co_trend_in_test")


@dataclass(frozen=True)
class Advice:
    """What to do next with one reading.

    action : "stop", "none" (in the band), "investigate" (in the band, yet CO is out), "adjust" or "withheld".
    adjuster, direction : name of the adjuster and "clockwise" or "anticlockwise", only with "adjust".
    code : why it is withheld, or what asks for the cause; empty otherwise. figures : what the advice names, among it
        the verdict it rests on; in words it stands in `fleet.presentation.advice`.
    turns, turns_low, turns_high : about how far in that direction and between what, never beyond the largest step;
        None where the response isn't known, or this visit's own first step hasn't agreed with it.
    """

    action: str
    adjuster: str | None
    direction: str | None
    code: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)
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

    A stop finding of any reading ends the advice. Then: on a reading that can't be judged against its target advice is
    withheld with the reason; one inside its band needs no adjustment, and the distance from the target is told; one
    outside names the adjuster of that rate unless the person isn't qualified, the burner adapts itself, the
    manufacturer forbids field adjustment, or CO wasn't read: CO2 alone can't tell lean from rich. About how far is told
    only after a first step that agrees with what was learned; after one that went the other way nothing is.
    """
    verdicts = evaluate(card, [*earlier, reading])
    if verdicts.stop:
        return _stop(verdicts)
    band = _band_verdict(verdicts, reading)
    if band is None:
        return _withheld("no_target", rate=reading.get("rate"))
    if band.outcome in (NOT_JUDGED, CANNOT_TELL):
        return _withheld("not_judged", verdict=band)
    if band.outcome != OUTSIDE:
        return _in_band(card, band, verdicts, reading)
    advice = _adjust(card, band, reading, qualified=qualified, first_step=first_step)
    if advice.action != "adjust" or response is None or first_step is None:
        return advice
    return _with_turns(card, band, advice, response, first_step)


def _stop(verdicts: Verdicts) -> Advice:
    first = next(verdict for verdict in verdicts.findings if verdict.stop)
    return Advice("stop", None, None, figures={"verdict": first})


def _band_verdict(verdicts: Verdicts, reading: Mapping[str, Any]) -> Verdict | None:
    """The verdict on the target; one that was judged goes before one that wasn't."""
    own = [v for v in verdicts.verdicts if v.kind == "band" and v.reading_key == reading.get("key")]
    judged = [verdict for verdict in own if verdict.outcome != NOT_JUDGED]
    return next(iter(judged or own), None)


def _withheld(code: str, **figures: Any) -> Advice:
    return Advice("withheld", None, None, code, figures)


def _in_band(card: Card, band: Verdict, verdicts: Verdicts, reading: Mapping[str, Any]) -> Advice:
    co = [v for v in verdicts.findings if v.quantity in CO_FINDINGS and v.reading_key == reading.get("key")]
    stands = {"verdict": band, "target": _target(card, band)}
    if co:
        return Advice("investigate", None, None, "co_is_out", stands | {"finding": co[0]})
    if order := _broken_order(card, verdicts, reading):
        return Advice("investigate", None, None, "order_is_broken", stands | {"finding": order})
    return Advice("none", None, None, figures=stands)


def _broken_order(card: Card, verdicts: Verdicts, reading: Mapping[str, Any]) -> Verdict | None:
    """The order between this rate and another that the readings of this phase break."""
    concerned = [row.limit_id for row in card.orders if reading.get("rate") in (row.rates or ())]
    broken = [v for v in verdicts.findings if v.kind == "order" and v.phase == reading.get("phase")]
    return next((verdict for verdict in broken if verdict.limit_id in concerned), None)


def _target(card: Card, band: Verdict) -> float | None:
    row = next(row for row in card.bands if row.limit_id == band.limit_id)
    return None if row.target is None else float(row.target)


def _adjust(
    card: Card, band: Verdict, reading: Mapping[str, Any], *, qualified: bool, first_step: Step | None
) -> Advice:
    adjuster = _adjuster_for(card, band.rate)
    if code := _forbidden(card, adjuster, reading, qualified=qualified):
        return _withheld(code, rate=reading.get("rate"), adjuster=adjuster.name if adjuster else "")
    if first_step is not None and first_step.points_per_turn < 0:
        return _withheld("other_way")
    assert adjuster is not None  # no adjuster is one of the reasons above
    direction = adjuster.raises_co2 if _raise_co2(band) else OPPOSITE[adjuster.raises_co2]
    figures = {
        "verdict": band,
        "target": _target(card, band),
        "adjuster": adjuster,
        "is_first_step": first_step is None,
        "other_rates": [rate for rate in card.sheet.rates if rate != band.rate],
        "stop_co_ppm_air_free": _stop_co(card),
    }
    return Advice("adjust", adjuster.name, direction, figures=figures)


def _with_turns(card: Card, band: Verdict, advice: Advice, response: Response, first_step: Step) -> Advice:
    """The same advice with about how far to turn, if the visit's first step did what was learned."""
    adjuster = _adjuster_for(card, band.rate)
    if adjuster is None or band.qualifier != "=" or not agrees(response, first_step):
        return advice
    largest = adjuster.largest_step_turns
    signed = turns_for(response, _co2_gap_pts(card, band), largest)
    if math.isnan(signed[0]):
        return advice
    least, most = sorted(map(abs, signed[1:]))
    return replace(advice, turns=abs(signed[0]), turns_low=least, turns_high=most)


def _co2_gap_pts(card: Card, band: Verdict) -> float:
    """Points of CO2 between the reading and its target, or the middle of a band without one; an O2 along the fuel's
    line. Which way is told apart. NaN where the band is open on one side and has no target."""
    ends = (band.lower, band.upper)
    middle = math.nan if None in ends else sum(end for end in ends if end is not None) / 2
    target = _target(card, band)
    gap = (middle if target is None else target) - float(band.value or 0)
    fuel = card.fuel
    slope = (fuel.co2_max_pct - fuel.co2_air_pct) / fuel.o2_air_pct
    return gap if band.quantity == "co2" else gap * slope


def _adjuster_for(card: Card, rate: str | None) -> Adjuster | None:
    return next((a for a in card.adjusters if a.rate in (rate, "any")), None)


def _forbidden(card: Card, adjuster: Adjuster | None, reading: Mapping[str, Any], *, qualified: bool) -> str:
    """The code of what forbids it; empty where nothing does."""
    if card.sheet.control == "self_adapting":
        return "self_adapting"
    if adjuster is None:
        return "no_adjuster"
    if adjuster.field_adjustment == "check_only":
        return "check_only"
    if not qualified:
        return "not_qualified"
    return "" if reading.get("co_ppm") is not None else "co_not_read"


def _raise_co2(band: Verdict) -> bool:
    """Whether the mixture must become richer: CO2 too low, or O2 too high."""
    value = band.value
    too_low = isinstance(value, float) and band.lower is not None and value < band.lower
    return too_low == (band.quantity == "co2")


def _stop_co(card: Card) -> float:
    return next(float(row.limit) for row in card.stop_levels if row.quantity == "co_ppm_air_free")
