"""What verdicts say on paper: quantity and basis, value, limit, and how well the set behind them is known."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.cases import number_of
from fleet.assess.judging.outcomes import outcome_by_source
from fleet.assess.judging.visit_facts import VisitFacts
from fleet.limits import Row, Verdict, standing
from fleet.limits.quantities import decimals_of, figure, label
from fleet.models import Flag, Judgement
from fleet.presentation.codes import code_words, label_words
from fleet.presentation.contents import evidence_words
from fleet.presentation.figures import figure_apart, limit_figure, qualified, with_unit
from fleet.presentation.sentences import sentences
from fleet.presentation.words import at_rate, capital, listed, rate_words

# German texts bring CO to undiluted gas with 21 % O2 in air, the trade elsewhere with 20.9 %.
AIR_FREE = ("air_free", "as_measured_or_air_free")
# The room is said by the quantity's own name.
UNSAID = ("", "any", "ambient")
UNDILUTED = ("undiluted", "undiluted_dry")
# Evidence that a sentence needn't doubt.
WELL_KNOWN = ("official_text_read", "quoted_elsewhere")
# What a reading must keep.
KEEPS = sentences("keeps")
# Why something wasn't judged or can't be decided, and what to know about what is outside; `label` is what it is about.
REASONS = sentences("verdict_reasons")
# What we ask for where the source has no words of its own.
ASKS = sentences("asks")


def basis_words(basis: str, quantity: str = "co") -> str:
    """The basis in words, without what the quantity's label says; "as measured" says something of gases alone."""
    if basis in AIR_FREE:
        return _("20.9 % O₂ in air")
    if basis in UNDILUTED:
        return _("undiluted, 21 % O₂ in air")
    if "at_o2_pct" in label(quantity, basis)[1]:
        return _("dry")
    nothing = (*UNSAID, *([] if quantity in ("co", "nox") else ["as_measured"]))
    return "" if basis in nothing else code_words(basis)


def value_words(verdict: Verdict) -> str:
    """The value with its unit, never rounded until it looks like the limit that it breaks."""
    value = verdict.value
    if value is None or isinstance(value, str):
        return value or _("not read")
    limits = [each for each in (verdict.lower, verdict.upper) if each is not None]
    shown = figure_apart(value, decimals_of(verdict.quantity), limits)
    return with_unit(qualified(shown, verdict.qualifier), verdict.unit)


def limit_words(verdict: Verdict) -> str:
    return with_unit(keeps_words(verdict.keeps), verdict.unit) if verdict.keeps else ""


def keeps_words(keeps: Sequence[Any] | None) -> str:
    """What a reading must keep; empty where there is nothing.

    >>> keeps_words(["at_most", {"upper": 400.0}]), keeps_words(["at_least", {"lower": "as_left_o2"}])
    ('≤ 400', '≥ the O₂ as left in')
    """
    if keeps is None:
        return ""
    code, figures = keeps
    shown = {
        name: each if name == "text" else code_words(each) if isinstance(each, str) else limit_figure(each, 0)
        for name, each in figures.items()
    }
    return str(KEEPS[code]) % shown


def set_words(name: str) -> str:
    """A sheet or set by its name; the contractor's own stop levels have none."""
    return name or _("the contractor's stop levels")


def set_version_words(verdict: Verdict) -> str:
    return f"{set_words(verdict.set_name)} v{verdict.set_version}"


def action_words(verdict: Verdict) -> str:
    """What to do, in the source's own words where it has any."""
    return verdict.action or str(ASKS[verdict.asks])


def at_words(verdict: Verdict) -> str:
    """The rate and phase of the reading; empty where the verdict is about the whole visit."""
    return ", ".join(filter(None, (rate_words(verdict.rate or ""), code_words(verdict.phase or ""))))


def reason_words(verdict: Verdict) -> str:
    """Why it wasn't judged, or what to know beside it; empty where there is nothing to say."""
    return "; ".join(_reason(verdict, code, figures) for code, figures in verdict.reasons)


