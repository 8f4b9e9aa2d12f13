"""From facts to drawings: what stands on a rule or a chart, and at which scale."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, cast

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import Forecast, Revisit, Visit
from fleet.quantities import READING_QUANTITIES
from fleet.queries.statements import Line, Statement
from fleet.queries.visits import VisitFacts
from fleet.web.charts import DriftChart, DriftVisit, Outcome
from fleet.web.figures import day, figure
from fleet.web.reading_rule import Qualifier
from fleet.web.rules import DueRule, Pin, ReadingRule, Wall
from fleet.web.words import rate_words
from reports.figures import chemical, qualified, unit_words
from reports.readings import RuleRow, rule_rows
from reports.readings import rate_words as how_read
from reports.rules import Pin as PaperPin
from reports.rules import Rule as PaperRule
from reports.verdicts import decimals_of

Verdict = Mapping[str, Any]
GASES = {"co2": "CO₂", "o2": "O₂"}
DRIFTING = GASES | {"co": gettext_lazy("CO air-free"), "temp_rise": gettext_lazy("Flue above intake air")}
RATES_ABREAST = 2
MARGIN_SHARE = 0.25
LOOK_BACK = timedelta(days=90)
LONGEST_WINDOW = timedelta(days=200)
QUALIFIERS = ("more than", "less than", "at least")


# ---- one visit's readings, a column a rate ----


@dataclass(frozen=True)
class Cell:
    """One quantity at one rate; no rule where nothing was read, a note where something must be said beside it."""

    rate: str
    rule: ReadingRule | None
    note: str


@dataclass(frozen=True)
class PairRow:
    label: str
    unit: str
    cells: Sequence[Cell]


@dataclass(frozen=True)
class PairTable:
    """Up to two rates side by side: each head is the rate and how it was read."""

    heads: Sequence[tuple[str, str]]
    rows: Sequence[PairRow]


def reading_tables(facts: VisitFacts) -> list[PairTable]:
    """The last readings as found and as left of every rate, on the same scales as on the visit's paper."""
    rows = rule_rows(facts)
    rates = [rate for rate in facts.rates if any(rate in row.rules or rate in row.notes for row in rows)]
    chunks = [rates[start : start + RATES_ABREAST] for start in range(0, len(rates), RATES_ABREAST)]
    return [_pair_table(facts, rows, chunk) for chunk in chunks]


def walls_of(facts: VisitFacts, quantity: str, rate: str) -> list[Wall]:
    """The limits that a quantity was held against at a rate, those that surely apply."""
    rows = [row for row in rule_rows(facts) if row.label == GASES.get(quantity) and rate in row.rules]
    return [Wall(each.at, each.beyond) for row in rows for each in row.rules[rate].walls if each.is_sure]


def _pair_table(facts: VisitFacts, rows: Sequence[RuleRow], rates: Sequence[str]) -> PairTable:
    heads = [(rate_words(rate), how_read(facts, rate)) for rate in rates]
    shown = [row for row in rows if any(rate in row.rules or rate in row.notes for rate in rates)]
    return PairTable(heads, [_pair_row(row, rates) for row in shown])


def _pair_row(row: RuleRow, rates: Sequence[str]) -> PairRow:
    cells = [
        Cell(rate_words(rate), _reading_rule(row, rate, row.rules.get(rate)), row.notes.get(rate, "")) for rate in rates
    ]
    return PairRow(row.label, ", ".join(filter(None, (row.unit, row.basis))), cells)


def _reading_rule(row: RuleRow, rate: str, drawn: PaperRule | None) -> ReadingRule | None:
    if drawn is None:
        return None
    lower, upper = drawn.stretch or (None, None)
    return ReadingRule(
        label=_("%(quantity)s at %(rate)s") % {"quantity": row.label, "rate": rate_words(rate)},
        unit=row.unit,
        low=drawn.low,
        high=drawn.high,
        decimals=_decimals_shown(drawn),
        band_lower=lower,
        band_upper=upper,
        target=drawn.target,
        walls=[Wall(each.at, each.beyond, each.is_sure) for each in drawn.walls],
        found=[_pin(each) for each in drawn.found],
        left=[_pin(each) for each in drawn.left],
    )


def _decimals_shown(drawn: PaperRule) -> int:
    """As many as the paper writes its band's ends and walls with."""
    written = [text for _at, text in drawn.ends] + [each.figure.rstrip("?") for each in drawn.walls]
    return max((len(text.partition(".")[2]) for text in written), default=0)


def _pin(drawn: PaperPin) -> Pin:
    """The paper writes qualifiers into the figure; here they are signs, and words in the label."""
    for qualifier in QUALIFIERS:
        before, after = qualified("\0", qualifier).split("\0")
        if drawn.figure.startswith(before) and drawn.figure.endswith(after):
            text = drawn.figure.removeprefix(before).removesuffix(after)
            return Pin(drawn.at, text=text, qualifier=cast(Qualifier, qualifier))
    return Pin(drawn.at, text=drawn.figure)


# ---- one verdict, for a row that is about it ----


