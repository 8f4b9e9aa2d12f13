"""What verdicts say on paper: quantity and basis, value, limit, and how well the set behind them is known."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fleet.assess.judging.comparing import VerdictChange
from fleet.assess.judging.outcomes import outcome_by_source
from fleet.assess.judging.visit_facts import VisitFacts
from fleet.limits import Row, Verdict, standing
from fleet.limits.quantities import decimals_of, figure
from fleet.models import Flag, Judgement
from fleet.presentation.codes import code_words
from fleet.presentation.contents import evidence_words
from fleet.presentation.figures import figure_apart, qualified, with_unit
from fleet.presentation.words import capital, chemical, listed, signs

# German texts bring CO to undiluted gas with 21 % O2 in air, the trade elsewhere with 20.9 %.
AIR_FREE = ("air_free", "as_measured_or_air_free")
UNDILUTED = ("undiluted", "undiluted_dry")
# Evidence that a sentence needn't doubt.
WELL_KNOWN = ("official_text_read", "quoted_elsewhere")


def basis_words(basis: str) -> str:
    """The basis in words; empty where the quantity has none."""
    if basis in AIR_FREE:
        return _("air-free, 20.9 % O₂ in air")
    if basis in UNDILUTED:
        return _("undiluted, 21 % O₂ in air")
    return "" if basis in ("", "any") else code_words(basis)


def value_words(verdict: Verdict) -> str:
    """The value with its unit, never rounded until it looks like the limit that it breaks."""
    value = verdict.value
    if value is None or isinstance(value, str):
        return value or _("not read")
    limits = [each for each in (verdict.lower, verdict.upper) if each is not None]
    shown = figure_apart(value, decimals_of(verdict.quantity), limits)
    return with_unit(qualified(shown, verdict.qualifier), verdict.unit)


def limit_words(verdict: Verdict) -> str:
    return with_unit(signs(verdict.limit_text), verdict.unit) if verdict.limit_text else ""


def at_words(verdict: Verdict | VerdictChange) -> str:
    """The rate and phase of the reading; empty where the verdict is about the whole visit."""
    return ", ".join(filter(None, (verdict.rate, code_words(verdict.phase or ""))))


def reason_words(verdict: Verdict) -> str:
    """Why it wasn't judged, or what to know beside it: the codes in it as words."""
    return verdict.reason.replace("_", " ")


def asked_words(verdict: Verdict) -> str:
    """What the source asks for: how grave it calls it, then what to do."""
    severity, action = verdict.severity.replace("_", " "), verdict.action
    said = [action] if action.lower().startswith(severity) else [severity, action]
    return _sentences([*said, chemical(reason_words(verdict))])


def _sentences(parts: Iterable[str]) -> str:
    return " ".join(f"{capital(each).rstrip('.')}." for each in parts if each)


def what_words(verdict: Verdict, *, with_phase: bool = True) -> str:
    """CO₂ at high, as found; what is about both rates, or the whole visit, names none."""
    said = chemical(verdict.label)
    if verdict.rate:
        said = _("%(label)s at %(rate)s") % {"label": said, "rate": verdict.rate}
    return ", ".join([said, code_words(verdict.phase or "")]) if with_phase and verdict.phase else said


@dataclass(frozen=True)
class LimitSource:
    """A sheet, a limit set or the stop levels, in one version."""

    name: str
    version: str
    kind: str
    review: str
    evidences: tuple[str, ...]

    @property
    def named(self) -> str:
        return f"{self.name} v{self.version}"

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
        review = _("NOT REVIEWED") if self.review == "unreviewed" else self.review
        return "; ".join(filter(None, (review, *(evidence_words(each) for each in self.evidences))))

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
            *named, mine[0].kind, mine[0].review, tuple(dict.fromkeys(each.evidence for each in mine if each.evidence))
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
    said = [verdict.label]
    if verdict.value is not None:
        shown = figure(verdict.value, verdict.quantity, verdict.lower, verdict.upper)
        said.append(_with_unit(qualified(shown, verdict.qualifier), verdict))
    if verdict.rate:
        said.append(_("at %s") % verdict.rate)
    read = ", ".join(filter(None, (" ".join(said), code_words(verdict.phase or ""))))
    if not verdict.limit_text:
        return read
    return _("%(read)s (limit %(limit)s)") % {"read": read, "limit": _with_unit(verdict.limit_text, verdict)}


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
    said = words[verdict.outcome] % {"source": f"{verdict.set_name} v{verdict.set_version}"}
    return f"{said} ({reason_words(verdict)})" if verdict.reason else said


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
    rest = [_("%(label)s at %(rate)s") % {"label": label, "rate": rate} if rate else label for label, rate in open_ends]
    said = _("Incomplete, not judged: %(rest)s. %(within)s")
    return said % {"within": within, "rest": "; ".join(rest)}


def _within_words(within: Sequence[Verdict]) -> str:
    """The sets by which something was within, those that nobody has reviewed named as such."""
    when = _("As left") if any(each.phase == "as_left" for each in within) else _("As found")
    names = {(f"{each.set_name} v{each.set_version}", each.review == "unreviewed") for each in within}
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
    """What is outside, the strictest first; the same figure read twice outside the same limit stands once."""
    rows: dict[tuple[str, ...], FindingRow] = {}
    for each in _verdicts(facts):
        if each.outcome == "outside":
            row = finding_row(each)
            rows.setdefault((row.what, row.basis, row.value, row.limit, row.source), row)
    return list(rows.values())


def finding_row(verdict: Verdict) -> FindingRow:
    source = source_of(verdict)
    return FindingRow(
        what=what_words(verdict),
        basis=basis_words(verdict.basis),
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
    mine = [each for each in _verdicts(facts) if (each.set_name, each.set_version) == source]
    words = {
        "outside": _("outside as recorded"),
        "within": _("within as recorded"),
        "incomplete": _("incomplete"),
        "cannot_tell": _("can't be decided"),
        "not_judged": _("not judged"),
        "": _("nothing judged"),
    }
    readings = [each.reading for each in facts.readings]
    for phase in ("as_found", "as_left"):
        yield words[outcome_by_source(mine, readings, phase)]


def not_judged(facts: VisitFacts) -> list[str]:
    """What was neither within nor outside, and why: silence would read as "within"."""
    said = dict.fromkeys(
        _("%(what)s (%(source)s): %(reason)s")
        % {"what": chemical(each.label), "source": source_of(each).named, "reason": chemical(reason_words(each))}
        for each in _verdicts(facts)
        if each.outcome in ("not_judged", "cannot_tell")
    )
    return list(said)


def _verdicts(facts: VisitFacts) -> Sequence[Verdict]:
    return facts.judgement.said


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
