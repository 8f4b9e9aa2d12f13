"""Readings as rules: which quantities get one, what stands on it and at which scale; alike on pages and on paper."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import cast

from django.utils.translation import gettext as _

from fleet.assess.judging.visit_facts import ReadingFacts, VisitFacts
from fleet.limits import Row, Verdict
from fleet.limits.cases import COMMON_FLUE
from fleet.limits.quantities import decimals_of, label
from fleet.models import Visit
from fleet.presentation.codes import label_words, quantity_label
from fleet.presentation.figures import decimals_shown, figure, figure_apart, read_with_unit, unit_words
from fleet.presentation.reading_figures import how_read
from fleet.presentation.reading_rule import Pin, Qualifier, ReadingRule, Side, Wall
from fleet.presentation.verdicts import ASKS, basis_words
from fleet.presentation.words import at_rate, capital, rate_words
from fleet.quantities import GASES, READING_QUANTITIES

Value = tuple[float, str] | None
LOWER: Side = "lower"
UPPER: Side = "upper"
QUALIFIERS = ("more_than", "less_than", "at_least")
RATES_ABREAST = 2
NO_TARGET = Row({})
# A invalid sample of flue gas says nothing against what was read in the room.
OUTSIDE_THE_FLUE = ("ambient_co", "ambient_co_rise", "spillage_time")
# Air around the outermost figure, as a share of the line, so that walls and pins don't stand on its ends.
MARGIN_SHARE = 0.16
WIDE_MARGIN_SHARE = 0.25


# ---- one visit's readings, a column a rate ----


@dataclass(frozen=True)
class Cell:
    """One quantity at one rate; no rule where nothing was read, a note where something must be said beside it."""

    rate: str
    rule: ReadingRule | None
    note: str


@dataclass(frozen=True)
class PairRow:
    """One quantity; `unit` with its basis."""

    label: str
    unit: str
    cells: Sequence[Cell]


@dataclass(frozen=True)
class PairTable:
    """Up to two rates side by side: each head is the rate and how it was read."""

    heads: Sequence[tuple[str, str]]
    rows: Sequence[PairRow]


@dataclass(frozen=True)
class RuleRow:
    """One quantity: its rule at each rate that has one, and what must be said beside a rule."""

    label: str
    unit: str
    basis: str
    rules: dict[str, ReadingRule]
    notes: dict[str, str]


def reading_tables(facts: VisitFacts) -> list[PairTable]:
    """The last readings as found and as left of every rate, each quantity on one scale."""
    rows = rule_rows(facts)
    rates = [rate for rate in facts.rates if any(rate in row.rules or rate in row.notes for row in rows)]
    chunks = [rates[start : start + RATES_ABREAST] for start in range(0, len(rates), RATES_ABREAST)]
    return [_pair_table(facts, rows, chunk) for chunk in chunks]


def _pair_table(facts: VisitFacts, rows: Sequence[RuleRow], rates: Sequence[str]) -> PairTable:
    heads = [(rate_words(rate), how_read(facts, rate)) for rate in rates]
    shown = [row for row in rows if any(rate in row.rules or rate in row.notes for rate in rates)]
    return PairTable(heads, [_pair_row(row, rates) for row in shown])


def _pair_row(row: RuleRow, rates: Sequence[str]) -> PairRow:
    cells = [Cell(rate_words(rate), row.rules.get(rate), row.notes.get(rate, "")) for rate in rates]
    return PairRow(row.label, ", ".join(filter(None, (row.unit, row.basis))), cells)


def walls_of(facts: VisitFacts, quantity: str, rate: str) -> list[Wall]:
    """The limits that a quantity was held against at a rate, those that surely apply."""
    rows = [row for row in rule_rows(facts) if row.label == GASES.get(quantity) and rate in row.rules]
    return [wall for row in rows for wall in row.rules[rate].walls if wall.is_sure]


@dataclass(frozen=True)
class _Subject:
    """A quantity that gets a row: how its value comes out of a reading and which verdicts bound it."""

    label: str
    unit: str
    basis: str
    quantity: str
    value: Callable[[ReadingFacts], Value]
    bounds: Callable[[Verdict], bool]


def rule_rows(facts: VisitFacts) -> list[RuleRow]:
    """The target's gas and CO air-free first, then whatever else a limit was held against."""
    rows = [_row(facts, each) for each in _subjects(facts)]
    return [each for each in rows if each.rules]


