"""A sheet of paper: its size, its styles, what stands at its head and foot, and pages that say n of m.

The same input gives the same bytes: no clock, no random id, no name of a machine gets in.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Literal

from django.utils.translation import get_language
from django.utils.translation import gettext as _
from reportlab.lib.colors import Color, black
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate, Spacer, Table

from reports.strips import hatch
from reports.text import BOLD, REGULAR, Bold, clean, paragraph

Paper = Literal["A4", "Letter"]
SIZES = {"A4": A4, "Letter": LETTER}
MARGIN, HEAD, FOOT = 42.0, 50.0, 36.0
EDGE = 14.0
HAIRLINE, HAIR = 0.5, Color(0.6, 0.6, 0.6)


def _style(size: float, leading: float, face: str = REGULAR, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        f"{face} {size} {sorted(more)}",
        fontName=face,
        fontSize=size,
        leading=leading,
        textColor=black,
        bulletFontName=REGULAR,
        splitLongWords=1,
        **more,
    )


TITLE = _style(16, 19, BOLD, spaceAfter=4)
SENTENCE = _style(11, 14.5, spaceAfter=6)
HEADING = _style(10.5, 13, BOLD, spaceBefore=7, spaceAfter=1)
BODY = _style(9, 12)
BODY_APART = _style(9, 12, spaceAfter=2)
SMALL = _style(7.8, 10)
SMALL_RIGHT = _style(7.8, 10, alignment=TA_RIGHT)
TINY = _style(7, 8.8)


@dataclass(frozen=True)
class Sheet:
    """One document: what its file says it is, and what each of its pages carries."""

    title: str
    author: str
    head_right: str
    head_left: tuple[str, str]
    foot: str
    paper: Paper = "A4"
    is_landscape: bool = False

    def __post_init__(self) -> None:
        if self.paper not in SIZES:
            raise ValueError(f"paper is {', '.join(SIZES)}, not {self.paper!r}")

    @property
    def size(self) -> tuple[float, float]:
        size = SIZES[self.paper]
        return landscape(size) if self.is_landscape else size

    @property
    def width(self) -> float:
        """From margin to margin."""
        return float(self.size[0] - 2 * MARGIN)


class _Numbered(Canvas):
    """Keeps its pages until it knows how many there are, then writes "page n of m" on each."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self.setFont(REGULAR, TINY.fontSize)
            words = _("Page %(number)d of %(count)d") % {"number": number, "count": len(self._kept)}
            self.drawRightString(self._pagesize[0] - MARGIN, FOOT - 16, words)
            super().showPage()
        super().save()


def write(sheet: Sheet, story: Sequence[Flowable]) -> bytes:
    """The document's bytes."""
    out = BytesIO()
    width, height = sheet.size
    document = BaseDocTemplate(
        out,
        pagesize=(width, height),
        title=clean(sheet.title),
        author=clean(sheet.author),
        creator="",
        producer="",
        lang=get_language() or "en",
        displayDocTitle=True,
        invariant=1,
        initialFontName=REGULAR,
        initialFontSize=BODY.fontSize,
    )
    frame = Frame(
        MARGIN, FOOT, sheet.width, height - HEAD - FOOT, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )
    furniture = PageTemplate(frames=[frame], onPage=lambda canvas, _document: _furnish(canvas, sheet))
    document.addPageTemplates([furniture])
    document.build(list(story), canvasmaker=_Numbered)
    return out.getvalue()


def _furnish(canvas: Canvas, sheet: Sheet) -> None:
    name, rest = sheet.head_left
    half = sheet.width / 2 - 10
    top = sheet.size[1] - HEAD + 17
    left = paragraph(SMALL, Bold(clean(name, 60)), f", {clean(rest, 60)}" if rest else "")
    right = paragraph(SMALL_RIGHT, clean(sheet.head_right, 110))
    for words, x in ((left, MARGIN), (right, MARGIN + sheet.width - half)):
        words.wrapOn(canvas, half, HEAD)
        words.drawOn(canvas, x, top)
    canvas.setStrokeColor(black)
    canvas.setLineWidth(0.9)
    canvas.line(MARGIN, top - 5, MARGIN + sheet.width, top - 5)
    canvas.setLineWidth(HAIRLINE)
    canvas.line(MARGIN, FOOT - 6, MARGIN + sheet.width, FOOT - 6)
    foot = paragraph(TINY, clean(sheet.foot, 150))
    foot.wrapOn(canvas, sheet.width - 80, FOOT)
    foot.drawOn(canvas, MARGIN, FOOT - 18)


