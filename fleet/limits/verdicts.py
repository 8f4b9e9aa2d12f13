"""What an evaluation says: verdicts, frozen, strictest first; and which of a visit's verdicts stand."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

OUTSIDE, CANNOT_TELL, NOT_JUDGED, WITHIN = "outside", "cannot_tell", "not_judged", "within"
# What a verdict takes from its row of the card as it stands.
COPIED = (
    *("kind", "limit_id", "quantity", "label", "basis", "unit", "lower", "upper", "keeps", "severity", "rank"),
    *("action", "asks", "set_id", "set_name", "set_version", "evidence", "review", "reviewed_by"),
    *("decision_rule", "provable"),
)
OUTCOMES = (OUTSIDE, CANNOT_TELL, NOT_JUDGED, WITHIN)


@dataclass(frozen=True, init=False)
class Verdict:
    """One reading against one row of the card; a mapping by its field names as well.

    reading_key, rate, phase : of the reading; None where no reading of the visit could be judged.
    value : in `unit` and on `basis`; qualifier "=", "more_than", "less_than", or "at_least" where the true
        figure is known only to be no lower. lower, upper : the figures it must keep, None on an open side.
    outcome : "within", "outside", "not_judged" or "cannot_tell"; stop : this ends the firing.
    label, keeps : what was read and what it must keep, each a code and its figures as JSON has them; keeps None where
        there is nothing to keep. reasons : the same, why it wasn't judged or can't be decided, or what to know about
        an "outside". What they are in words stands in `fleet.presentation.verdicts`.
    severity : how grave the source calls it; action : what it asks for in its own words, asks : the code of what we do.
    review : "reviewed" by `reviewed_by`, "unreviewed", or empty for what is no set.
    provable : of a target's band, whether any reading can prove it at 95 % with the analyser's recorded accuracy;
        None elsewhere and without one.
    conformity : probability that the true value keeps the figures (JCGM 106:2012, 7.4) by that accuracy; None
        without one, for words, for a qualified or doubtful value. Both are side figures and decide nothing.
    """

    reading_key: str | None
    rate: str | None
    phase: str | None
    kind: str
    limit_id: str
    quantity: str
    label: list[Any]
    basis: str
    value: float | str | None
    qualifier: str
    unit: str
    lower: float | None
    upper: float | None
    keeps: list[Any] | None
    outcome: str
    severity: str
    rank: int
    action: str
    asks: str
    set_id: str
    set_name: str
    set_version: str
    evidence: str
    review: str
    reviewed_by: str
    decision_rule: str
    provable: bool | None
    reasons: list[list[Any]]
    stop: bool
    conformity: float | None

    def __init__(self, fields: Mapping[str, Any]) -> None:
        """All fields by name, ValueError otherwise; the generated alternative takes half of a visit's evaluation."""
        if len(fields) != len(self.__dataclass_fields__):
            raise ValueError(f"fields must be {', '.join(self.__dataclass_fields__)}, not {', '.join(fields)}")
        vars(self).update(fields)

    def as_json(self) -> dict[str, Any]:
        """Plain data, as the evaluator's port gives it."""
        return dict(vars(self))


@dataclass(frozen=True)
class Verdicts:
    """All verdicts on a visit's readings, strictest first."""

    verdicts: tuple[Verdict, ...]

    @property
    def findings(self) -> tuple[Verdict, ...]:
        """Only what fired, strictest first."""
        return tuple(verdict for verdict in self.verdicts if verdict.outcome == OUTSIDE)

    @property
    def strictest(self) -> Verdict | None:
        """The finding whose action goes before all others; None when nothing fired."""
        return next(iter(self.findings), None)

    @property
    def stop(self) -> bool:
        """Whether anything fired that ends the firing."""
        return any(verdict.stop for verdict in self.verdicts)

    def as_json(self) -> dict[str, Any]:
        """Plain data: stop, strictest (a position in verdicts or None), verdicts."""
        return {
            "stop": self.stop,
            "strictest": 0 if self.findings else None,
            "verdicts": [verdict.as_json() for verdict in self.verdicts],
        }


def in_order(verdicts: list[Verdict]) -> tuple[Verdict, ...]:
    """What fired comes first, the strictest action before all others; otherwise the order is kept."""
    return tuple(sorted(verdicts, key=lambda verdict: (OUTCOMES.index(verdict.outcome), -verdict.rank)))


# ---- which of them stand ----

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
