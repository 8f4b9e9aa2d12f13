"""The paper of one visit: the answer first, then facts, readings, findings, work, and the proof of the record."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from fleet.assess.judging.visit_facts import ReadingFacts, VisitFacts
from fleet.presentation import visits as words
from fleet.presentation.corrections import waiting_words
from fleet.presentation.days import long_day
from fleet.presentation.diagnoses import PatternRow, doubt_words, pattern_rows
from fleet.presentation.figures import NONE
from fleet.presentation.follow_ups import question_words
from fleet.presentation.reading_figures import (
    also_read,
    figures_head,
    figures_row,
    has_worked_out,
    loss_words,
    name_of,
    read_columns,
    series_words,
    steadiness_words,
    taken_words,
    widest_row,
    worked_head,
    worked_row,
)
from fleet.presentation.reading_rule import reading_strip
from fleet.presentation.readings import Cell, PairTable, reading_tables
from fleet.presentation.verdicts import FindingRow, finding_rows, not_judged, source_rows
from fleet.presentation.words import capital, chemical, listed, rate_words
from reports.paper import (
    BODY_APART,
    HEADING,
    SENTENCE,
    SMALL,
    TINY,
    TITLE,
    Paper,
    Sheet,
    columns,
    framed,
    heading,
    table,
    write,
)
from reports.paper import facts as fact_table
from reports.proof import correction_rows, proof
from reports.strips import EM, StripDrawing
from reports.text import MOST_CHARACTERS, Bold, paragraph

LABEL_WIDTH = 74.0
RATES_ABREAST = 2
FIGURE_WIDTHS = (72, 28, 30, 42, 44, 30, 28, 34, 31, 31, 26, 38, 34, 40)
WORKED_WIDTHS = (72, 36, 36, 36, 36, 36, 30, 36, 36, 36, 36, 38, 34)
MOST_STRETCHED = 1.3
# What people wrote in a narrow column is cut here; the record holds it whole.
MOST_IN_A_CELL = 500


def visit_pdf(facts: VisitFacts, *, known_on: date, paper: Paper = "A4") -> bytes:
    """One visit on paper. `known_on`: the day up to which corrections are known. The same input, the same bytes."""
    sheet = _sheet(facts, paper)
    story: list[Flowable] = [paragraph(TITLE, _title(facts))]
    found = (_findings, _patterns, _sources, _not_judged)
    for part in (_stop, _opening, _facts, _rules, _figures, *found, _work, _office):
        story += part(facts, sheet.width)
    story += _signatures(facts, sheet.width)
    story += _meaning(facts)
    story += proof(facts, known_on, sheet.width)
    return write(sheet, story)


def _sheet(facts: VisitFacts, paper: Paper) -> Sheet:
    record = facts.visit.record
    shown = {"client": facts.appliance.building.client.name, "day": long_day(facts.visit.local_date)}
    demo = _("INVENTED DEMONSTRATION DATA. ") if facts.contractor.is_demo else ""
    return Sheet(
        title=_("%(title)s, %(day)s") % {"title": _title(facts), "day": long_day(facts.visit.local_date)},
        author=facts.contractor.name,
        head_left=(facts.contractor.name, facts.contractor.address),
        head_right=demo + _("Visit of %(day)s, for %(client)s") % shown,
        foot=_("Record %(id)s, content %(hash)s…") % {"id": record.id, "hash": record.sha256[:16]},
        paper=paper,
    )


def _title(facts: VisitFacts) -> str:
    appliance = facts.appliance
    return ", ".join(filter(None, (appliance.name, appliance.building.name, appliance.room)))


def _stop(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    if title := words.stop_heading(facts):
        lines = [paragraph(BODY_APART, each, most=MOST_IN_A_CELL) for each in words.stop_levels(facts)]
        yield framed([paragraph(HEADING, title), *lines], width)


def _opening(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    yield paragraph(SENTENCE, words.opening(facts))


def _facts(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    half = width / 2
    yield columns(
        [[fact_table(words.appliance_pairs(facts), half - 18)], [fact_table(words.visit_pairs(facts), half)]],
        [half, half],
    )


# ---- readings ----


def _rules(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    tables = reading_tables(facts)
    if tables:
        yield from heading(_("Readings as found and as left"))
    for each in tables:
        yield _rule_table(each, width)
        yield Spacer(1, 2)


def _rule_table(pairs: PairTable, width: float) -> Flowable:
    column = (width - LABEL_WIDTH) / len(pairs.heads)
    head = ["", *(paragraph(SMALL, Bold(rate), f", {how}") for rate, how in pairs.heads)]
    body = [
        [
            [paragraph(SMALL, Bold(row.label)), paragraph(TINY, row.unit)],
            *(_rule_cell(cell, column - 18) for cell in row.cells),
        ]
        for row in pairs.rows
    ]
    return table([head, *body], [LABEL_WIDTH, *([column] * len(pairs.heads))])


def _rule_cell(cell: Cell, width: float) -> list[Flowable]:
    drawn = [StripDrawing(reading_strip(cell.rule, width_em=width / EM), width)] if cell.rule else []
    return [*drawn, *([paragraph(TINY, cell.note)] if cell.note else [])]


def _figures(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    if not facts.readings:
        return
    yield from heading(_("Figures"))
    head = [*figures_head(), _("Taken"), _("Steady")]
    rows = [_figure_row(each, facts) for each in facts.readings]
    shown = read_columns(rows)
    if any(spreads := widest_row(facts.readings)):
        rows.append([paragraph(TINY, _("uncertain by at most")), *spreads, "", ""])
    yield _narrowed([head, *rows], shown, FIGURE_WIDTHS, width, len(shown) - 2)
    yield Spacer(1, 3)
    if any(has_worked_out(each) for each in facts.own):
        yield from _worked_out(facts, width)
    yield from _running(TINY, " ".join(_figure_notes(facts)))


def _figure_row(each: ReadingFacts, facts: VisitFacts) -> list[Any]:
    taken, steady = paragraph(TINY, taken_words(each, facts)), paragraph(TINY, steadiness_words(each))
    return [paragraph(TINY, name_of(each)), *figures_row(each), taken, steady]


def _worked_out(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    """The second table: losses, condensation, emissions and input of the last reading at each rate."""
    last = {each.reading.rate: each for each in facts.own if has_worked_out(each)}
    rows = [
        [paragraph(TINY, f"{each.reading.number}. {rate_words(rate)}"), *worked_row(each)]
        for rate, each in last.items()
    ]
    shown = read_columns(rows)
    yield _narrowed([worked_head(), *rows], shown, WORKED_WIDTHS, width, len(shown))
    yield Spacer(1, 3)


def _narrowed(
    rows: Sequence[Sequence[Any]], columns: Sequence[int], widths: Sequence[float], width: float, figures_end: int
) -> Table:
    """These columns alone, figures on the right up to `figures_end`; few of them don't drift apart over the width."""
    scale = min(width / sum(widths[n] for n in columns), MOST_STRETCHED * width / sum(widths))
    shown = [widths[n] * scale for n in columns]
    shown[0] += width - sum(shown)
    return table([[row[n] for n in columns] for row in rows], shown, right=range(1, figures_end), small=TINY)