def _reason(verdict: Verdict, code: str, figures: Mapping[str, Any]) -> str:
    said = str(REASONS[code]) % _shown_beside(verdict, figures)
    if code == "no_air_free_figure" and verdict.asks:
        return f"{said}: {action_words(verdict)}"
    return f"{figures['of_rate']}: {said}" if "of_rate" in figures else said


def _shown_beside(verdict: Verdict, figures: Mapping[str, Any]) -> dict[str, str]:
    """A reason's figures, and those of the verdict that it stands beside."""
    value = figure(verdict.value, verdict.quantity)
    shown = {"label": label_words(verdict.label), "value": qualified(value, verdict.qualifier)}
    words: dict[str, Callable[[Any], str]] = {
        "o2_pct": lambda o2: figure(o2, "o2"),
        "facts": lambda names: ", ".join(map(code_words, names)),
        "gas": lambda gas: label_words([gas, {}]),
        "at": lambda rate: _(" at %s") % rate_words(rate) if rate else "",
        "phases": lambda phases: ", " + _(" or ").join(map(code_words, phases)) if phases else "",
        "read_with": lambda casing: casing or _("not recorded"),
        "name": code_words,
        "basis": code_words,
    }
    return shown | {name: words.get(name, str)(each) for name, each in figures.items()}


def asked_words(verdict: Verdict) -> str:
    """What to do, and how grave the source grades it where that isn't all there is to say."""
    said = graded_words(verdict.severity, verdict.action) if verdict.action else action_words(verdict)
    return _sentences([said or code_words(verdict.severity), reason_words(verdict)])


def graded_words(severity: str, action: str) -> str:
    """The source's own words for what to do, with its grade beside them.

    >>> graded_words("stop_work", "Ventilate, stop.")
    'Ventilate, stop (grade: stop work)'
    """
    grade = code_words(severity)
    return _("%(action)s (grade: %(grade)s)") % {"action": action.rstrip("."), "grade": grade} if action else grade


def _sentences(parts: Iterable[str]) -> str:
    return " ".join(f"{capital(each).rstrip('.')}." for each in parts if each)


def what_words(verdict: Verdict, *, with_phase: bool = True) -> str:
    """CO₂ at high fire, as found; what is about both rates, or the whole visit, names none."""
    said = label_words(verdict.label)
    if verdict.rate:
        said = at_rate(said, verdict.rate)
    return ", ".join([said, code_words(verdict.phase or "")]) if with_phase and verdict.phase else said


@dataclass(frozen=True)
class LimitSource:
    """A sheet, a limit set or the stop levels, in one version."""

    name: str
    version: str
    kind: str
    review: str
    reviewed_by: str
    evidences: tuple[str, ...]

    @property
    def named(self) -> str:
        return f"{set_words(self.name)} v{self.version}"

    @property
    def is_open_to_doubt(self) -> bool:
        return self.review == "unreviewed" or "unverified" in self.evidences

    @property
    def standing(self) -> str:
        """Reviewed by whom, or not, and how well the figures behind it are known."""
        if self.kind in ("band", "order", "ceiling"):
            return _("the settings sheet")
        if self.kind == "stop_level":
            outside = [evidence_words(each) for each in self.evidences if each != "own"]
            return "; ".join([_("the contractor's own levels"), *outside])
        words = {"unreviewed": _("NOT REVIEWED"), "reviewed": _("reviewed by %s") % self.reviewed_by}
        return "; ".join(filter(None, (words.get(self.review, ""), *(evidence_words(each) for each in self.evidences))))

    @property
    def doubts(self) -> list[str]:
        doubts = [_("not reviewed")] if self.review == "unreviewed" else []
        return [*doubts, _("unverified")] if "unverified" in self.evidences else doubts

    @property
    def named_with_doubt(self) -> str:
        """Its name as it stands in a sentence: doubt goes beside it."""
        return f"{self.named} ({', '.join(self.doubts)})" if self.doubts else self.named


def sources(rows: Iterable[Verdict | Row]) -> list[LimitSource]:
    """Every set, in the order of the rows (verdicts, or rows of a card), with all evidence that its rows name.

    The manufacturer's targets and ceilings stand on one sheet and are one source.
    """
    gathered: dict[tuple[str, str], list[Verdict | Row]] = {}
    for row in rows:
        gathered.setdefault((row.set_name, row.set_version), []).append(row)
    return [
        LimitSource(
            *named,
            *(mine[0].kind, mine[0].review, mine[0].reviewed_by),
            tuple(dict.fromkeys(each.evidence for each in mine if each.evidence)),
        )
        for named, mine in gathered.items()
    ]


