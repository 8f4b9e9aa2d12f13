"""The statement for a client or a building over a period, as PDF and as CSV, both from one `Statement`.

It says what was recorded and what was known on a day. It says "as recorded" and never that anything is safe.
"""

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.platypus import Flowable, Spacer

from fleet.assess.statements import Line, SetOutcome, Statement
from fleet.models import Visit
from fleet.presentation.days import long_day
from fleet.presentation.entries import entry_line
from fleet.presentation.figures import NONE
from fleet.presentation.follow_ups import flag_words
from fleet.presentation.revisits import attempt_words
from fleet.presentation.statements import (
    axis_of,
    no_date_words,
    opening,
    sets_by_outcome,
    statement_rule,
    statement_strip,
    subject_of,
)
from fleet.presentation.words import capital, said
from reports.csv_files import csv_bytes
from reports.paper import BODY, HEADING, SENTENCE, SMALL, TINY, TITLE, Paper, Sheet, framed, heading, table, write
from reports.strips import StripDrawing
from reports.text import Bold, paragraph

SHARES = (0.15, 0.17, 0.14, 0.26, 0.12, 0.16)
MOST_IN_A_CELL = 240
MOST_IN_A_ROW = 6
MOST_CHANGES = 40


# ---- PDF ----


def statement_pdf(statement: Statement, *, paper: Paper = "A4") -> bytes:
    """The statement on paper, lying. The same statement gives the same bytes."""
    sheet = _sheet(statement, paper)
    story: list[Flowable] = [paragraph(TITLE, _title(statement))]
    story += [*_opening(statement), *_unreviewed(statement, sheet.width), *_lines(statement, sheet.width)]
    story += [*_open_ones(statement), *_changed(statement), *_meaning()]
    return write(sheet, story)


def _sheet(statement: Statement, paper: Paper) -> Sheet:
    demo = _("INVENTED DEMONSTRATION DATA. ") if statement.contractor.is_demo else ""
    shown = {"subject": subject_of(statement), "begins": long_day(statement.begins), "ends": long_day(statement.ends)}
    return Sheet(
        title=_("Statement for %(subject)s, %(begins)s to %(ends)s") % shown,
        author=statement.contractor.name,
        head_left=(statement.contractor.name, statement.contractor.address),
        head_right=demo + _("Statement for %(subject)s") % shown,
        foot=_("Statement for %(subject)s, %(begins)s to %(ends)s, as known on %(known)s")
        % (shown | {"known": long_day(statement.known_on)}),
        paper=paper,
        is_landscape=True,
    )


def _title(statement: Statement) -> str:
    shown = {
        "begins": long_day(statement.begins),
        "ends": long_day(statement.ends),
        "known": long_day(statement.known_on),
    }
    return _("%(begins)s to %(ends)s, as known on %(known)s") % shown


def _opening(statement: Statement) -> Iterator[Flowable]:
    lead, rest = opening(statement)
    yield paragraph(SENTENCE, lead)
    if rest:
        yield paragraph(BODY, rest)


def _unreviewed(statement: Statement, width: float) -> Iterator[Flowable]:
    """Said at the top, set by set: nobody has checked these against their source."""
    if not statement.unreviewed:
        return
    title = paragraph(HEADING, _("Limit sets that nobody has reviewed"))
    lead = _("What stands below about these sets rests on figures that no named person has checked against the source:")
    names = [paragraph(BODY, Bold(f"{each}: "), _("not reviewed.")) for each in statement.unreviewed[:20]]
    if more := len(statement.unreviewed) - 20:
        names += [paragraph(BODY, _("and %d more, each marked in its row.") % more)] if more > 0 else []
    yield framed([title, paragraph(BODY, lead), *names], width)


def _lines(statement: Statement, width: float) -> Iterator[Flowable]:
    if not statement.lines:
        return
    begins, ends, to = statement.begins, statement.ends, axis_of(statement)[1]
    widths = [width * share for share in SHARES]
    head = [
        paragraph(SMALL, _("Appliance")),
        [
            paragraph(SMALL, _("%(begins)s to %(ends)s") % {"begins": long_day(begins), "ends": long_day(ends)}),
            paragraph(TINY, _("the line runs on to %s") % long_day(to)),
        ],
        *(paragraph(SMALL, each) for each in (_("Last record"), _("As recorded, by set and version"))),
        *(paragraph(SMALL, each) for each in (_("Next due"), _("Open"))),
    ]
    rows = [_row(statement, each, widths) for each in statement.lines]
    yield table([head, *rows], widths)
    yield Spacer(1, 4)