def _subjects(facts: VisitFacts) -> Iterator[_Subject]:
    air_free = (quantity_label("co_ppm_air_free"), "ppm", basis_words("air_free"))
    yield from _target_gases(facts)
    yield _Subject(
        label=_("CO air-free"),
        unit="ppm",
        basis="air_free",
        quantity="co_ppm_air_free",
        value=_air_free,
        bounds=lambda verdict: _group(verdict) == air_free,
    )
    taken = {air_free, *((quantity_label(gas), "%", basis_words("dry")) for gas in GASES)}
    for group, verdict in _limited(facts).items():
        if group not in taken:
            yield _limited_subject(group, verdict)


def _target_gases(facts: VisitFacts) -> Iterator[_Subject]:
    """CO2 or O2, by which the sheet gives its targets; whichever was read where there is none."""
    wanted = {each.quantity for each in facts.card.bands} or {
        "o2" if all(each.reading.co2_pct is None for each in facts.readings) else "co2"
    }
    for gas in ("co2", "o2"):
        if gas in wanted:
            yield _Subject(GASES[gas], "%", "dry", gas, _gas(gas), _bounds_gas(gas))


def _bounds_gas(gas: str) -> Callable[[Verdict], bool]:
    return lambda verdict: verdict.label == label(gas, "dry") and verdict.kind != "band"


def _gas(gas: str) -> Callable[[ReadingFacts], Value]:
    def value(each: ReadingFacts) -> Value:
        found = getattr(each.derived, f"{gas}_pct")
        return None if found is None else (found, each.qualifier(gas))

    return value


def _air_free(each: ReadingFacts) -> Value:
    found = each.derived.co_ppm_air_free
    return None if found is None else (found, each.qualifier("co"))


def _group(verdict: Verdict) -> tuple[str, str, str]:
    return label_words(verdict.label), unit_words(verdict.unit), basis_words(verdict.basis, verdict.quantity)


def _limited(facts: VisitFacts) -> dict[tuple[str, str, str], Verdict]:
    """Quantities with a figure for a limit. The contractor's own stop levels get a rule only where one was passed."""
    return {
        _group(each): each
        for reading in facts.readings
        for each in reading.verdicts
        if isinstance(each.value, float)
        and (each.lower, each.upper) != (None, None)
        and (each.kind != "stop_level" or each.outcome == "outside")
    }


def _limited_subject(group: tuple[str, str, str], verdict: Verdict) -> _Subject:
    def value(each: ReadingFacts) -> Value:
        for one in each.verdicts:
            if _group(one) == group and isinstance(one.value, float):
                return one.value, one.qualifier
        return None

    what, unit, _words = group
    return _Subject(capital(what), unit, verdict.basis, verdict.quantity, value, lambda one: _group(one) == group)


# ---- one row: the same scale at every rate, so that rates can be compared by eye ----


@dataclass(frozen=True)
class _AtRate:
    band: Row
    walls: tuple[Wall, ...]
    found: tuple[float, str] | None
    left: tuple[float, str] | None
    is_invalid: dict[str, bool]


def _row(facts: VisitFacts, subject: _Subject) -> RuleRow:
    at = {rate: _at_rate(facts, subject, rate) for rate in facts.rates}
    low, high = _ends(subject, list(at.values()))
    rules = {rate: _rule(subject, rate, each, low, high) for rate, each in at.items() if each.found or each.left}
    notes = {}
    if subject.quantity == "co_ppm_air_free":
        notes = {rate: _diluted(facts, rate) or _only_common(facts, rate) for rate in facts.rates}
    kept = {rate: note for rate, note in notes.items() if note}
    if kept and not rules:
        rules = {rate: _rule(subject, rate, at[rate], low, high) for rate in kept}
    return RuleRow(subject.label, subject.unit, basis_words(subject.basis, subject.quantity), rules, kept)


def _at_rate(facts: VisitFacts, subject: _Subject, rate: str) -> _AtRate:
    phases = {phase: facts.at(rate, phase) for phase in ("as_found", "as_left")}
    read = [each for each in phases.values() if each]
    values = {phase: subject.value(each) if each else None for phase, each in phases.items()}
    bounding = [verdict for each in read for verdict in each.verdicts if subject.bounds(verdict)]
    return _AtRate(
        band=_band(facts, subject.quantity, rate, read),
        walls=_walls(bounding),
        found=values["as_found"],
        left=values["as_left"],
        is_invalid={
            phase: bool(each and each.derived.invalid) and subject.quantity not in OUTSIDE_THE_FLUE
            for phase, each in phases.items()
        },
    )


