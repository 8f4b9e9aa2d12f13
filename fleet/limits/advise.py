"""Which adjuster to turn and which way, or why no such advice is given. Stop rules come first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.limits.evaluate import evaluate
from fleet.limits.sentences import figure
from fleet.limits.verdicts import CANNOT_TELL, NOT_JUDGED, OUTSIDE, Verdict, Verdicts

Card = Mapping[str, Any]

OPPOSITE = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise"}
CO_FINDINGS = ("co", "co_air_free", "co_co2_ratio", "co_trend_in_test")


@dataclass(frozen=True)
class Advice:
    """What to do next with one reading.

    action : "stop", "none" (in the band), "investigate" (in the band, yet CO is out), "adjust" or "withheld".
    adjuster, direction : name of the adjuster and "clockwise" or "counter-clockwise", only with "adjust".
    sentence : for the technician. withheld_reason : why there is no advice, only with "withheld".
    """

    action: str
    adjuster: str | None
    direction: str | None
    sentence: str
    withheld_reason: str | None = None


def advise(
    card: Card, reading: Mapping[str, Any], *, qualified: bool, earlier: Sequence[Mapping[str, Any]] = ()
) -> Advice:
    """Advice on one reading, judged by its card together with the visit's earlier readings.

    A stop finding of any reading ends the advice. Then: on a reading that can't be judged against its target
    advice is withheld with the reason; one inside its band needs no adjustment, and the distance from the
    target is told; one outside names the adjuster of that rate unless the person isn't qualified, the burner
    adapts itself, the maker forbids field adjustment, or CO wasn't read: CO2 alone can't tell lean from rich.
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
    return _adjust(card, band, reading, qualified=qualified)


def _stop(verdicts: Verdicts) -> Advice:
    first = next(verdict for verdict in verdicts.findings if verdict.stop)
    return Advice("stop", None, None, f"{first.sentence} End the firing: {first.action.rstrip('.')}.")


def _band_verdict(verdicts: Verdicts, reading: Mapping[str, Any]) -> Verdict | None:
    """The verdict on the target; one that was judged goes before one that wasn't."""
    own = [v for v in verdicts.verdicts if v.kind == "band" and v.reading_key == reading.get("key")]
    judged = [verdict for verdict in own if verdict.outcome != NOT_JUDGED]
    return next(iter(judged or own), None)


def _unusable(band: Verdict | None, reading: Mapping[str, Any]) -> str:
    if reading.get("steady") is False:
        return "the reading is not steady"
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
    return Advice("none", None, None, f"No adjustment needed: {stands}, band {band.limit_text} %.")


def _stands(card: Card, band: Verdict) -> str:
    return f"{band.label} {figure(band.value)} % at {band.rate}{_distance(card, band)}"


def _distance(card: Card, band: Verdict) -> str:
    target = _target(card, band)
    if target is None or not isinstance(band.value, float):
        return ""
    gap = band.value - target
    side = "above" if gap > 0 else "below"
    on_target = abs(gap) < 5e-4
    return (
        " is on its target" if on_target else f" is {figure(abs(round(gap, 3)))} points {side} its target {target:g} %"
    )


def _target(card: Card, band: Verdict) -> float | None:
    row = next(row for row in card["bands"] if row["limit_id"] == band.limit_id)
    return None if row["target"] is None else float(row["target"])


def _adjust(card: Card, band: Verdict, reading: Mapping[str, Any], *, qualified: bool) -> Advice:
    adjuster = _adjuster_for(card, band.rate)
    if reason := _forbidden(card, adjuster, reading, qualified=qualified):
        return _withheld(reason)
    assert adjuster is not None  # no adjuster is one of the reasons above
    direction = adjuster["raises_co2"] if _raise_co2(band) else OPPOSITE[adjuster["raises_co2"]]
    return Advice("adjust", adjuster["name"], direction, _instruction(card, band, adjuster, direction))


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


def _instruction(card: Card, band: Verdict, adjuster: Mapping[str, Any], direction: str) -> str:
    step = f", at most {adjuster['largest_step']} at a time" if adjuster["largest_step"] else ""
    place = f" ({adjuster['place']})" if adjuster["place"] else ""
    tool = f" with {adjuster['tool']}" if adjuster["tool"] else ""
    who = f" Only {adjuster['who']} may touch it." if adjuster["who"] else ""
    seal = f" Afterwards: {adjuster['reseal']}." if adjuster["reseal"] else ""
    return (
        f"{_stands(card, band)}, band {band.limit_text} %: "
        f"turn {adjuster['name']}{place} {direction}{step}{tool}. "
        f"Let it settle and read {_read_again(card, band)}. "
        f"End the firing if CO air-free passes {_stop_co(card):g} ppm or climbs.{who}{seal}"
    )


def _read_again(card: Card, band: Verdict) -> str:
    """This rate first, then every other: their settings act on one another."""
    others = [rate for rate in card["sheet"]["rates"] if rate != band.rate]
    return f"{band.rate} again" + (f", then {' and '.join(others)}" if others else "")


def _stop_co(card: Card) -> float:
    return next(float(row["limit"]) for row in card["stop_lines"] if row["quantity"] == "co_air_free")