def verdict_rule(verdict: Verdict) -> ReadingRule | None:
    """The value against the figures that it breaks; None where either isn't a number. A target's band is no limit."""
    value, lower, upper = verdict["value"], verdict["lower"], verdict["upper"]
    if not isinstance(value, float | int) or (lower is None and upper is None):
        return None
    ends = [float(each) for each in (value, lower, upper) if each is not None]
    low, high = _ends(ends, from_zero=verdict["unit"] == "ppm")
    is_band, decimals = verdict["kind"] == "band", decimals_of(verdict["quantity"])
    pin = Pin(float(value), text=figure(value, decimals), qualifier=_qualifier(verdict["qualifier"]))
    return ReadingRule(
        chemical(verdict["label"]),
        unit_words(verdict["unit"]),
        low,
        high,
        decimals,
        band_lower=lower if is_band else None,
        band_upper=upper if is_band else None,
        walls=[] if is_band else _walls(lower, upper),
        found=[] if verdict["phase"] == "as left" else [pin],
        left=[pin] if verdict["phase"] == "as left" else [],
    )


def _walls(lower: float | None, upper: float | None) -> list[Wall]:
    walls = [] if lower is None else [Wall(lower, "lower")]
    return walls if upper is None else [*walls, Wall(upper, "upper")]


def _qualifier(said: str) -> Qualifier:
    return cast(Qualifier, said) if said in QUALIFIERS else "="


def _ends(values: Sequence[float], *, from_zero: bool) -> tuple[float, float]:
    room = max(MARGIN_SHARE * (max(values) - min(values)), 0.02 * max(abs(each) for each in values), 1e-6)
    return (0.0 if from_zero and min(values) >= 0 else min(values) - room), max(values) + room


# ---- drift ----


def drift_chart(forecast: Forecast, revisit: Revisit | None, today: date, walls: Sequence[Wall] = ()) -> DriftChart:
    """One series with its band and limits, or the ceiling that it nears, outcomes to come and the due date."""
    chart = DriftChart(
        label=series_words(forecast),
        unit=forecast.unit,
        decimals=0,
        visits=[_drift_visit(each) for each in forecast.series],
        today=today,
        upper=forecast.upper,
        course=[_outcome(each) for each in forecast.course],
        due=_chart_due(forecast, revisit, today),
        correction=_("Values freed of what the analyser and the day put in; the table beneath has them as read, too."),
    )
    if forecast.has_only_a_ceiling:
        return chart
    return replace(
        chart,
        unit=_("% dry"),
        decimals=READING_QUANTITIES[forecast.quantity].decimals,
        lower=max((wall.at for wall in walls if wall.beyond == "lower"), default=None),
        upper=min((wall.at for wall in walls if wall.beyond == "upper"), default=None),
        band_lower=forecast.lower,
        band_upper=forecast.upper,
        target=forecast.target,
        correction=_("Values corrected to 20 °C intake air; the table beneath has them as read, too."),
    )


def series_words(forecast: Forecast) -> str:
    return _("%(quantity)s at %(rate)s") % {
        "quantity": DRIFTING[forecast.quantity],
        "rate": rate_words(forecast.rate),
    }


def _drift_visit(entry: Mapping[str, Any]) -> DriftVisit:
    names = ("found", "left", "found_raw", "left_raw")
    return DriftVisit(date.fromisoformat(entry["date"]), *(entry[name] for name in names))


def _outcome(point: Mapping[str, Any]) -> Outcome:
    names = ("low90", "low50", "median", "high50", "high90")
    return Outcome(date.fromisoformat(point["date"]), *(point[name] for name in names))


def outcome_on(forecast: Forecast, when: date) -> Outcome | None:
    """What is expected on a day, by straight lines between the stored ones; the last one for a day beyond them."""
    course = [_outcome(each) for each in forecast.course]
    if not course or when <= course[0].on:
        return course[0] if course else None
    for before, after in pairwise(course):
        if when <= after.on:
            return _between(before, after, (when - before.on) / (after.on - before.on), when)
    return course[-1]


def _between(before: Outcome, after: Outcome, share: float, when: date) -> Outcome:
    names = ("low90", "low50", "median", "high50", "high90")
    values = (getattr(before, name) * (1 - share) + getattr(after, name) * share for name in names)
    return Outcome(when, *values)


def expected_rule(forecast: Forecast, expected: Outcome) -> ReadingRule:
    """What was left last, and what is expected by then with 90 of 100 outcomes, against the band."""
    last: Mapping[str, Any] = next((each for each in reversed(forecast.series)), {})
    left = last.get("left") or last.get("found")
    lower, upper = forecast.lower, forecast.upper
    ends = [each for each in (lower, upper, left, expected.low90, expected.high90) if each is not None]
    low, high = _ends(ends, from_zero=False)
    spread = (expected.low90, expected.high90)
    return ReadingRule(
        series_words(forecast),
        "%",
        low,
        high,
        READING_QUANTITIES[forecast.quantity].decimals,
        band_lower=lower,
        band_upper=upper,
        target=forecast.target,
        found=[Pin(expected.median, _("expected"), spread=spread)],
        left=[Pin(left, _("last"))] if left is not None else [],
    )