def _walls(bounding: Sequence[Verdict]) -> tuple[Wall, ...]:
    """One wall for each figure; it carries "?" where no verdict could tell whether that limit applies or is kept."""
    walls: dict[tuple[float, Side], Wall] = {}
    for verdict in sorted(bounding, key=lambda each: each.outcome != "cannot_tell"):
        is_sure = verdict.outcome != "cannot_tell"
        for at, side in ((verdict.lower, LOWER), (verdict.upper, UPPER)):
            if at is not None:
                walls[at, side] = Wall(at, side, is_sure)
    return tuple(walls[key] for key in sorted(walls))


def _band(facts: VisitFacts, quantity: str, rate: str, read: Sequence[ReadingFacts]) -> Row:
    """The target at this rate: in the casing that was read last, else with the casing closed."""
    bands = [each for each in facts.card.bands if each.quantity == quantity and rate in (each.rates or ())]
    casing = read[-1].reading.casing if read else ""
    order = [casing, None, "closed", "open"]
    return min(bands, key=lambda each: order.index(each.casing), default=NO_TARGET)


def _ends(subject: _Subject, all_rates: list[_AtRate]) -> tuple[float, float]:
    """From below the lowest to above the highest figure on it; a quantity that can't be negative begins at 0."""
    at = [wall.at for each in all_rates for wall in each.walls]
    at += [value[0] for each in all_rates for value in (each.found, each.left) if value]
    at += [end for each in all_rates for end in _band_ends(each.band)]
    if not at:
        return 0.0, 1.0
    low, high = min(at), max(at)
    step = 10.0 ** -decimals_of(subject.quantity)
    margin = max(MARGIN_SHARE * (high - low), 5 * step)
    begins_at_zero = low >= 0 and subject.quantity not in ("co2", "o2", "combustion_efficiency", "draught")
    return (0.0 if begins_at_zero else low - margin), high + margin


def _band_ends(band: Row) -> list[float]:
    return [each for each in (band.lower, band.upper) if each is not None]


def _rule(subject: _Subject, rate: str, at: _AtRate, low: float, high: float) -> ReadingRule:
    band = at.band
    limits = [*(wall.at for wall in at.walls), *_band_ends(band)]
    decimals = decimals_shown(decimals_of(subject.quantity), limits)
    return ReadingRule(
        label=at_rate(subject.label, rate),
        unit=unit_words(subject.unit),
        low=low,
        high=high,
        decimals=decimals,
        band_lower=band.lower,
        band_upper=band.upper,
        target=band.target,
        walls=at.walls,
        found=_pins(at.found, _("found, invalid") if at.is_invalid["as_found"] else "", subject, limits),
        left=_pins(at.left, _("left, invalid") if at.is_invalid["as_left"] else "", subject, limits),
    )


def _pins(value: Value, word: str, subject: _Subject, limits: list[float]) -> list[Pin]:
    if value is None:
        return []
    at, said = value
    return [Pin(at, word, figure_apart(at, decimals_of(subject.quantity), limits), qualifier_of(said))]


def qualifier_of(said: str) -> Qualifier:
    return cast(Qualifier, said) if said in QUALIFIERS else "="


def _diluted(facts: VisitFacts, rate: str) -> str:
    """Raw CO where the sample was mostly air: there is no air-free figure to draw."""
    limit = facts.card.fuel.o2_too_dilute_pct
    parts = []
    for phase, word in (("as_found", _("found")), ("as_left", _("left"))):
        each = facts.at(rate, phase)
        o2_pct = each.derived.o2_pct if each else None
        if each is not None and o2_pct is not None and o2_pct >= limit and each.reading.co_ppm is not None:
            shown = {
                "word": word,
                "co": read_with_unit(READING_QUANTITIES["co"], each.reading.co_ppm, each.qualifier("co")),
                "o2": figure(o2_pct, 1),
            }
            parts.append(_("%(word)s: raw CO %(co)s, no air-free figure at O₂ %(o2)s %%.") % shown)
    # After a stop nothing asks for another firing; else the gravest of what is asked, which is the longest.
    asked = {str(ASKS[each.asks]) for each in facts.judgement.said if each.rate == rate and _is_diluted(each)}
    if parts and not facts.judgement.turned_out.stop and any(asked):
        parts.append(f"{capital(max(asked, key=len))}.")
    return " ".join(parts)


