"""What ties a paper to the record behind it: id, hash, corrections, and a code that holds the first two."""

from collections.abc import Iterator
from datetime import date

import segno
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.lib.colors import black
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from fleet.assess.judging.visit_facts import VisitFacts
from fleet.intake.visits import VisitIn
from fleet.models import Record
from fleet.models.records import content_of
from fleet.presentation.corrections import changed_fields, why_corrected
from fleet.presentation.days import day_and_time, long_day
from fleet.presentation.figures import NONE
from reports.paper import SMALL, TINY, columns, facts, plain
from reports.text import paragraph

CODE_SIDE = 66.0
SQUARE = 5.0
QUIET_MODULES = 4
MOST_FIELDS = 40


def code_text(record: Record) -> str:
    """What the code on the paper says."""
    return f"record {record.id}\nsha256 {record.sha256}"


def proof(visit: VisitFacts, known_on: date, width: float) -> Iterator[Flowable]:
    """The last block of the paper, never torn apart."""
    record = visit.visit.record
    text_width = width - CODE_SIDE
    pairs = [
        (_("Record"), str(record.id)),
        (_("Content"), _("SHA-256 %s") % record.sha256),
        (_("Received"), day_and_time(record.received_at, visit.zone)),
        (_("Corrections"), _corrections(visit, known_on)),
    ]
    said = paragraph(TINY, _("The code holds the record's id and hash, to be compared with the contractor's log."))
    block = columns([[facts(pairs, text_width - 18), said], [Code(code_text(record))]], [text_width, CODE_SIDE])
    yield Spacer(1, 2)
    yield KeepTogether(block)


def _corrections(visit: VisitFacts, known_on: date) -> str:
    count = len(visit.records) - 1
    shown = {"count": count, "day": long_day(known_on)}
    if not count:
        return _("Corrections to this record: none, as known on %(day)s.") % shown
    words = ngettext(
        "Corrections to this record: %(count)d, as known on %(day)s. This paper shows the newest.",
        "Corrections to this record: %(count)d, as known on %(day)s. This paper shows the newest.",
        count,
    )
    return words % shown


def correction_rows(visit: VisitFacts, width: float) -> Table:
    """The first record as a filled square, each correction as an open one, with who, when and why."""
    zone = visit.zone
    rows = []
    for number, record in enumerate(visit.records):
        why = why_corrected(record) if number else _("as first recorded")
        said = f"{day_and_time(record.received_at, zone)}, {record.actor}: {why} ({record.sha256[:16]}…)"
        changed = [paragraph(TINY, each, most=400) for each in _changed(visit, number)] if number else []
        rows.append([Square(is_filled=number == 0), [paragraph(SMALL, said, most=900), *changed]])
    style = [*plain(0, 1), ("TOPPADDING", (0, 0), (0, -1), 3)]
    return Table(rows, colWidths=[12, width - 12], style=style, splitInRow=1)


def _changed(visit: VisitFacts, number: int) -> Iterator[str]:
    """Field, was, is, of what a correction says otherwise than what it corrects."""
    differences = changed_fields(*map(content_of, visit.records[number - 1 : number + 1]), VisitIn)
    for each in differences[:MOST_FIELDS]:
        shown = {"field": each.path, "was": each.before or NONE, "stands": each.after or NONE}
        yield _("%(field)s: was %(was)s, is %(stands)s") % shown
    if (more := len(differences) - MOST_FIELDS) > 0:
        yield _("and %d more fields, all of them in the record") % more


class Square(Flowable):
    """A link of the record's chain."""

    def __init__(self, *, is_filled: bool) -> None:
        super().__init__()
        self.is_filled = is_filled

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return SQUARE, SQUARE

    def draw(self) -> None:
        self.canv.setStrokeColor(black)
        self.canv.setFillColor(black)
        self.canv.setLineWidth(1)
        self.canv.rect(0, 0, SQUARE, SQUARE, stroke=1, fill=int(self.is_filled))


class Code(Flowable):
    """A QR code (ISO/IEC 18004, correction level M), drawn as runs of dark modules with its quiet zone."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows = [bytes(row) for row in segno.make_qr(text, error="m").matrix]

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return CODE_SIDE, CODE_SIDE

    def draw(self) -> None:
        module = CODE_SIDE / (len(self.rows) + 2 * QUIET_MODULES)
        self.canv.setFillColor(black)
        for down, row in enumerate(self.rows):
            y = CODE_SIDE - (down + QUIET_MODULES + 1) * module
            for start, length in _runs(row):
                self.canv.rect((start + QUIET_MODULES) * module, y, length * module, module, stroke=0, fill=1)


def _runs(row: bytes) -> Iterator[tuple[int, int]]:
    start = None
    for at, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = at
        elif not dark and start is not None:
            yield start, at - start
            start = None