def _figure_notes(facts: VisitFacts) -> Iterator[str]:
    yield _(
        "* worked out from the other gas and the fuel; NOx so marked is estimated from NO. CO air-free, excess air "
        "ratio, efficiencies, loss and CO/CO₂ are worked out too. Gases dry. Efficiency net: of the net heating value; "
        "gross: of the gross one; by enthalpy."
    )
    losses = sorted({each.derived.flue_loss_coefficients or "" for each in facts.readings} - {""})
    for name in losses:
        yield _("Loss: by %s, on the net heating value.") % loss_words(name)
    yield _("Sensible, latent and unburnt losses, condensation and efficiencies by enthalpy; mg/kWh of the heat input.")
    if any(widest_row(facts.readings)):
        yield _("Uncertainty: expanded (k = 2), from the analyser's stated accuracy and its calibration.")
    if side := words.side_figures(facts):
        yield _("Probability of conformity, which decides nothing: %s") % " ".join(side)
    for said, numbers in _gathered((series_words(each), each.reading.number) for each in facts.readings):
        yield _("%(readings)s, by the logged series: %(said)s.") % {"readings": _named(numbers), "said": said}
    for also, numbers in _gathered((also_read(each), each.reading.number) for each in facts.readings):
        yield _("%(readings)s, also read: %(also)s.") % {"readings": _named(numbers), "also": also}
    for (sentence, makes_invalid), numbers in _gathered(
        ((doubt_words(doubt), doubt.makes_invalid), each.reading.number)
        for each in facts.readings
        for doubt in each.derived.doubts
    ):
        shown = {"readings": _named(numbers), "sentence": chemical(sentence)}
        yield (_("Invalid: %(readings)s: %(sentence)s") if makes_invalid else _("%(readings)s: %(sentence)s")) % shown
    yield from _by_whom(facts)


