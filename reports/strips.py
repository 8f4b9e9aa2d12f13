"""Strips drawn on paper, black and white throughout: the same marks as on pages. Sizes are in points (1/72 inch)."""

from reportlab.lib.colors import Color, black, white
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from fleet.presentation.strips import Head, Span, Strip, Upright, Words
from reports.text import BOLD, REGULAR, width_pt

GREY = Color(0.74, 0.74, 0.74)
# One em of a strip; its words and captions are set a little smaller than its figures.
EM, WORD_SIZE = 8.0, 7.0
HATCH_STEP = 4.5
STROKES = {"line": 0.8, "spread": 1.3, "wall": 2.0, "unsure": 0.8, "stem": 1.3, "notch": 1.6, "today": 0.6}


class StripDrawing(Flowable):
    """A strip as wide as the cell that it stands in."""

    def __init__(self, strip: Strip, width: float) -> None:
        super().__init__()
        self.strip, self.width, self.height = strip, width, strip.height_em * EM

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        drawers = {Span: self._draw_span, Upright: self._draw_upright, Head: self._draw_head, Words: self._draw_words}
        for mark in self.strip.marks:
            self.canv.setStrokeColor(black)
            self.canv.setFillColor(black)
            drawers[type(mark)](mark)

    def _x(self, at_pct: float) -> float:
        return at_pct / 100 * self.width

    def _y(self, y_em: float) -> float:
        return self.height - y_em * EM

    def _draw_span(self, span: Span) -> None:
        c, start, end = self.canv, self._x(span.from_pct), self._x(span.to_pct)
        top, high = self._y(span.y_em), span.height_em * EM
        if not high:
            c.setLineWidth(STROKES[span.kind])
            c.line(start, top, end, top)
        elif span.kind == "beyond":
            hatch(c, start, top - high, end - start, high)
        else:
            c.setFillColor(GREY)
            c.setLineWidth(0.7)
            c.rect(start, top - high, end - start, high, fill=1)

    def _draw_upright(self, upright: Upright) -> None:
        c, x, inside = self.canv, self._x(upright.at_pct), 0.4 if upright.kind == "notch" else 0.0
        c.setLineWidth(STROKES[upright.kind])
        if upright.kind == "notch":
            c.setStrokeColor(white)
        c.line(x, self._y(upright.top_em) - inside, x, self._y(upright.bottom_em) + inside)

    def _draw_head(self, head: Head) -> None:
        """Filled or open; an arrow at the line's end where the true value lies beyond."""
        c, x, y, radius = self.canv, self._x(head.at_pct), self._y(head.y_em), head.radius_em * EM
        c.setLineWidth(1.3)
        c.setFillColor({"found": white, "cut": GREY}.get(head.kind, black))
        if not head.beyond:
            c.circle(x, y, radius, stroke=1, fill=1)
            return
        back, path = x - 0.7 * head.beyond * radius, c.beginPath()
        path.moveTo(x + 1.4 * head.beyond * radius, y)
        path.lineTo(back, y + radius)
        path.lineTo(back, y - radius)
        path.close()
        c.drawPath(path, stroke=int(head.kind != "cut"), fill=1)

    def _draw_words(self, words: Words) -> None:
        faces = [(words.figure, BOLD, EM)] if words.kind == "figure" else [(words.figure, REGULAR, WORD_SIZE)]
        if words.word:
            faces.append((f" {words.word}", REGULAR, WORD_SIZE))
        x = self._x(words.at_pct) + words.side * words.dx_em * EM
        x -= 0 if words.side > 0 else sum(width_pt(*each) for each in faces)
        for text, face, size in faces:
            self.canv.setFont(face, size)
            self.canv.drawString(x, self._y(words.y_em), text)
            x += width_pt(text, face, size)


def hatch(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    """Slanting strokes that fill a box."""
    canvas.saveState()
    box = canvas.beginPath()
    box.rect(x, y, width, height)
    canvas.clipPath(box, stroke=0, fill=0)
    canvas.setLineWidth(1.1)
    at = x - height
    while at < x + width:
        canvas.line(at, y, at + height, y + height)
        at += HATCH_STEP
    canvas.restoreState()