def _is_diluted(verdict: Verdict) -> bool:
    return [code for code, _figures in verdict.reasons] == ["no_air_free_figure"]


def _only_common(facts: VisitFacts, rate: str) -> str:
    if any(each.reading.rate == rate for each in facts.own):
        return ""
    return _("Read in the common flue only: that is no reading of this appliance's own.")


# ---- one verdict, for a row that is about it ----


def verdict_rule(verdict: Verdict) -> ReadingRule | None:
    """The value against the figures that it breaks; None where either isn't a number. A target's band is no limit."""
    value, lower, upper = verdict.value, verdict.lower, verdict.upper
    if not isinstance(value, float | int) or (lower is None and upper is None):
        return None
    ends = [float(each) for each in (value, lower, upper) if each is not None]
    low, high = ends_of(ends, from_zero=verdict.unit == "ppm")
    is_band, decimals = verdict.kind == "band", decimals_of(verdict.quantity)
    limits = [each for each in (lower, upper) if each is not None]
    pin = Pin(float(value), text=figure_apart(value, decimals, limits), qualifier=qualifier_of(verdict.qualifier))
    return ReadingRule(
        label_words(verdict.label),
        unit_words(verdict.unit),
        low,
        high,
        decimals_shown(decimals, limits),
        band_lower=lower if is_band else None,
        band_upper=upper if is_band else None,
        walls=[] if is_band else _limit_walls(lower, upper),
        found=[] if verdict.phase == "as_left" else [pin],
        left=[pin] if verdict.phase == "as_left" else [],
    )


def _limit_walls(lower: float | None, upper: float | None) -> list[Wall]:
    walls = [] if lower is None else [Wall(lower, "lower")]
    return walls if upper is None else [*walls, Wall(upper, "upper")]


def ends_of(values: Sequence[float], *, from_zero: bool) -> tuple[float, float]:
    room = max(WIDE_MARGIN_SHARE * (max(values) - min(values)), 0.02 * max(abs(each) for each in values), 1e-6)
    return (0.0 if from_zero and min(values) >= 0 else min(values) - room), max(values) + room


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
    bands = [[_visit_band(visit, rate, quantity) for rate in rates] for visit in visits]
    values = [value for row in read for pair in row for value in pair if value is not None]
    values += [end for row in bands for band in row for end in _band_ends(band)]
    low, high = ends_of(values, from_zero=False) if values else (0.0, 1.0)
    return [
        [
            _visit_cell(rate, quantity, *pair, band, (low, high))
            for rate, pair, band in zip(rates, row, row_bands, strict=True)
        ]
        for row, row_bands in zip(read, bands, strict=True)
    ]


def _found_and_left(visit: Visit, rate: str, quantity: str) -> tuple[float | None, float | None]:
    figures, name = visit.judgement.figures, f"{quantity}_pct"
    own = [each for each in visit.readings.all() if each.rate == rate and each.sampling_point != COMMON_FLUE]
    at = {each.counted_phase: getattr(figures[each.number], name) for each in own}
    return at.get("as_found"), at.get("as_left")


def _visit_band(visit: Visit, rate: str, quantity: str) -> Row:
    bands = [each for each in visit.judgement.table.bands if each.quantity == quantity and rate in (each.rates or ())]
    return min(bands, key=lambda each: each.casing == "open", default=NO_TARGET)


def _visit_cell(
    rate: str, quantity: str, found: float | None, left: float | None, band: Row, ends: tuple[float, float]
) -> VisitCell:
    if found is None and left is None:
        return VisitCell(rate_words(rate), _("not read"), None)
    decimals = READING_QUANTITIES[quantity].decimals
    shown = [figure(each, decimals) for each in (found, left) if each is not None]
    figures = _("%(found)s to %(left)s") % {"found": shown[0], "left": shown[1]} if len(shown) == 2 else shown[0]
    rule = ReadingRule(
        at_rate(GASES[quantity], rate),
        "%",
        *ends,
        decimals,
        band_lower=band.lower,
        band_upper=band.upper,
        target=band.target,
        found=[] if found is None else [Pin(found)],
        left=[] if left is None else [Pin(left)],
    )
    return VisitCell(rate_words(rate), figures, rule)
