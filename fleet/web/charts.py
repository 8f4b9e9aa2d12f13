"""Drift: the rule turned upright through time, as SVG in two sizes.

The band is a pale stripe, limits are heavy lines with hatching beyond, each visit is an upright stroke from
its open end (found) to its filled end (left), and slanting lines join what was left with what was next
found. After today come the 50 and the 90 of 100 outcomes; below the days, the due date's rule on the same
scale."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from fleet.web.axes import month_ticks, tick_decimals, value_ticks
from fleet.web.drift_chart import DriftChart, DriftVisit, Outcome, drift_words
from fleet.web.due_rule import due_line
from fleet.web.figures import figure
from fleet.web.svg import element, points

__all__ = ["NARROW", "WIDE", "DriftChart", "DriftVisit", "Outcome", "drift_svg", "drift_words"]

SHORTEST_SPAN = timedelta(days=90)


@dataclass(frozen=True)
class Size:
    """A drawing's size in its own units, and the room around the plot."""

    name: str
    width: float
    height: float
    left: float
    right: float
    value_ticks: int
    month_ticks: int
    top: float = 34
    below: float = 76

    @property
    def right_x(self) -> float:
        return self.width - self.right

    @property
    def bottom_y(self) -> float:
        return self.height - self.below


WIDE = Size("wide", 900, 440, left=58, right=92, value_ticks=9, month_ticks=8)
NARROW = Size("narrow", 360, 400, left=44, right=74, value_ticks=7, month_ticks=4)
LABEL_APART = 17
HATCHED = 12


def drift_svg(chart: DriftChart, size: Size) -> SafeString:
    """The chart at one of the two sizes, as one labelled picture."""
    paper = _Paper(chart, size)
    return element(
        "svg",
        element("title", drift_words(chart)),
        *_scales(paper),
        *_bounds(paper),
        *_fan(paper),
        *_limit_lines(paper),
        *_visits(paper),
        *_today(paper),
        *_due(paper),
        class_=f"chart {size.name}",
        role="img",
        viewBox=f"0 0 {size.width:g} {size.height:g}",
    )


class _Paper:
    """The chart with its two scales."""

    def __init__(self, chart: DriftChart, size: Size) -> None:
        self.chart, self.size = chart, size
        self.low, self.high = _value_ends(chart)
        self.first, self.last = _day_ends(chart)

    def x(self, day: date) -> float:
        size = self.size
        part = (day - self.first) / (self.last - self.first)
        return size.left + (size.right_x - size.left) * part

    def y(self, value: float) -> float:
        size = self.size
        return size.bottom_y - (size.bottom_y - size.top) * (value - self.low) / (self.high - self.low)


def _value_ends(chart: DriftChart) -> tuple[float, float]:
    """From under the lowest to over the highest of all that is drawn; the fan counts only between the
    limits."""
    fan = [end for each in chart.course for end in (each.low90, each.high90)]
    bounds = [chart.lower, chart.upper, chart.band_lower, chart.band_upper, chart.target]
    read = [value for visit in chart.visits for value in (visit.found, visit.left)]
    values = [value for value in (*bounds, *read) if value is not None]
    values += [_between(value, chart.lower, chart.upper) for value in fan]
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = max((high - low) * 0.09, 2 * 10.0**-chart.decimals)
    return low - room, high + room


def _day_ends(chart: DriftChart) -> tuple[date, date]:
    due = [chart.due.last_day, chart.due.horizon, chart.due.planned] if chart.due else []
    course = [each.on for each in chart.course]
    days = [each for each in (chart.today, *(visit.on for visit in chart.read_visits), *course, *due) if each]
    length = max(max(days) - min(days), SHORTEST_SPAN)
    return min(days) - length * 0.03, min(days) + length * 1.02