def _row(statement: Statement, line: Line, widths: list[float]) -> list[Any]:
    strip = statement_strip(statement_rule(statement, line))
    return [
        _appliance_cell(line),
        [StripDrawing(strip, widths[1] - 10)],
        [paragraph(SMALL, each, most=MOST_IN_A_CELL) for each in _last_words(line)],
        _limited_cell([(f"{word}: ", sets) for word, sets in sets_by_outcome(line)]),
        [paragraph(SMALL, *each, most=MOST_IN_A_CELL) for each in _due_words(line)],
        _limited_cell(_open_words(line)),
    ]


def _appliance_cell(line: Line) -> list[Flowable]:
    appliance = line.appliance
    where = ", ".join(filter(None, (appliance.building.name, appliance.room)))
    parts = [paragraph(SMALL, Bold(appliance.name), most=MOST_IN_A_CELL), paragraph(TINY, where, most=MOST_IN_A_CELL)]
    if appliance.serial:
        parts.append(paragraph(TINY, _("serial %s") % appliance.serial, most=MOST_IN_A_CELL))
    if appliance.in_service_to:
        parts.append(paragraph(TINY, _("in service to %s") % long_day(appliance.in_service_to)))
    for each in line.idle[:MOST_IN_A_ROW]:
        shown = {"first": long_day(each.first), "last": long_day(each.last)}
        parts.append(paragraph(TINY, _("out of use from %(first)s to %(last)s, left out") % shown))
    return parts


def _limited_cell(parts: list[tuple[str, str]]) -> list[Flowable]:
    """Bold word first, then the rest; what doesn't fit is counted."""
    cells = [paragraph(SMALL, Bold(bold), plain, most=MOST_IN_A_CELL) for bold, plain in parts[:MOST_IN_A_ROW]]
    more = len(parts) - MOST_IN_A_ROW
    if more > 0:
        cells.append(paragraph(SMALL, _("and %d more, all of them in the CSV") % more))
    return cells or [paragraph(SMALL, NONE)]


def _last_words(line: Line) -> Iterator[str]:
    if line.last is None:
        yield _("No test on record.")
        yield from _attempt_words(line)
        return
    shown = {"day": long_day(line.last.local_date), "outcome": line.last.get_outcome_display()}
    yield _("%(day)s, %(outcome)s, as recorded.") % shown
    if line.last.disposition != Visit.Disposition.IN_USE:
        yield f"{capital(line.last.get_disposition_display())}."
    yield ngettext("%d visit in the period.", "%d visits in the period.", line.visits_in_period) % line.visits_in_period
    yield from _attempt_words(line)
    for each in line.not_evidence:
        yield _("NO EVIDENCE: %s") % said(each)


def _attempt_words(line: Line) -> Iterator[str]:
    """The newest ones, with all that proves them; what doesn't fit is counted."""
    for each in line.attempts[-MOST_IN_A_ROW:]:
        yield _("No access on %s") % attempt_words(each)
    if (more := len(line.attempts) - MOST_IN_A_ROW) > 0:
        yield _("and %d attempts before these, all of them in the CSV") % more


def _due_words(line: Line) -> Iterator[tuple[object, ...]]:
    if line.due is not None:
        yield Bold(long_day(line.due)), _(", by %s") % line.due_by
    elif not line.undecided:
        yield (no_date_words(line),)
    if line.late_days:
        yield (Bold(ngettext("%d day late", "%d days late", line.late_days) % line.late_days),)
    if line.due_doubt:
        yield (said(line.due_doubt),)
    for each in line.undecided:
        yield Bold(_("Can't be told: ")), said(each)
    for each in line.not_counted[:MOST_IN_A_ROW]:
        yield (said(each),)
    if (more := len(line.not_counted) - MOST_IN_A_ROW) > 0:
        yield (_("and %d more visits that counted nothing, all of them in the CSV") % more,)


def _open_words(line: Line) -> list[tuple[str, str]]:
    flags = [(f"{each.get_kind_display()}: ", said(flag_words(each))) for each in line.flags]
    defects = [(_("defect: "), _defect_words(each)) for each in line.defects]
    return flags + defects


def _defect_words(defect: Any) -> str:
    by = _(", to be repaired by %s") % long_day(defect.repair_by) if defect.repair_by else ""
    return f"{defect.what}{by}"


def _open_ones(statement: Statement) -> Iterator[Flowable]:
    """Those without a record, named: an empty row is easily overlooked."""
    if statement.without_record:
        yield from heading(_("In service without a record"))
        names = [f"{each.appliance.name}, {each.appliance.building.name}" for each in statement.without_record]
        yield paragraph(BODY, "; ".join(names))


