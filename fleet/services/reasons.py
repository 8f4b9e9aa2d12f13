"""Why an appliance should be seen again, and which of its reasons sets the window and how urgent it is."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import Flag
from fleet.presentation.forecasts import chance_of

UNDECIDED = "can't be told"
# How grave a reason is; what drifts out by itself comes after what is out already, and CO before everything that does.
CLASSES = {Flag.Kind.UNSAFE: 5, Flag.Kind.STOP: 4, Flag.Kind.OUTSIDE: 3, "retest": 3, "co": 2}
USUAL_CLASS = 1

_CLASS_WORDS = {
    "unsafe": gettext_lazy("called unsafe"),
    "stop level": gettext_lazy("at stop level"),
    "outside a limit": gettext_lazy("outside a limit"),
    "retest": gettext_lazy("another test is asked for"),
    "co": gettext_lazy("CO on its way to a limit"),
    "drift": gettext_lazy("likely to leave its limits"),
    "defect": gettext_lazy("a defect to be mended"),
    "duty": gettext_lazy("due by a date"),
}


@dataclass(frozen=True)
class Reason:
    """One reason to come: the last day it allows, the first day on which coming serves it, in words.

    what : "co" for CO on its way to a limit; else as `binding`.
    is_rationed : it counts against the contractor's extra visits.
    """

    binding: str
    latest: date
    earliest: date
    sentence: str
    what: str = ""
    is_rationed: bool = False

    def as_json(self) -> dict[str, str]:
        return {
            "binding": self.binding,
            "latest": f"{self.latest:%Y-%m-%d}",
            "earliest": f"{self.earliest:%Y-%m-%d}",
            "sentence": self.sentence,
            "what": self.what or self.binding,
            "rationed": "yes" if self.is_rationed else "",
        }

    @classmethod
    def of_json(cls, said: Mapping[str, str]) -> "Reason":
        return cls(
            said["binding"],
            date.fromisoformat(said["latest"]),
            date.fromisoformat(said["earliest"]),
            said["sentence"],
            said.get("what", ""),
            said.get("rationed") == "yes",
        )


def reasons_in(stored: Iterable[Mapping[str, str]]) -> list[Reason]:
    """The reasons with a date that a revisit keeps."""
    return [Reason.of_json(each) for each in stored if each["binding"] != UNDECIDED]


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
    """What a revisit says of these reasons: earliest, latest, binding, sentence.

    The last day is the earliest of all; beyond the extra visits drift binds nothing, unless nothing else would bring
    anybody. The first day is the latest on which a duty's anniversary begins to be kept, where that comes before the
    last day: sooner would cost it. not_before: the day after an attempt that didn't get to the appliance.
    """
    binding = [each for each in reasons if not (is_beyond and each.is_rationed)] or list(reasons)
    first = min(binding, key=lambda each: each.latest)
    keeps = [each.earliest for each in reasons if each.binding == "duty" and each.earliest <= first.latest]
    begins = max([first.earliest, *keeps, *([not_before] if not_before else [])])
    return {
        "earliest": min(begins, first.latest),
        "latest": first.latest,
        "binding": first.binding,
        "sentence": first.sentence[:1000],
    }


def urgency_of(reasons: Sequence[Reason], *, chance: float, planned: date | None) -> tuple[float, str]:
    """The class of the gravest reason plus the chance of being outside before the next planned visit; and in words.

    planned: the day of that visit; None where no duty asks for one, then the chance is within a year.

    >>> urgency_of([Reason("duty", date(2027, 1, 1), date(2026, 1, 1), "")], chance=0.42, planned=date(2027, 1, 1))
    (1.42, 'due by a date; 42 chances in 100 of being outside before 2027-01-01')
    """
    gravest = max((each.what or each.binding for each in reasons), key=class_of, default="")
    rounded = min(round(chance, 2), 0.99)
    words = [str(_CLASS_WORDS.get(gravest, _CLASS_WORDS["duty"]))]
    if rounded:
        said = {"chance": chance_of(rounded), "day": f"{planned:%Y-%m-%d}" if planned else ""}
        before = (
            _("%(chance)s of being outside before %(day)s") if planned else _("%(chance)s of being outside in a year")
        )
        words.append(before % said)
    return class_of(gravest) + rounded, "; ".join(words)[:300]


def class_of(what: str) -> int:
    return CLASSES.get(what, USUAL_CLASS)
