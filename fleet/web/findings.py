"""Verdicts as rows of a page: what is outside and by which limit, which sets were used, what could not be judged."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.outcomes import outcome_by_source
from fleet.models import Flag
from fleet.queries.visits import VisitFacts
from reports.figures import chemical
from reports.verdicts import (
    asked_words,
    basis_words,
    limit_words,
    reason_words,
    source_of,
    sources,
    value_words,
    what_words,
)

Verdict = Mapping[str, Any]


@dataclass(frozen=True)
class FindingRow:
    """One figure outside one limit. `standing`: how far the set can be relied on."""

    what: str
    basis: str
    value: str
    limit: str
    source: str
    standing: str
    asked: str
    is_stop: bool


@dataclass(frozen=True)
class SourceRow:
    """A sheet, set or line that the visit was held against, with the outcome as found and as left."""

    source: str
    standing: str
    found: str
    left: str


def finding_rows(facts: VisitFacts) -> list[FindingRow]:
    """What is outside, the strictest first."""
    return [finding_row(each) for each in _verdicts(facts) if each["outcome"] == "outside"]


def finding_row(verdict: Verdict) -> FindingRow:
    source = source_of(verdict)
    return FindingRow(
        what=what_words(verdict),
        basis=basis_words(verdict["basis"]),
        value=value_words(verdict),
        limit=limit_words(verdict),
        source=source.named,
        standing=source.standing,
        asked=asked_words(verdict),
        is_stop=verdict["stop"],
    )


def source_rows(facts: VisitFacts) -> list[SourceRow]:
    groups = ("bands", "orders", "ceilings", "limits", "stop_lines")
    rows = [row for group in groups for row in facts.card.get(group, ())]
    return [
        SourceRow(each.named, each.standing, *_by_phase(facts, (each.name, each.version))) for each in sources(rows)
    ]


def _by_phase(facts: VisitFacts, source: tuple[str, str]) -> Iterator[str]:
    mine = [each for each in _verdicts(facts) if (each["set_name"], each["set_version"]) == source]
    words = {
        "outside": _("outside as recorded"),
        "within": _("within as recorded"),
        "in part": _("judged in part"),
        "cannot tell": _("can't be decided"),
        "not judged": _("not judged"),
        "": _("nothing judged"),
    }
    readings = [each.reading for each in facts.readings]
    for phase in ("as found", "as left"):
        yield words[outcome_by_source(mine, readings, phase)]


def not_judged(facts: VisitFacts) -> list[str]:
    """What was neither within nor outside, and why: silence would read as "within"."""
    said = dict.fromkeys(
        _("%(what)s (%(source)s): %(reason)s")
        % {"what": chemical(each["label"]), "source": source_of(each).named, "reason": reason_words(each)}
        for each in _verdicts(facts)
        if each["outcome"] in ("not judged", "cannot tell")
    )
    return list(said)


def _verdicts(facts: VisitFacts) -> Sequence[Verdict]:
    return list(facts.judgement.verdicts["verdicts"])


def verdict_of(flag: Flag) -> Verdict | None:
    """The verdict that a flag is about, out of its visit's judgement; None where it rests on no reading.

    A called-unsafe flag is about no single verdict: the strictest stop of its visit stands for it.
    """
    if flag.visit is None or not hasattr(flag.visit, "judgement"):
        return None
    rows = [each for each in flag.visit.judgement.verdicts["verdicts"] if each["outcome"] == "outside"]
    if flag.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        stops = [each for each in rows if each["stop"] and isinstance(each["value"], float)]
        same = [each for each in stops if each["value"] == flag.figures.get("value")]
        return next(iter(same or stops), None)
    return next((each for each in rows if _is_about(flag, each)), None)


def _is_about(flag: Flag, verdict: Verdict) -> bool:
    key = f"{verdict['rate']} {verdict['quantity']} {verdict['set_id']}"
    return flag.key == key[:200] and verdict["value"] == flag.figures.get("value")
