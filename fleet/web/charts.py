"""Drift: the rule turned upright through time, as SVG in two sizes.

The band is a pale stripe, limits are heavy lines with hatching beyond, each visit is an upright stroke from its open
end (found) to its filled end (left), and slanting lines join what was left with what was next found. After today come
the 50 and the 90 of 100 outcomes; below the days, the due date's rule on the same scale."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from fleet.presentation.drift_chart import DriftChart, DriftVisit, Outcome, drift_words
from fleet.presentation.due_rule import due_line
from fleet.presentation.figures import figure
from fleet.presentation.labels import text_em
from fleet.web.svg import element, points

__all__ = ["NARROW", "WIDE", "DriftChart", "DriftVisit", "Outcome", "drift_svg", "drift_words"]

SHORTEST_SPAN = timedelta(days=90)
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


@dataclass(frozen=True)
class Size:
    """A drawing's size in its own units, and how many ticks have room."""

    name: str
    width: float
    height: float
    values_at_most: int
    months_at_most: int
    years_at_most: int


WIDE = Size("wide", 900, 440, values_at_most=9, months_at_most=8, years_at_most=10)
NARROW = Size("narrow", 360, 400, values_at_most=7, months_at_most=3, years_at_most=5)
TEXT = 14
LABEL_APART = 17
HATCHED = 12
TOP = 34
BELOW = 76


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


@dataclass(frozen=True)
class _Name:
    """What stands at the right of a line across the plot."""

    at: float
    words: str
    kind: str


class _Paper:
    """The chart with its two scales, and as much room at both sides as its longest figures need."""

    def __init__(self, chart: DriftChart, size: Size) -> None:
        self.chart, self.size = chart, size
        self.low, self.high = _value_ends(chart)
        self.first, self.last = _day_ends(chart)
        ticks = value_ticks(self.low, self.high, size.values_at_most)
        self.ticks = [(tick, figure(tick, tick_decimals(ticks))) for tick in ticks]
        self.names = _names(chart)
        self.left = 14 + max(_long(words) for _, words in self.ticks)
        self.right = size.width - 10 - max((_long(name.words) for name in self.names), default=0)
        self.top, self.bottom = TOP, size.height - BELOW

    def x(self, day: date) -> float:
        return self.left + (self.right - self.left) * (day - self.first) / (self.last - self.first)

    def y(self, value: float) -> float:
        return self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low)


def _long(words: str) -> float:
    return text_em(words) * TEXT


def _value_ends(chart: DriftChart) -> tuple[float, float]:
    """From under the lowest to over the highest of all that is drawn; the fan counts only between the limits."""
    fan = [end for each in chart.course for end in (each.low90, each.high90)]
    bounds = [chart.lower, chart.upper, chart.band_lower, chart.band_upper, chart.target]
    read = [value for visit in chart.visits for value in (visit.found, visit.left)]
    values = [value for value in (*bounds, *read) if value is not None]
    values += [_between(value, chart.lower, chart.upper) for value in fan]
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = max((high - low) * 0.09, 2 * 10.0**-chart.decimals)
    # What is never negative gets no negative ticks.
    return max(low - room, 0.0) if low >= 0 else low - room, high + room


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
    return element("rect", class_=kind, x=float(x), y=float(y), width=float(width), height=float(height), fill=fill)


def _text(words: str, x: float, y: float, *, kind: str = "caption", anchor: str = "start") -> SafeString:
    return element("text", words, class_=kind, x=float(x), y=float(y), text_anchor=anchor)


def _scales(paper: _Paper) -> Iterator[SafeString]:
    size = paper.size
    yield _text(paper.chart.unit, 0, TOP - 14)
    for tick, words in paper.ticks:
        yield _line("grid", paper.left - 5, paper.y(tick), paper.left, paper.y(tick))
        yield _text(words, paper.left - 8, paper.y(tick) + 5, anchor="end")
    days, months_apart = month_ticks(paper.first, paper.last, size.months_at_most, size.years_at_most)
    for number, day in enumerate(days):
        yield _line("grid", paper.x(day), TOP, paper.x(day), size.height - 14)
        yield _text(_tick_words(day, months_apart, number), paper.x(day) + 4, size.height - 12)


def _tick_words(day: date, months_apart: int, number: int) -> str:
    if months_apart >= 12:
        return date_format(day, "Y")
    return date_format(day, "M Y" if number == 0 or day.month == 1 else "M")


def _bounds(paper: _Paper) -> Iterator[SafeString]:
    """What lies under the readings: band, hatching beyond the limits, target; their names at the right."""
    chart = paper.chart
    if chart.band_lower is not None or chart.band_upper is not None:
        yield _across("band", paper, _or(chart.band_upper, paper.high), _or(chart.band_lower, paper.low))
    for edge in (chart.band_lower, chart.band_upper):
        yield from _level("edge", paper, edge)
    for limit, shift in ((chart.lower, 0), (chart.upper, -HATCHED)):
        if limit is not None:
            y, width = paper.y(limit) + shift, paper.right - paper.left
            yield _rect("beyond", paper.left, y, width, HATCHED, fill="url(#hatching)")
    yield from _level("target", paper, chart.target)
    heights = spread([paper.y(name.at) for name in paper.names], LABEL_APART, paper.top, paper.bottom)
    for height, name in zip(heights, paper.names, strict=True):
        yield _text(name.words, paper.right + 7, height + 5, kind=name.kind)


def _across(kind: str, paper: _Paper, upper: float, lower: float) -> SafeString:
    top = paper.y(upper)
    return _rect(kind, paper.left, top, paper.right - paper.left, paper.y(lower) - top)


