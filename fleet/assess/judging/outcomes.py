"""How a visit turned out, over all limits or by one set: one rule for every page, paper and statement."""

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from fleet.coded import as_row
from fleet.limits import Card, Verdict, standing
from fleet.limits.cases import COMMON_FLUE
from fleet.limits.quantities import label
from fleet.models import Reading, WorkItem
from fleet.models.judgements import TurnedOut

# A ratio alone leaves open how much CO there was.
CO_ITSELF = ("co", "co_ppm_air_free")
COUNTED = ("as_found", "as_left")
OpenEnd = tuple[list[Any], str]


def outcome_of(verdicts: Sequence[Verdict], readings: Sequence[Reading], before_work: Collection[str]) -> TurnedOut:
    """How the appliance was left and found, over all limits.

    "outside" if anything that stands is outside; "within" only if every rate with a target was read, after the last
    work that can move it, CO was judged against the stop level at every rate read and no target or CO limit is left
    undecided; "incomplete" if something was judged within, but not all of that.
    """
    left, rates = standing(verdicts), _rates_read(readings)
    outcome, open_ends = _turned_out(left, rates, co_at=rates, before_work=before_work)
    outside = [each for each in left if each.outcome == "outside"]
    return TurnedOut(
        outcome,
        outcome_as_found(verdicts, readings),
        [list(each) for each in open_ends],
        stop=any(each.stop for each in verdicts),
        stop_as_left=any(each.stop for each in outside),
        before_work=sorted(before_work),
    )


def read_before_work(readings: Iterable[Reading], work: Iterable[WorkItem], card: Card) -> frozenset[str]:
    """Rates whose last reading came before work that can move them: it says no longer how the appliance was left.

    An adjuster moves the rate that the sheet names for it, any other work that moves combustion all of them.
    """
    last: dict[str, int] = {}
    for each in readings:
        if each.counted_phase in COUNTED and each.sampling_point != COMMON_FLUE:
            last[each.rate] = max(each.number, last.get(each.rate, 0))
    moved = [(each.after_reading, each.adjuster) for each in work if each.moves_combustion]
    return frozenset(
        rate
        for rate, number in last.items()
        if any(after >= number and card.moves(adjuster, rate) for after, adjuster in moved)
    )


def outcome_as_found(verdicts: Iterable[Verdict], readings: Sequence[Reading]) -> str:
    """The same of how it was found, by what was judged as found alone; empty where nothing was read then."""
    rates = _rates_read(readings, "as_found")
    said, _open_ends = _turned_out(standing(_found(verdicts)), rates, co_at=rates, before_work=())
    return "" if said == "not_judged" and not rates else said


def outcome_by_source(
    rows: Iterable[Verdict], readings: Sequence[Reading], before_work: Collection[str] = (), *, as_found: bool = False
) -> str:
    """The same by the verdicts of one set, sheet or the stop levels: as it was left, or as found.

    Only the stop levels are asked for CO at every rate. "cannot_tell" where nothing is outside and something can't be
    decided. Empty where the source has no verdict on what was found.
    """
    mine = list(rows)
    if as_found and not any(each.phase == "as_found" for each in mine):
        return ""
    stand, rates = standing(_found(mine) if as_found else mine), _rates_read(readings, "as_found" if as_found else "")
    is_stop_levels = any(each.kind == "stop_level" for each in mine)
    said, _open_ends = _turned_out(
        stand, rates, co_at=rates if is_stop_levels else (), before_work=() if as_found else before_work
    )
    undecidable = said != "outside" and any(each.outcome == "cannot_tell" for each in stand)
    return "cannot_tell" if undecidable else said


def _found(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """With those that no reading of the visit met."""
    return [each for each in verdicts if each.phase in ("as_found", None)]


def _turned_out(
    stand: Sequence[Verdict], rates: Sequence[str], *, co_at: Sequence[str], before_work: Collection[str]
) -> tuple[str, list[OpenEnd]]:
    """The one rule, and what is left open. rates: those read; co_at: those at which stop levels must have judged CO.

    before_work: those that weren't read again after it; only what was kept at them is left open by that.
    """
    said = {each.outcome for each in stand}
    kept_at = {each.rate for each in stand if each.outcome == "within"} & set(before_work)
    not_again: list[OpenEnd] = [(as_row("reading_after_work"), rate or "") for rate in sorted(kept_at, key=str)]
    open_ends = [*not_again, *_undecided(stand, rates, co_at)]
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
    found = [*_not_read(stand), *missing, *open_ends]
    return [each for n, each in enumerate(found) if each not in found[:n]]


def _not_read(stand: Sequence[Verdict]) -> list[OpenEnd]:
    """Targets whose rate was not read at all, unless the firing had to end."""
    if any(each.stop for each in stand):
        return []
    asked = [(each, dict(each.reasons).get("needs_reading")) for each in stand if each.kind == "band"]
    return [(each.label, str(figures["at"])) for each, figures in asked if figures]


def _rates_read(readings: Sequence[Reading], phase: str = "") -> list[str]:
    counted = (phase,) if phase else COUNTED
    return list(dict.fromkeys(each.rate for each in readings if each.counted_phase in counted))
