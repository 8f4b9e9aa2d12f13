"""What a statement is made of: its appliances in service, what was last recorded of each, what is due, late or open."""

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from fleet.assess.entries import EntryChange
from fleet.models import Appliance, Building, Client, Contractor, Defect, Flag, NoAccess, Visit


@dataclass(frozen=True)
class SetOutcome:
    """Outcome of the last visit by one limit set, sheet or stop levels, in the version it was judged with.

    kind: "limit" for a limit set, "band" or "ceiling" for the settings sheet, "stop_level" for the contractor's own.
    """

    name: str
    version: str
    kind: str
    outcome: str
    evidence: str
    reviewed: bool

    @property
    def on_paper(self) -> str:
        """What may be printed: "within" by a set that nobody has reviewed is withheld; what fired never is."""
        return "withheld" if self.outcome == "within" and not self.reviewed else self.outcome


class Idle(NamedTuple):
    """Out of use from its first day to its last, both within the period."""

    first: date
    last: date


@dataclass(frozen=True)
class Line:
    """One appliance in service in the period.

    last: the newest visit up to the end of the period; outcomes of it; due: what was next due by the checks up to the
    last day that counts (of the period, of what is known, of its service) and which rule set it; late_days: days
    past due on that day; due_doubt: why that date rests on a check whose record proves nothing; undecided: required
    checks whose date can't be told, each with its reason, which are never late; not_counted: visits that did not count
    for a required check, and why; idle: the days of the period on which it was out of use, left out because nothing was
    due on them; idle_at_end: and so it was on its last day that counts;
    not_evidence: why the last record is none, by the register as it is known. attempts: those of the
    period on which somebody came and didn't get to the appliance, oldest first.
    """

    appliance: Appliance
    last: Visit | None
    visits_in_period: int
    outcomes: tuple[SetOutcome, ...]
    due: date | None
    due_by: str
    late_days: int
    flags: tuple[Flag, ...]
    defects: tuple[Defect, ...]
    not_evidence: tuple[str, ...]
    due_doubt: str = ""
    undecided: tuple[str, ...] = ()
    not_counted: tuple[str, ...] = ()
    idle: tuple[Idle, ...] = ()
    idle_throughout: bool = False
    idle_at_end: bool = False
    attempts: tuple[NoAccess, ...] = ()

    @property
    def outcome(self) -> str:
        """As its last record was judged: outside, within, withheld (by an unreviewed set), incomplete, not judged.

        "incomplete": something was within, but not all that had to be judged was.
        """
        judged = self.last.judgement.outcome if self.last else "not_judged"
        withheld = any(each.on_paper == "withheld" for each in self.outcomes)
        return "withheld" if judged == "within" and withheld else str(judged)


@dataclass(frozen=True)
class Statement:
    """changes: on the register since it begins, of what decides who is in it and what it is held to, newest first."""

    contractor: Contractor
    client: Client
    building: Building | None
    begins: date
    ends: date
    known_on: date
    lines: tuple[Line, ...]
    unreviewed: tuple[str, ...]
    changes: tuple[EntryChange, ...] = ()

    @property
    def late(self) -> tuple[Line, ...]:
        return tuple(each for each in self.lines if each.late_days > 0)

    @property
    def undecided(self) -> tuple[Line, ...]:
        return tuple(each for each in self.lines if each.undecided)

    @property
    def without_record(self) -> tuple[Line, ...]:
        """In use on at least one day of the period, and never tested: an appliance that stood still asked for none."""
        return tuple(each for each in self.lines if each.last is None and not each.idle_throughout)