def _level(kind: str, paper: _Paper, value: float | None) -> Iterator[SafeString]:
    """A line from side to side, where there is a value for it."""
    if value is not None:
        yield _line(kind, paper.left, paper.y(value), paper.right, paper.y(value))


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _names(chart: DriftChart) -> list[_Name]:
    """From the top down."""
    named = (
        (chart.upper, gettext("limit"), "figure"),
        (chart.band_upper, gettext("band"), "caption"),
        (chart.target, gettext("target"), "caption"),
        (chart.band_lower, gettext("band"), "caption"),
        (chart.lower, gettext("limit"), "figure"),
    )
    names = [_Name(at, f"{figure(at, chart.decimals)} {word}", kind) for at, word, kind in named if at is not None]
    return sorted(names, key=lambda name: -name.at)


def spread(places: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """The rising places, moved as little as one pass each way allows, `apart` from each other and inside the ends."""
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
        yield from _level("wall", paper, limit)


def _fan(paper: _Paper) -> Iterator[SafeString]:
    """The outcomes, in a window that ends at the limits, so that the hatching stays clear."""
    chart = paper.chart
    if not chart.course:
        return
    top, bottom = paper.y(_or(chart.upper, paper.high)), paper.y(_or(chart.lower, paper.low))
    width, height = paper.right - paper.left, bottom - top
    yield element(
        "svg",
        _ribbon(paper, "fan90", lambda each: each.low90, lambda each: each.high90),
        _ribbon(paper, "fan50", lambda each: each.low50, lambda each: each.high50),
        _median(paper),
        class_="window",
        x=paper.left,
        y=top,
        width=width,
        height=height,
        viewBox=f"{paper.left:.2f} {top:.2f} {width:.2f} {height:.2f}",
    )


def _median(paper: _Paper) -> SafeString:
    middle = [(paper.x(each.on), paper.y(each.median)) for each in paper.chart.course]
    return element("polyline", class_="median", points=points(middle))


def _ribbon(paper: _Paper, kind: str, low: Callable[[Outcome], float], high: Callable[[Outcome], float]) -> SafeString:
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
    x, words = paper.x(paper.chart.today), gettext("today")
    yield _line("today", x, TOP - 6, x, paper.bottom + 34)
    half = _long(words) / 2
    beside_the_unit = _long(paper.chart.unit) + 8 + half
    yield _text(words, min(max(x, beside_the_unit), paper.size.width - half), TOP - 12, kind="figure", anchor="middle")


def _due(paper: _Paper) -> Iterator[SafeString]:
    """The due date's rule on the days' scale."""
    due, y = paper.chart.due, paper.bottom + 24
    if due is None:
        return
    line = due_line(due, lambda day: 100 * (paper.x(day) - paper.left) / (paper.right - paper.left))
    spans = [("stretch", line.stretch, None), *(("beyond", ends, "url(#hatching)") for ends in line.beyond)]
    yield _line("line", paper.left, y, _at(paper, line.beyond[0][0] if line.beyond else 100), y)
    for kind, ends, fill in spans:
        if ends:
            start, end = _at(paper, ends[0]), _at(paper, ends[1])
            yield _rect(kind, start, y - 5, end - start, 10, fill=fill)
    for wall in line.walls:
        yield _line("wall", _at(paper, wall), y - 10, _at(paper, wall), y + 10)
    for day, kind, shift in ((due.planned, "left", -17), (due.horizon, "found", 17)):
        if day is not None:
            yield from _due_pin(paper.x(day), y, y + shift, kind)


def _due_pin(x: float, y: float, head_y: float, kind: str) -> Iterator[SafeString]:
    yield _line("stem", x, y, x, head_y)
    yield element("circle", class_=kind, cx=x, cy=head_y, r=5)


def _at(paper: _Paper, pct: float) -> float:
    return paper.left + (paper.right - paper.left) * pct / 100


# ---- ticks at round places: numbers on one axis, days on the other ----


def value_ticks(low: float, high: float, at_most: int) -> list[float]:
    """Round numbers, 1, 2 or 5 times a power of ten apart: no more than `at_most` steps from low to high.

    >>> value_ticks(8.7, 10.3, 9)
    [8.8, 9.0, 9.2, 9.4, 9.6, 9.8, 10.0, 10.2]
    """
    if not low < high or at_most < 2:
        raise ValueError(f"no ticks from {low} to {high}, {at_most} at most")
    step = _step((high - low) / at_most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def tick_decimals(ticks: list[float]) -> int:
    """As many decimals as tell the ticks apart."""
    apart = min((b - a for a, b in pairwise(ticks)), default=1.0)
    return max(0, -math.floor(math.log10(apart) + 1e-9))


def month_ticks(first: date, last: date, months_at_most: int, years_at_most: int) -> tuple[list[date], int]:
    """First days of months from first to last, and how many months lie between them.

    Months carry longer names than years, so fewer of them fit.
    """
    for step in MONTH_STEPS:
        ticks = _firsts_of_months(first, last, step)
        if len(ticks) <= (months_at_most if step < 12 else years_at_most):
            break
    return ticks, step


def _step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(times * power for times in (1, 2, 5, 10) if times * power >= least * (1 - 1e-9))


def _firsts_of_months(first: date, last: date, step: int) -> list[date]:
    months = range(first.year * 12, (last.year + 1) * 12, step)
    # Counted from the year 0, so that a step of two years falls on even ones.
    aligned = range(months.start - months.start % step, months.stop, step)
    days = (date(month // 12, month % 12 + 1, 1) for month in aligned)
    return [day for day in days if first <= day <= last]
