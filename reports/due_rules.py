"""The rule of a due date on paper: the period, the last record, the day by which the next is due, days past it."""

from dataclasses import dataclass
from datetime import date, timedelta

from reportlab.lib.colors import black
from reportlab.platypus import Flowable

from fleet.queries.statements import Statement
from reports.rules import GREY, HALF_STRETCH, HALF_WALL, RADIUS, hatch

UP, DOWN = 16.0, 8.0
# A due date further out than this stands beyond the line's end: it would press the period into a corner.
FURTHEST = timedelta(days=2 * 366)
HALF_PERIOD = 2.6


@dataclass(frozen=True)
class DueRule:
    """Days on a line from `low` to `high`.

    begins, ends: the days in service; late_to: the day up to which being late is counted; last and due: None where
    there is none.
    """

    low: date
    high: date
    begins: date
    ends: date
    late_to: date
    last: date | None
    due: date | None

    def x(self, when: date, width: float) -> float:
        return min(max((when - self.low) / (self.high - self.low), 0.0), 1.0) * width


def axis_of(statement: Statement) -> tuple[date, date]:
    """One line for all rows: the period and every due date that isn't far beyond it."""
    near = [each.due for each in statement.lines if each.due and each.due <= statement.ends + FURTHEST]
    return statement.begins, max([statement.ends, *near]) + timedelta(days=14)


class DueDrawing(Flowable):
    """A due rule as wide as its cell."""

    def __init__(self, rule: DueRule, width: float) -> None:
        super().__init__()
        self.rule, self.width = rule, width

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.width, UP + DOWN

    def draw(self) -> None:
        c, rule, width = self.canv, self.rule, self.width
        c.translate(0, DOWN)
        c.setStrokeColor(black)
        c.setLineWidth(0.8)
        c.line(0, 0, width, 0)
        self._draw_period()
        if rule.due is not None:
            self._draw_due(rule.due)
        if rule.last is not None:
            self._draw_last(rule.last)

    def _draw_period(self) -> None:
        c, rule = self.canv, self.rule
        start, end = rule.x(rule.begins, self.width), rule.x(rule.ends, self.width)
        c.setFillColor(GREY)
        c.setLineWidth(0.6)
        c.rect(start, -HALF_PERIOD, end - start, 2 * HALF_PERIOD, fill=1)
        c.setFillColor(black)

    def _draw_due(self, due: date) -> None:
        """The wall, and hatching over the days of the period that lie past it."""
        c, rule = self.canv, self.rule
        if due > rule.high:
            return
        wall, end = rule.x(due, self.width), rule.x(rule.late_to, self.width)
        if end > wall:
            c.setFillColorRGB(1, 1, 1)
            c.rect(wall, -HALF_STRETCH, end - wall, 2 * HALF_STRETCH, stroke=0, fill=1)
            c.setFillColor(black)
            hatch(c, wall, -HALF_STRETCH, end - wall, 2 * HALF_STRETCH)
        c.setLineWidth(2)
        c.line(wall, -HALF_WALL + 1, wall, HALF_WALL - 1)

    def _draw_last(self, last: date) -> None:
        c, rule = self.canv, self.rule
        x = rule.x(last, self.width)
        top = UP - RADIUS - 1
        c.setLineWidth(1.3)
        c.line(x, HALF_PERIOD if last >= rule.low else 0, x, top)
        if last >= rule.low:
            c.circle(x, top, RADIUS, stroke=1, fill=1)
            return
        path = c.beginPath()
        path.moveTo(x - RADIUS - 1.5, top)
        path.lineTo(x + RADIUS, top + RADIUS)
        path.lineTo(x + RADIUS, top - RADIUS)
        path.close()
        c.drawPath(path, stroke=1, fill=1)