def source_of(verdict: Verdict) -> LimitSource:
    return sources([verdict])[0]


# ---- in a sentence ----


def verdict_sentence(verdict: Verdict) -> str:
    """The verdict whole, with the set's version and how well its figures are known; never a word about being safe."""
    said = {"subject": _subject(verdict), "judgement": _judgement(verdict), "doubt": _doubt(verdict)}
    return _("%(subject)s: %(judgement)s%(doubt)s.") % said


def _subject(verdict: Verdict) -> str:
    said = [label_words(verdict.label)]
    if verdict.value is not None:
        shown = figure(verdict.value, verdict.quantity, verdict.lower, verdict.upper)
        said.append(_with_unit(qualified(shown, verdict.qualifier), verdict))
    if verdict.rate:
        said.append(_("at %s") % rate_words(verdict.rate))
    read = ", ".join(filter(None, (" ".join(said), code_words(verdict.phase or ""))))
    if not verdict.keeps:
        return read
    limit = _with_unit(keeps_words(verdict.keeps), verdict)
    return _("%(read)s (limit %(limit)s)") % {"read": read, "limit": limit}


def _with_unit(shown: str, verdict: Verdict) -> str:
    return shown if verdict.unit in ("", "1") else f"{shown} {verdict.unit}"


def _judgement(verdict: Verdict) -> str:
    reason = {"reason": reason_words(verdict)}
    if verdict.outcome == "not_judged":
        return _("not judged: %(reason)s") % reason
    if verdict.outcome == "cannot_tell":
        return _("can't be decided: %(reason)s") % reason
    words = {
        "within": _("within the limits of %(source)s as recorded"),
        "outside": _("outside the limits of %(source)s as recorded"),
    }
    said = words[verdict.outcome] % {"source": set_version_words(verdict)}
    return f"{said} ({reason_words(verdict)})" if verdict.reasons else said


def _doubt(verdict: Verdict) -> str:
    """Said next to the verdict: a set that nobody has reviewed, a figure unverified or our own.

    Not of the contractor's stop levels: each has an evidence of its own, which is shown where they are listed.
    """
    if verdict.kind == "stop_level":
        return ""
    evidence = "" if verdict.evidence in WELL_KNOWN else evidence_words(verdict.evidence)
    doubts = [_("set not reviewed")] if verdict.review == "unreviewed" else []
    doubts += [_("limit %s") % evidence if verdict.evidence == "unverified" else evidence] if evidence else []
    return f" [{'; '.join(doubts)}]" if doubts else ""


def summary_words(judgement: Judgement) -> str:
    """How the appliance was left, over all limits, in one sentence."""
    left = standing(judgement.said)
    if judgement.outcome == "outside":
        return verdict_sentence(max((each for each in left if each.outcome == "outside"), key=lambda each: each.rank))
    if judgement.outcome == "not_judged":
        return _("No reading could be judged.")
    within = _within_words([each for each in left if each.outcome == "within"])
    open_ends = judgement.turned_out.open_ends[:4]
    if not open_ends:
        return within
    known = [(label_words(label), rate) for label, rate in open_ends]
    rest = [at_rate(label, rate) if rate else label for label, rate in known]
    said = _("Incomplete, not judged: %(rest)s. %(within)s")
    return said % {"within": within, "rest": "; ".join(rest)}


def _within_words(within: Sequence[Verdict]) -> str:
    """The sets by which something was within, those that nobody has reviewed named as such."""
    when = _("As left") if any(each.phase == "as_left" for each in within) else _("As found")
    names = {(set_version_words(each), each.review == "unreviewed") for each in within}
    said = [f"{name} ({_('not reviewed')})" if unreviewed else name for name, unreviewed in sorted(names)]
    return _("%(when)s, within the limits of %(sets)s as recorded.") % {"when": when, "sets": listed(said)}