def _gathered(pairs: Iterable[tuple[Any, int]]) -> list[tuple[Any, list[int]]]:
    """What is said of several readings, once, with their numbers; nothing where nothing is said."""
    numbers: dict[Any, list[int]] = {}
    for said, number in pairs:
        if said:
            numbers.setdefault(said, []).append(number)
    return list(numbers.items())


def _named(numbers: list[int]) -> str:
    words = ngettext("Reading %s", "Readings %s", len(numbers))
    return words % listed([str(each) for each in numbers])


def _by_whom(facts: VisitFacts) -> Iterator[str]:
    """Who took which reading with what, where that isn't the same for all."""
    if len(facts.analysers) < 2 and len(facts.people) < 2:
        return
    people = {str(each.person.id) if each.person else each.name: each.name for each in facts.people}
    analysers = {str(each.analyser.id) if each.analyser else each.name: each.name for each in facts.analysers}
    for each in facts.readings:
        person, analyser = each.reading.person_given, each.reading.analyser_given
        shown = {"number": each.reading.number, "person": people.get(person, person)}
        shown["analyser"] = analysers.get(analyser, analyser)
        yield _("Reading %(number)d: by %(person)s with %(analyser)s.") % shown


# ---- findings ----


def _findings(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    if not (outside := finding_rows(facts)):
        return
    yield from heading(_("Outside a limit, the strictest first"))
    head = [_("What, at which rate"), _("Value"), _("Limit"), _("Set and version"), _("What the set asks")]
    rows = [[_cell(each) for each in _finding_cells(finding)] for finding in outside]
    yield table([head, *rows], _shares(width, 0.24, 0.12, 0.12, 0.24, 0.28))


def _patterns(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    """What the readings suggest; it stands on its own, and no verdict rests on it."""
    found = pattern_rows(facts.visit)
    if not found:
        return
    yield from heading(_("What the readings suggest"))
    head = [_("Pattern"), _("What shows it"), _("Likely causes"), _("What to check"), _("How well it is known")]
    rows = [[_cell(each) for each in _pattern_cells(pattern)] for pattern in found]
    yield table([head, *rows], _shares(width, 0.18, 0.26, 0.2, 0.2, 0.16))
    yield Spacer(1, 3)
    yield paragraph(TINY, words.suggestion_note())


def _pattern_cells(pattern: PatternRow) -> list[str]:
    return [
        pattern.title,
        chemical(pattern.sentence),
        "; ".join(pattern.causes),
        "; ".join(pattern.checks),
        pattern.evidence,
    ]


def _finding_cells(finding: FindingRow) -> list[str]:
    what = capital(finding.what)
    return [
        f"{what} ({finding.basis})" if finding.basis else what,
        finding.value,
        finding.limit or NONE,
        f"{finding.source}: {finding.standing}",
        finding.asked,
    ]


def _cell(text: str) -> Flowable:
    return paragraph(SMALL, text, most=MOST_IN_A_CELL)


def _shares(width: float, *shares: float) -> list[float]:
    return [width * share for share in shares]


def _sources(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    """Every set that it was held against, the verdict and how far the set can be relied on, side by side."""
    yield from heading(_("By which limits"))
    head = [_("Set and version"), _("As found"), _("As left"), _("How well the set is known")]
    rows = [(each.source, each.found, each.left, each.standing) for each in source_rows(facts)]
    yield table([head, *([_cell(each) for each in row] for row in rows)], _shares(width, 0.3, 0.17, 0.15, 0.38))
    if left_out := facts.card.left_out:
        yield Spacer(1, 3)
        said = ngettext(
            "%d limit of these sets is not for this appliance by its recorded facts.",
            "%d limits of these sets are not for this appliance by its recorded facts.",
            len(left_out),
        )
        yield paragraph(TINY, said % len(left_out))


def _not_judged(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    if said := not_judged(facts):
        yield Spacer(1, 3)
        yield from _running(TINY, "; ".join(said), lead=_("Not judged, or not to be decided: "))


def _running(style: ParagraphStyle, text: str, lead: str = "") -> Iterator[Flowable]:
    """Our own text of any length, in paragraphs that each stay under the length that one may have."""
    for start in range(0, len(text), MOST_CHARACTERS):
        yield paragraph(style, Bold(lead if start == 0 else ""), text[start : start + MOST_CHARACTERS])


# ---- work and steps ----


def _work(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    half = width / 2
    yield Spacer(1, 5)
    work = [words.work_line(each) for each in facts.visit.work.all()] or [_("No work on the burner is recorded.")]
    defects = [words.defect_line(each) for each in facts.visit.defects.all()] or [_("No defect is recorded.")]
    left = [paragraph(HEADING, _("Work done")), *(paragraph(SMALL, each, most=1200) for each in work)]
    right = [paragraph(HEADING, _("Defects and who was told"))]
    right += [paragraph(SMALL, each, most=1600) for each in defects]
    steps = [paragraph(SMALL, each, most=1200) for each in words.restore_lines(facts.visit)]
    if steps:
        # Beneath whichever column has room, so that an ordinary visit stays on one page.
        (left if facts.visit.defects.all() else right).extend([paragraph(HEADING, _("Steps")), *steps])
    yield columns([left, right], [half, half])
    if facts.visit.note:
        yield Spacer(1, 5)
        yield paragraph(SMALL, Bold(_("Note: ")), facts.visit.note)


def _office(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    if facts.questions:
        yield from heading(_("Noted on receipt"))
        zone = facts.zone
        for question in facts.questions:
            resolved = ""
            if question.resolved_at:
                shown = {"day": long_day(question.resolved_at.astimezone(zone).date()), "note": question.resolved_note}
                resolved = _(" Resolved %(day)s: %(note)s") % shown
            yield paragraph(SMALL, question_words(question), resolved)
    waiting = [each for each in facts.visit.corrections.all() if each.ended_at is None]
    if len(facts.records) > 1 or waiting:
        yield from heading(_("Corrections"))
        for each in waiting:
            yield paragraph(SMALL, Bold(capital(waiting_words(each))))
        yield correction_rows(facts, width)


# ---- signatures, meaning ----


def _signatures(facts: VisitFacts, width: float) -> Iterator[Flowable]:
    half = width / 2
    lines = [[_("Technician: %s") % words.signature_words(facts)], [_("For the building: name, signature, date")]]
    cells = [[Spacer(1, 17), table([[paragraph(SMALL, *each)]], [half - 18], heads=0)] for each in lines]
    yield KeepTogether(columns(cells, [half, half]))
    yield Spacer(1, 4)


def _meaning(facts: VisitFacts) -> Iterator[Flowable]:
    yield paragraph(
        TINY,
        Bold(_("What the marks mean. ")),
        _(
            "Open pin below the line: as found. Filled pin above: as left. An arrow at the line's end: the true value "
            "lies beyond. Grey stretch: the band to be in, notched at its target. Upright bar: a limit, hatched beyond "
            "it; with a question mark: it isn't known whether it applies or is kept. Rates side by side share one "
            "scale. Figures say what was measured at that time against limits as recorded; they do not say that the "
            "appliance is fit to use or will stay as it is."
        ),
    )
    yield Spacer(1, 2)
    yield paragraph(
        TINY,
        Bold(_("Cautions. ")),
        _(
            "Carbon monoxide can't be seen or smelt. Gas, the hot flue and probe and live parts can injure and kill. "
            "The manufacturer's instructions, the local code and the judgement of licensed persons come first. "
            "This record "
            "holds readings against limits; it does not declare the appliance safe."
        ),
    )
    if facts.contractor.emergency_numbers:
        numbers = listed([str(each) for each in facts.contractor.emergency_numbers])
        yield paragraph(
            TINY,
            Bold(_("Smell of gas: ")),
            _("leave, use no phone, switch or bell inside, and call from outside: %s.") % numbers,
        )
