"""How a visit turned out, over all limits or by one set: one rule for every page, paper and statement."""

from collections.abc import Iterable, Sequence
from typing import Any

from fleet.limits import Verdict, standing
from fleet.limits.quantities import label
from fleet.models import Reading
from fleet.models.judgements import TurnedOut

# A ratio alone leaves open how much CO there was.
CO_ITSELF = ("co", "co_ppm_air_free")
OpenEnd = tuple[list[Any], str]


def outcome_of(verdicts: Sequence[Verdict], readings: Sequence[Reading]) -> TurnedOut:
    """How the appliance was left and found, over all limits.

    "outside" if anything that stands is outside; "within" only if CO was judged against the stop level at every rate
    read and no target or CO limit is left undecided; "incomplete" if something was judged within, but not all of that.
    """
    left, rates = standing(verdicts), _rates_read(readings)
    outcome, open_ends = _turned_out(left, rates, co_at=rates)
    outside = [each for each in left if each.outcome == "outside"]
    return TurnedOut(
        outcome,
        outcome_as_found(verdicts, readings),
        [list(each) for each in open_ends],
        stop=any(each.stop for each in verdicts),
        stop_as_left=any(each.stop for each in outside),
    )


def outcome_as_found(verdicts: Iterable[Verdict], readings: Sequence[Reading]) -> str:
    """The same of how it was found, by what was judged as found alone; empty where nothing was read then."""
    rates = _rates_read(readings, "as_found")
    said, _open_ends = _turned_out(standing(_found(verdicts)), rates, co_at=rates)
    return "" if said == "not_judged" and not rates else said


def outcome_by_source(rows: Iterable[Verdict], readings: Sequence[Reading], phase: str = "") -> str:
    """The same by the verdicts of one set, sheet or the stop levels: as it was left, or as found.

    Only the stop levels are asked for CO at every rate. "cannot_tell" where nothing is outside and something can't be
    decided. phase: empty where the source has no verdict in it.
    """
    mine = list(rows)
    if phase and not any(each.phase == phase for each in mine):
        return ""
    as_found = phase == "as_found"
    stand, rates = standing(_found(mine) if as_found else mine), _rates_read(readings, phase if as_found else "")
    is_stop_levels = any(each.kind == "stop_level" for each in mine)
    said, _open_ends = _turned_out(stand, rates, co_at=rates if is_stop_levels else ())
    undecidable = said != "outside" and any(each.outcome == "cannot_tell" for each in stand)
    return "cannot_tell" if undecidable else said


def _found(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """With those that no reading of the visit met."""
    return [each for each in verdicts if each.phase in ("as_found", None)]


def _turned_out(stand: Sequence[Verdict], rates: Sequence[str], *, co_at: Sequence[str]) -> tuple[str, list[OpenEnd]]:
    """The one rule, and what is left open. rates: those read; co_at: those at which stop levels must have judged CO."""
    said = {each.outcome for each in stand}
    open_ends = _undecided(stand, rates, co_at)
    if "outside" in said:
        return "outside", open_ends
    if "within" not in said or not rates:
        return "not_judged", open_ends
    return ("incomplete" if open_ends else "within"), open_ends


def _undecided(stand: Sequence[Verdict], rates: Sequence[str], co_at: Sequence[str]) -> list[OpenEnd]:
    """What keeps a visit from being called within: CO not judged at a rate, or a target or CO limit undecided.

    A source that limits CO and could judge it nowhere leaves it open, whatever else of it was kept.
    """
    co = [each for each in stand if each.quantity in CO_ITSELF]
    judged_at = {each.rate for each in co if each.kind == "stop_level" and each.outcome == "within"}
    missing = [(label("co", None), rate) for rate in co_at if rate not in judged_at]
    if not co_at and co and all(each.outcome == "not_judged" for each in co):
        missing = [(label("co", None), "")]
    open_ends = [
        (each.label, each.rate or "")
        for each in stand
        if each.outcome in ("not_judged", "cannot_tell")
        and (each.kind in ("band", "order") or each.quantity in CO_ITSELF)
        and (each.kind == "order" or each.rate in rates)
    ]
    found = [*missing, *open_ends]
    return [each for n, each in enumerate(found) if each not in found[:n]]


def _rates_read(readings: Sequence[Reading], phase: str = "") -> list[str]:
    counted = (phase,) if phase else ("as_found", "as_left")
    return list(dict.fromkeys(each.rate for each in readings if each.counted_phase in counted))
