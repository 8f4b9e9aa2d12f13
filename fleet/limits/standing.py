"""What a visit says of an appliance as it was left: for each limit at each rate the last word that counts."""

from collections.abc import Iterable
from typing import Any

from fleet.limits.verdicts import OUTSIDE, WITHIN, Verdict

JUDGED = (OUTSIDE, WITHIN)


def standing(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """For each limit at each rate the last judged verdict as left; the last one as found where none was judged.

    So a finding as found is put right only by a judged reading as left of the same limit at the same rate: not by
    silence, not by another rate, not by a reading that could not be judged. Readings between adjustments describe
    neither state. A limit that was never judged stands with its last word, the reason. In the room, where no rate is
    told apart, the worst of a state counts: clear air after firing doesn't undo what was there before it.
    """
    last: dict[tuple[Any, ...], Verdict] = {}
    counted = (each for each in verdicts if each.phase in ("as_found", "as_left", None))
    for each in sorted(counted, key=_order):
        key = (each.kind, each.set_id, each.limit_id, each.quantity, each.rate)
        before = last.get(key)
        if before is None or before.outcome not in JUDGED or (each.outcome in JUDGED and _follows(each, before)):
            last[key] = each
    return list(last.values())


def _follows(verdict: Verdict, before: Verdict) -> bool:
    """Whether a judged verdict takes the place of the judged one before it."""
    worst_of_the_room = verdict.rate is None and verdict.phase == before.phase and before.outcome == OUTSIDE
    return not worst_of_the_room


def _order(verdict: Verdict) -> tuple[int, float]:
    """As left after as found; within a phase by the reading's number. What has no phase (a limit that no reading
    met) comes first."""
    phase = {"as_found": 1, "as_left": 2}.get(verdict.phase or "", 0)
    number, _, of_series = str(verdict.reading_key or "").partition(" ")
    # What a reading's series condemned stands after the reading itself.
    return phase, float(number) + (0.5 if of_series else 0.0) if number.isdigit() else 0.0