def heading(words: str) -> list[Flowable]:
    """A heading that never stands alone at the foot of a page."""
    return [CondPageBreak(60), paragraph(HEADING, words)]


def columns(parts: Sequence[Sequence[Flowable]], widths: Sequence[float], gap: float = 18.0) -> Table:
    """Blocks side by side, each in its column."""
    cells = [list(part) or [Spacer(1, 1)] for part in parts]
    last = len(cells) - 1
    style = plain(0, 0)
    style += [("RIGHTPADDING", (n, 0), (n, 0), 0 if n == last else gap) for n in range(len(cells))]
    return Table([cells], colWidths=list(widths), style=style, splitInRow=1)


def facts(pairs: Sequence[tuple[str, str]], width: float, first: float = 47.0) -> Table:
    """Name and value, one below the other."""
    rows = [[paragraph(SMALL, name), paragraph(SMALL, value)] for name, value in pairs]
    style = plain(0, 0.9)
    return Table(rows, colWidths=[first, width - first], style=style, splitInRow=1)


def table(
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float],
    *,
    right: Sequence[int] = (),
    heads: int = 1,
    small: ParagraphStyle = SMALL,
) -> Table:
    """Rows under a head line, hairlines between; the columns `right` hold figures; `small` is the
    style of cells that are plain strings."""
    style: list[tuple[Any, ...]] = [
        *plain(2, 1.8 if small is SMALL else 0.9),
        ("FONT", (0, 0), (-1, -1), REGULAR, small.fontSize, small.leading),
        ("VALIGN", (0, 0), (-1, heads - 1), "BOTTOM"),
        ("LINEBELOW", (0, heads - 1), (-1, heads - 1), 0.9, black),
        ("LINEBELOW", (0, heads), (-1, -1), HAIRLINE, HAIR),
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
    ]
    style += [("ALIGN", (n, 0), (n, -1), "RIGHT") for n in right]
    return Table(rows, colWidths=list(widths), style=style, repeatRows=heads, splitInRow=1)


def plain(across: float, down: float) -> list[tuple[Any, ...]]:
    """A table's style without lines: its paddings, cells from the top, and a face of ours where it names one."""
    whole = ((0, 0), (-1, -1))
    paddings = {"LEFT": across, "RIGHT": across, "TOP": down, "BOTTOM": down}
    return [
        ("FONT", *whole, REGULAR, SMALL.fontSize, SMALL.leading),
        ("VALIGN", *whole, "TOP"),
        *((f"{side}PADDING", *whole, points) for side, points in paddings.items()),
    ]


class _Framed(Table):
    """Draws the hatched edge as high as it turns out to be, on each page that it goes over."""

    def draw(self) -> None:
        hatch(self.canv, 0, 0, EDGE, self._height)
        super().draw()


def framed(parts: Sequence[Flowable], width: float) -> Table:
    """The only framed thing: heavy lines above and below, a hatched edge at the left."""
    style = [
        *plain(0, 0),
        ("LINEABOVE", (0, 0), (-1, 0), 2.5, black),
        ("LINEBELOW", (0, -1), (-1, -1), 2.5, black),
        ("TOPPADDING", (1, 0), (1, 0), 5),
        ("BOTTOMPADDING", (1, 0), (1, -1), 2),
        ("BOTTOMPADDING", (1, -1), (1, -1), 5),
    ]
    rows = [["", part] for part in parts]
    inside = width - EDGE - 12
    return _Framed(rows, colWidths=[width - inside, inside], style=style, spaceAfter=8)