def _between(value: float, lower: float | None, upper: float | None) -> float:
    value = value if lower is None else max(value, lower)
    return value if upper is None else min(value, upper)


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> SafeString:
    return element("line", class_=kind, x1=float(x1), y1=float(y1), x2=float(x2), y2=float(y2))


def _rect(kind: str, x: float, y: float, width: float, height: float, fill: str | None = None) -> SafeString:
    return element(
        "rect", class_=kind, x=float(x), y=float(y), width=float(width), height=float(height), fill=fill
    )


def _text(words: str, x: float, y: float, *, kind: str = "caption", anchor: str = "start") -> SafeString:
    return element("text", words, class_=kind, x=float(x), y=float(y), text_anchor=anchor)


def _scales(paper: _Paper) -> Iterator[SafeString]:
    chart, size = paper.chart, paper.size
    ticks = value_ticks(paper.low, paper.high, size.value_ticks)
    decimals = tick_decimals(ticks)
    yield _text(chart.unit, size.left - 8, size.top - 14, anchor="end")
    for tick in ticks:
        yield _line("grid", size.left - 5, paper.y(tick), size.left, paper.y(tick))
        yield _text(figure(tick, decimals), size.left - 8, paper.y(tick) + 5, anchor="end")
    days, months_apart = month_ticks(paper.first, paper.last, size.month_ticks)
    for number, day in enumerate(days):
        yield _line("grid", paper.x(day), size.top, paper.x(day), size.height - 14)
        yield _text(_tick_words(day, months_apart, number), paper.x(day) + 4, size.height - 12)


def _tick_words(day: date, months_apart: int, number: int) -> str:
    if months_apart >= 12:
        return date_format(day, "Y")
    return date_format(day, "M Y" if number == 0 or day.month == 1 else "M")


def _bounds(paper: _Paper) -> Iterator[SafeString]:
    """Band, hatching beyond the limits, target: all that lies under the readings; and their names at the
    right."""
    chart, size = paper.chart, paper.size
    left, width = size.left, size.right_x - size.left
    if chart.band_lower is not None or chart.band_upper is not None:
        top = paper.y(_or(chart.band_upper, paper.high))
        yield _rect("band", left, top, width, paper.y(_or(chart.band_lower, paper.low)) - top)
    for edge in (chart.band_lower, chart.band_upper):
        if edge is not None:
            yield _line("edge", left, paper.y(edge), size.right_x, paper.y(edge))
    for limit, shift in ((chart.lower, 0), (chart.upper, -HATCHED)):
        if limit is not None:
            yield _rect("beyond", left, paper.y(limit) + shift, width, HATCHED, fill="url(#hatching)")
    if chart.target is not None:
        yield _line("target", left, paper.y(chart.target), size.right_x, paper.y(chart.target))
    yield from _names(paper)


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _names(paper: _Paper) -> Iterator[SafeString]:
    chart = paper.chart
    named = [
        (chart.upper, gettext("limit"), "figure"),
        (chart.band_upper, gettext("band"), "caption"),
        (chart.target, gettext("target"), "caption"),
        (chart.band_lower, gettext("band"), "caption"),
        (chart.lower, gettext("limit"), "figure"),
    ]
    shown = sorted((paper.y(at), at, word, kind) for at, word, kind in named if at is not None)
    heights = spread([y for y, *_ in shown], LABEL_APART, paper.size.top, paper.size.bottom_y)
    for height, (_, at, word, kind) in zip(heights, shown, strict=True):
        yield _text(f"{figure(at, chart.decimals)} {word}", paper.size.right_x + 7, height + 5, kind=kind)