def _changed(statement: Statement) -> Iterator[Flowable]:
    """What somebody changed on the register since: it may have taken an appliance, or a check, out of the period."""
    if statement.changes:
        yield from heading(_("Changed on the register since %s") % long_day(statement.begins))
        for each in statement.changes[:MOST_CHANGES]:
            when = {"day": long_day(each.record.received_at.date()), "who": str(each.record.actor)}
            yield paragraph(SMALL, Bold(_("%(day)s, %(who)s: ") % when), said(entry_line(each)), most=MOST_IN_A_CELL)
        if (more := len(statement.changes) - MOST_CHANGES) > 0:
            yield paragraph(SMALL, _("and %d more, on the pages of appliances and buildings") % more)


def _meaning() -> Iterator[Flowable]:
    yield Spacer(1, 4)
    yield paragraph(
        TINY,
        Bold(_("What the signs mean. ")),
        _(
            "Grey stretch: the days of the period on which it was in service. Filled pin: the last record; an arrow "
            "where it lies before the line begins. Upright bar: the day by which it is due; hatched: days past it. An "
            "appliance counts if it was in service on at least one day of the period. Outside, if anything as left is "
            "outside; as found where nothing was read after."
        ),
    )
    yield paragraph(
        TINY,
        Bold(_("Cautions. ")),
        _(
            "This statement repeats readings against limits as recorded and as known on the day named; it does not "
            "declare any appliance safe. The manufacturer's instructions, the local code and the judgement of licensed "
            "persons come first."
        ),
    )


# ---- CSV ----


def statement_csv(statement: Statement) -> bytes:
    """A row for each appliance and each set that it was judged by; one with empty set columns where it was by none."""
    rows = (_csv_row(statement, line, outcome) for line in statement.lines for outcome in line.outcomes or (None,))
    return csv_bytes(COLUMNS, ([row[name] for name in COLUMNS] for row in rows))


COLUMNS = (
    "client",
    "building",
    "appliance",
    "appliance_id",
    "serial",
    "in_service_from",
    "in_service_to",
    "period_begins",
    "period_ends",
    "known_on",
    "visits_in_period",
    "no_access",
    "last_record_on",
    "last_visit_id",
    "last_record_sha256",
    "last_outcome",
    "last_disposition",
    "limit_set",
    "limit_set_version",
    "set_outcome_as_recorded",
    "set_evidence",
    "set_reviewed",
    "next_due",
    "due_by",
    "late_days",
    "due_doubt",
    "cannot_be_told",
    "not_counted",
    "out_of_use",
    "open_flags",
    "open_defects",
    "not_evidence",
)


def _csv_row(statement: Statement, line: Line, outcome: SetOutcome | None) -> dict[str, Any]:
    appliance, last = line.appliance, line.last
    return {
        "client": statement.client.name,
        "building": appliance.building.name,
        "appliance": appliance.name,
        "appliance_id": str(appliance.id),
        "serial": appliance.serial,
        "in_service_from": appliance.in_service_from,
        "in_service_to": appliance.in_service_to,
        "period_begins": statement.begins,
        "period_ends": statement.ends,
        "known_on": statement.known_on,
        "visits_in_period": line.visits_in_period,
        "no_access": " ".join(attempt_words(each) for each in line.attempts),
        "last_record_on": last and last.local_date,
        "last_visit_id": last and str(last.id),
        "last_record_sha256": last and last.record.sha256,
        "last_outcome": last and last.outcome,
        "last_disposition": last and last.disposition,
        "limit_set": outcome and outcome.name,
        "limit_set_version": outcome and outcome.version,
        "set_outcome_as_recorded": outcome and outcome.on_paper,
        "set_evidence": outcome and outcome.evidence,
        "set_reviewed": outcome and ("yes" if outcome.reviewed else "no"),
        "next_due": line.due,
        "due_by": line.due_by,
        "late_days": line.late_days,
        "due_doubt": line.due_doubt,
        "cannot_be_told": "; ".join(line.undecided),
        "not_counted": "; ".join(line.not_counted),
        "out_of_use": "; ".join(f"{each.first} to {each.last}" for each in line.idle),
        "open_flags": "; ".join(f"{each.kind}: {flag_words(each)}" for each in line.flags),
        "open_defects": "; ".join(each.what for each in line.defects),
        "not_evidence": "; ".join(line.not_evidence),
    }