# ---- as rows of a table ----


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
    """What is outside, the strictest first; what was read several times outside one limit stands once, with each
    figure; what nothing is said against asks for them all.
    """
    rows: dict[tuple[str, ...], list[Verdict]] = {}
    for each in verdicts_of(facts):
        if each.outcome == "outside":
            of = (each.set_name, each.set_version, each.limit_id, what_words(each), limit_words(each))
            rows.setdefault(of, []).append(each)
    return [
        replace(
            finding_row(min(alike, key=lambda each: bool(each.reasons))),
            value="; ".join(dict.fromkeys(value_words(each) for each in alike)),
        )
        for alike in rows.values()
    ]


def finding_row(verdict: Verdict) -> FindingRow:
    source = source_of(verdict)
    return FindingRow(
        what=what_words(verdict),
        basis=basis_words(verdict.basis, verdict.quantity),
        value=value_words(verdict),
        limit=limit_words(verdict),
        source=source.named,
        standing=source.standing,
        asked=asked_words(verdict),
        is_stop=verdict.stop,
    )


def source_rows(facts: VisitFacts) -> list[SourceRow]:
    card = facts.card
    rows = [*card.bands, *card.orders, *card.ceilings, *card.limits, *card.stop_levels]
    return [
        SourceRow(each.named, each.standing, *_by_phase(facts, (each.name, each.version))) for each in sources(rows)
    ]


def _by_phase(facts: VisitFacts, source: tuple[str, str]) -> Iterator[str]:
    mine = [each for each in verdicts_of(facts) if (each.set_name, each.set_version) == source]
    words = {
        "outside": _("outside as recorded"),
        "within": _("within as recorded"),
        "incomplete": _("incomplete"),
        "cannot_tell": _("can't be decided"),
        "not_judged": _("not judged"),
        "": _("nothing judged"),
    }
    readings = [each.reading for each in facts.readings]
    yield words[outcome_by_source(mine, readings, as_found=True)]
    # What a limit asks of the appliance as found alone says nothing of how it was left.
    only_found = {each.limit_id for each in facts.card.limits if each.phases and "as_left" not in each.phases}
    of_left = [each for each in mine if each.limit_id not in only_found]
    yield words[outcome_by_source(of_left, readings, facts.judgement.turned_out.before_work) if of_left else ""]


def not_judged(facts: VisitFacts) -> list[str]:
    """What was neither within nor outside, and why: silence would read as "within"."""
    said = dict.fromkeys(
        _("%(what)s (%(source)s): %(reason)s")
        % {"what": label_words(each.label), "source": source_of(each).named, "reason": reason_words(each)}
        for each in verdicts_of(facts)
        if each.outcome in ("not_judged", "cannot_tell")
    )
    return list(said)


def verdicts_of(facts: VisitFacts) -> list[Verdict]:
    """All of them; of a reading and its logged series outside one limit what was read alone."""
    said = facts.judgement.said
    read = {_finding(each) for each in said if each.outcome == "outside" and not each.reasons}
    return [each for each in said if not (each.outcome == "outside" and each.reasons and _finding(each) in read)]


def _finding(verdict: Verdict) -> tuple[Any, ...]:
    of = (verdict.set_name, verdict.set_version, verdict.limit_id, verdict.rate, verdict.phase)
    return (*of, number_of(verdict.reading_key))


def verdict_of(flag: Flag) -> Verdict | None:
    """The verdict that a flag is about, out of its visit's judgement; None where it rests on no reading.

    A called-unsafe flag is about no single verdict: the strictest stop of its visit stands for it.
    """
    if flag.visit is None or not hasattr(flag.visit, "judgement"):
        return None
    rows = [each for each in flag.visit.judgement.said if each.outcome == "outside"]
    if flag.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        stops = [each for each in rows if each.stop and isinstance(each.value, float)]
        same = [each for each in stops if each.value == flag.figures.get("value")]
        return next(iter(same or stops), None)
    return next((each for each in rows if _is_about(flag, each)), None)


def _is_about(flag: Flag, verdict: Verdict) -> bool:
    key = f"{verdict.rate} {verdict.quantity} {verdict.set_id}"
    return flag.key == key[:200] and verdict.value == flag.figures.get("value")
