"""Why an appliance should be seen again, and which of its reasons sets the window and how urgent it is."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from fleet.coded import Coded, as_rows
from fleet.models import Flag

UNDECIDED = "undecided"
# How grave a reason is; what drifts out by itself comes after what is out already, and CO before everything that does.
CLASSES = {Flag.Kind.UNSAFE: 5, Flag.Kind.STOP: 4, Flag.Kind.OUTSIDE: 3, "retest": 3, "co": 2}
USUAL_CLASS = 1


@dataclass(frozen=True)
class Reason:
    """One reason to come: the last day it allows, the first day on which coming serves it, and why, coded.

    what : "co" for CO on its way to a limit; else as `kind`.
    is_rationed : it counts against the contractor's extra visits.
    """

    kind: str
    latest: date
    earliest: date
    why: Coded
    what: str = ""
    is_rationed: bool = False

    def as_json(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "latest": f"{self.latest:%Y-%m-%d}",
            "earliest": f"{self.earliest:%Y-%m-%d}",
            "why": as_rows([self.why])[0],
            "what": self.what or self.kind,
            "rationed": "yes" if self.is_rationed else "",
        }

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> "Reason":
        return cls(
            said["kind"],
            date.fromisoformat(said["latest"]),
            date.fromisoformat(said["earliest"]),
            (said["why"][0], said["why"][1]),
            said.get("what", ""),
            said.get("rationed") == "yes",
        )


def reasons_in(stored: Iterable[Mapping[str, Any]]) -> list[Reason]:
    """The reasons with a date that a revisit keeps."""
    return [Reason.of_json(each) for each in stored if each["kind"] != UNDECIDED]


@dataclass(frozen=True)
class Limbs:
    """The last days by reasons that are rationed and by all others.

    drift_by : only where it comes before `otherwise_by`: then a visit is made for drift alone.
    """

    drift_by: date | None
    otherwise_by: date | None


def limbs_of(reasons: Sequence[Reason]) -> Limbs:
    otherwise = min((each.latest for each in reasons if not each.is_rationed), default=None)
    drift = min((each.latest for each in reasons if each.is_rationed), default=None)
    is_before = drift is not None and (otherwise is None or drift < otherwise)
    return Limbs(drift if is_before else None, otherwise)


def window_of(reasons: Sequence[Reason], *, is_beyond: bool, not_before: date | None) -> dict[str, Any]:
    """What a revisit says of these reasons: earliest, latest, date_set_by, why.

    The last day is the earliest of all; beyond the extra visits drift sets no date, unless nothing else would bring
    anybody. The first day is the latest on which a required check's anniversary begins to be kept, where that comes
    before the last day: sooner would cost it. not_before: the day after an attempt that didn't get to the appliance.
    """
    counting = [each for each in reasons if not (is_beyond and each.is_rationed)] or list(reasons)
    first = min(counting, key=lambda each: each.latest)
    keeps = [each.earliest for each in reasons if each.kind == "required_check" and each.earliest <= first.latest]
    begins = max([first.earliest, *keeps, *([not_before] if not_before else [])])
    return {
        "earliest": min(begins, first.latest),
        "latest": first.latest,
        "date_set_by": first.kind,
        "why": first.as_json()["why"],
    }


class Urgency(NamedTuple):
    """value: the class of the gravest reason plus the chance, which has two decimals and is at most 0.99."""

    value: float
    gravest: str
    chance: float


def urgency_of(reasons: Sequence[Reason], chance: float) -> Urgency:
    """Of these reasons. chance: of being outside before the next planned visit, or within a year where there is none.

    >>> urgency_of([Reason("required_check", date(2027, 1, 1), date(2026, 1, 1), ("required_check", {}))], chance=0.42)
    Urgency(value=1.42, gravest='required_check', chance=0.42)
    """
    gravest = max((each.what or each.kind for each in reasons), key=class_of, default="")
    rounded = min(round(chance, 2), 0.99)
    return Urgency(class_of(gravest) + rounded, gravest, rounded)


def class_of(what: str) -> int:
    return CLASSES.get(what, USUAL_CLASS)