def spread(places: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """The rising places, moved as little as one pass each way allows, `apart` from each other and inside
    the ends."""
    down: list[float] = []
    for place in places:
        down.append(max(place, low if not down else down[-1] + apart))
    up: list[float] = []
    for place in reversed(down):
        up.append(min(place, high if not up else up[-1] - apart))
    return up[::-1]


def _limit_lines(paper: _Paper) -> Iterator[SafeString]:
    """Heavy, and over the fan."""
    for limit in (paper.chart.lower, paper.chart.upper):
        if limit is not None:
            yield _line("wall", paper.size.left, paper.y(limit), paper.size.right_x, paper.y(limit))


def _fan(paper: _Paper) -> Iterator[SafeString]:
    """The outcomes, in a window that ends at the limits, so that the hatching stays clear."""
    chart, size = paper.chart, paper.size
    if not chart.course:
        return
    top, bottom = paper.y(_or(chart.upper, paper.high)), paper.y(_or(chart.lower, paper.low))
    width, height = size.right_x - size.left, bottom - top
    yield element(
        "svg",
        _ribbon(paper, "fan90", lambda each: each.low90, lambda each: each.high90),
        _ribbon(paper, "fan50", lambda each: each.low50, lambda each: each.high50),
        _median(paper),
        class_="window",
        x=size.left,
        y=top,
        width=width,
        height=height,
        viewBox=f"{size.left:g} {top:.2f} {width:g} {height:.2f}",
    )


def _median(paper: _Paper) -> SafeString:
    middle = [(paper.x(each.on), paper.y(each.median)) for each in paper.chart.course]
    return element("polyline", class_="median", points=points(middle))


def _ribbon(
    paper: _Paper, kind: str, low: Callable[[Outcome], float], high: Callable[[Outcome], float]
) -> SafeString:
    there = [(paper.x(each.on), paper.y(low(each))) for each in paper.chart.course]
    back = [(paper.x(each.on), paper.y(high(each))) for each in reversed(paper.chart.course)]
    return element("polygon", class_=kind, points=points(there + back))


def _visits(paper: _Paper) -> Iterator[SafeString]:
    visits = paper.chart.read_visits
    for before, after in pairwise(visits):
        yield _line("path", paper.x(before.on), paper.y(before.last), paper.x(after.on), paper.y(after.first))
    for visit in visits:
        yield from _visit(visit, paper)


def _visit(visit: DriftVisit, paper: _Paper) -> Iterator[SafeString]:
    x = paper.x(visit.on)
    if visit.found is not None and visit.left is not None:
        yield _line("stem", x, paper.y(visit.found), x, paper.y(visit.left))
    for value, kind in ((visit.left, "left"), (visit.found, "found")):
        if value is not None:
            yield element("circle", class_=kind, cx=x, cy=paper.y(value), r=5)


def _today(paper: _Paper) -> Iterator[SafeString]:
    x, size = paper.x(paper.chart.today), paper.size
    yield _line("today", x, size.top - 6, x, size.bottom_y + 34)
    yield _text(gettext("today"), min(x, size.width - 24), size.top - 12, kind="figure", anchor="middle")


def _due(paper: _Paper) -> Iterator[SafeString]:
    due, size = paper.chart.due, paper.size
    if due is None:
        return
    line = due_line(due, lambda day: 100 * (paper.x(day) - size.left) / (size.right_x - size.left))
    y = size.bottom_y + 24

    def across(pct: float) -> float:
        return size.left + (size.right_x - size.left) * pct / 100

    yield _line("line", size.left, y, across(line.beyond[0][0] if line.beyond else 100), y)
    for kind, ends in (("stretch", line.stretch), ("beyond", line.beyond[0] if line.beyond else None)):
        if ends:
            fill = "url(#hatching)" if kind == "beyond" else None
            yield _rect(kind, across(ends[0]), y - 5, across(ends[1]) - across(ends[0]), 10, fill=fill)
    for wall in line.walls:
        yield _line("wall", across(wall), y - 10, across(wall), y + 10)
    for day, kind, shift in ((due.planned, "left", -17), (due.horizon, "found", 17)):
        if day is not None:
            yield _line("stem", paper.x(day), y, paper.x(day), y + shift)
            yield element("circle", class_=kind, cx=paper.x(day), cy=y + shift, r=5)