# ---- due dates ----


def due_rule(revisit: Revisit, today: date, *, horizon: date | None = None, last_visit: date | None = None) -> DueRule:
    """The window of the reason that binds, its last day, the day set, and when the accepted chance is used up.

    A window that opened with the rule itself, years ago, is shown from the last visit on.
    """
    opens = revisit.earliest
    if last_visit and opens < last_visit <= revisit.latest:
        opens = last_visit
    return DueRule(today, opens=opens, last_day=revisit.latest, horizon=horizon, planned=revisit.day)


def _chart_due(forecast: Forecast, revisit: Revisit | None, today: date) -> DueRule | None:
    if revisit is None:
        return None
    return due_rule(revisit, today, horizon=forecast.horizon_on, last_visit=forecast.last_visit_on)


def row_due_rule(opens: date | None, last_day: date, today: date, ahead: timedelta) -> DueRule:
    """For rows that share one scale: from a quarter of a year before today to the end of what the list covers."""
    opens = min(opens, last_day) if opens else None
    return DueRule(today, opens, last_day, first=today - LOOK_BACK, until=today + ahead + timedelta(days=7))


def statement_rule(statement: Statement, line: Line) -> DueRule:
    """From the last record to the day by which the next is due, over the period of the statement."""
    last = line.last.local_date if line.last else None
    until = max([statement.ends, *_near_dues(statement)]) + timedelta(days=14)
    opens = last if last and (line.due is None or last <= line.due) else None
    seen_on = min(statement.ends, statement.known_on)
    return DueRule(seen_on, opens, line.due, planned=None, first=statement.begins, until=until)


def _near_dues(statement: Statement) -> Iterator[date]:
    """Due dates not far beyond the period: one that is would press all others into a corner."""
    furthest = statement.ends + timedelta(days=366)
    return (each.due for each in statement.lines if each.due and each.due <= furthest)


# ---- the visits of an appliance, as rows ----


@dataclass(frozen=True)
class VisitCell:
    """What a visit found and left at one rate, in figures and as a small rule on the scale of all rows."""

    rate: str
    figures: str
    rule: ReadingRule | None


def visit_cells(visits: Sequence[Visit], rates: Sequence[str], quantity: str) -> list[list[VisitCell]]:
    """A row a visit, a cell a rate; `quantity` is co2 or o2."""
    read = [[_found_and_left(visit, rate, quantity) for rate in rates] for visit in visits]
    bands = [[_band(visit, rate, quantity) for rate in rates] for visit in visits]
    values = [value for row in read for pair in row for value in pair if value is not None]
    values += [end for row in bands for band in row if band for end in (band["lower"], band["upper"])]
    low, high = _ends(values, from_zero=False) if values else (0.0, 1.0)
    return [
        [
            _visit_cell(rate, quantity, *pair, band, (low, high))
            for rate, pair, band in zip(rates, row, row_bands, strict=True)
        ]
        for row, row_bands in zip(read, bands, strict=True)
    ]


def _found_and_left(visit: Visit, rate: str, quantity: str) -> tuple[float | None, float | None]:
    derived = {each["number"]: each[f"{quantity}_pct"] for each in visit.judgement.derived}
    at = {each.counted_phase: derived[each.number] for each in visit.readings.all() if each.rate == rate}
    return at.get("as found"), at.get("as left")


def _band(visit: Visit, rate: str, quantity: str) -> Mapping[str, Any] | None:
    bands = [each for each in visit.judgement.card["bands"] if each["quantity"] == quantity and rate in each["rates"]]
    return min(bands, key=lambda each: each["casing"] == "open", default=None)


def _visit_cell(
    rate: str,
    quantity: str,
    found: float | None,
    left: float | None,
    band: Mapping[str, Any] | None,
    ends: tuple[float, float],
) -> VisitCell:
    if found is None and left is None:
        return VisitCell(rate_words(rate), _("not read"), None)
    decimals = READING_QUANTITIES[quantity].decimals
    shown = [figure(each, decimals) for each in (found, left) if each is not None]
    figures = _("%(found)s to %(left)s") % {"found": shown[0], "left": shown[1]} if len(shown) == 2 else shown[0]
    rule = ReadingRule(
        _("%(quantity)s at %(rate)s") % {"quantity": GASES[quantity], "rate": rate_words(rate)},
        "%",
        *ends,
        decimals,
        band_lower=band["lower"] if band else None,
        band_upper=band["upper"] if band else None,
        target=band["target"] if band else None,
        found=[] if found is None else [Pin(found)],
        left=[] if left is None else [Pin(left)],
    )
    return VisitCell(rate_words(rate), figures, rule)


def window_words(revisit: Revisit, today: date) -> str:
    """The window in short, beneath a small rule; one that opened with the duty itself says nothing."""
    if revisit.latest - revisit.earliest > LONGEST_WINDOW:
        return _("last day %s") % day(revisit.latest, today)
    shown = {"opens": day(revisit.earliest, today), "last": day(revisit.latest, today)}
    return _("from %(opens)s, last day %(last)s") % shown
