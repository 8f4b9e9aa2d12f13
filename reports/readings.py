"""The readings of a visit on paper: which quantities get a rule, what stands on it, and the table of figures."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.quantities import READING_QUANTITIES
from fleet.queries.visits import ReadingFacts, VisitFacts
from reports.figures import (
    NONE,
    chemical,
    derived,
    figure,
    figure_apart,
    limit_figure,
    listed,
    qualified,
    read_figure,
    read_with_unit,
    unit_words,
)
from reports.rules import Pin, Rule, Side, Wall
from reports.verdicts import Verdict, basis_words, capital, decimals_of

Value = tuple[float, str] | None
LOWER: Side = "lower"
UPPER: Side = "upper"
# A void sample of flue gas says nothing against what was read in the room.
OUTSIDE_THE_FLUE = ("ambient_co", "ambient_co_rise", "spillage_time")
# Air around the outermost figure, as a share of the line, so that walls and pins don't stand on its ends.
MARGIN_SHARE = 0.16
# Shown in the table's own columns; anything else that was read follows beneath it.
TABLED = ("o2", "co2", "co", "flue_temp", "air_temp")


@dataclass(frozen=True)
class RuleRow:
    """One quantity: its rule at each rate that has one, and what must be said beside a rule."""

    label: str
    unit: str
    basis: str
    rules: dict[str, Rule]
    notes: dict[str, str]


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
    yield from _target_gases(facts)
    yield _Subject(
        label=_("CO air-free"),
        unit="ppm",
        basis="air_free",
        quantity="co_air_free",
        value=_air_free,
        bounds=lambda verdict: _group(verdict) == ("CO air-free", "ppm", basis_words("air_free")),
    )
    taken = {
        ("CO air-free", "ppm", basis_words("air_free")),
        *(("CO2", "%", basis_words("dry")), ("O2", "%", basis_words("dry"))),
    }
    for group, verdict in _limited(facts).items():
        if group not in taken:
            yield _limited_subject(group, verdict)


def _target_gases(facts: VisitFacts) -> Iterator[_Subject]:
    """CO2 or O2, by which the sheet gives its targets; whichever was read where there is none."""
    wanted = {each["quantity"] for each in facts.card["bands"]} or {
        "o2" if all(each.reading.co2_pct is None for each in facts.readings) else "co2"
    }
    for gas in ("co2", "o2"):
        label = {"co2": "CO2", "o2": "O2"}[gas]
        if gas in wanted:
            yield _Subject(chemical(label), "%", "dry", gas, _gas(gas), _bounds_gas(label))


def _bounds_gas(label: str) -> Callable[[Verdict], bool]:
    return lambda verdict: verdict["label"] == label and verdict["kind"] != "band"


def _gas(gas: str) -> Callable[[ReadingFacts], Value]:
    def value(each: ReadingFacts) -> Value:
        found = each.derived[f"{gas}_pct"]
        return None if found is None else (found, _said(each, gas))

    return value


def _air_free(each: ReadingFacts) -> Value:
    found = each.derived["co_ppm_air_free"]
    return None if found is None else (found, _said(each, "co"))


def _said(each: ReadingFacts, name: str) -> str:
    return str(each.reading.qualifiers.get(name, "="))


def _group(verdict: Verdict) -> tuple[str, str, str]:
    return verdict["label"], unit_words(verdict["unit"]), basis_words(verdict["basis"])


def _limited(facts: VisitFacts) -> dict[tuple[str, str, str], Verdict]:
    """Quantities with a figure for a limit. The contractor's own stop lines get a rule only where one was passed."""
    return {
        _group(each): each
        for reading in facts.readings
        for each in reading.verdicts
        if isinstance(each["value"], float)
        and (each["lower"], each["upper"]) != (None, None)
        and (each["kind"] != "stop line" or each["outcome"] == "outside")
    }


def _limited_subject(group: tuple[str, str, str], verdict: Verdict) -> _Subject:
    def value(each: ReadingFacts) -> Value:
        found = [one for one in each.verdicts if _group(one) == group and isinstance(one["value"], float)]
        return (found[0]["value"], found[0]["qualifier"]) if found else None

    label, unit, _words = group
    label = capital(chemical(label))
    return _Subject(
        label,
        unit,
        verdict["basis"],
        verdict["quantity"],
        value,
        lambda one: _group(one) == group,
    )


# ---- one row: the same scale at every rate, so that rates can be compared by eye ----


@dataclass(frozen=True)
class _AtRate:
    band: dict[str, Any] | None
    walls: tuple[Wall, ...]
    found: tuple[float, str] | None
    left: tuple[float, str] | None
    is_void: dict[str, bool]


def _row(facts: VisitFacts, subject: _Subject) -> RuleRow:
    at = {rate: _at_rate(facts, subject, rate) for rate in facts.rates}
    low, high = _ends(subject, list(at.values()))
    rules = {rate: _rule(subject, each, low, high) for rate, each in at.items() if each.found or each.left}
    notes = {rate: _diluted(facts, rate) for rate in facts.rates} if subject.quantity == "co_air_free" else {}
    kept = {rate: note for rate, note in notes.items() if note}
    if kept and not rules:
        rules = {rate: _rule(subject, at[rate], low, high) for rate in kept}
    return RuleRow(subject.label, subject.unit, basis_words(subject.basis), rules, kept)


def _at_rate(facts: VisitFacts, subject: _Subject, rate: str) -> _AtRate:
    phases = {phase: facts.at(rate, phase) for phase in ("as found", "as left")}
    read = [each for each in phases.values() if each]
    values = {phase: subject.value(each) if each else None for phase, each in phases.items()}
    bounding = [verdict for each in read for verdict in each.verdicts if subject.bounds(verdict)]
    return _AtRate(
        band=_band(facts, subject.quantity, rate, read),
        walls=_walls(bounding),
        found=values["as found"],
        left=values["as left"],
        is_void={
            phase: bool(each and each.derived["void"]) and subject.quantity not in OUTSIDE_THE_FLUE
            for phase, each in phases.items()
        },
    )


def _walls(bounding: Sequence[Verdict]) -> tuple[Wall, ...]:
    """One wall for each figure; it carries "?" where no verdict could tell whether that limit applies or is kept."""
    walls: dict[tuple[float, Side], Wall] = {}
    for verdict in sorted(bounding, key=lambda each: each["outcome"] != "cannot tell"):
        is_sure = verdict["outcome"] != "cannot tell"
        for at, side in ((verdict["lower"], LOWER), (verdict["upper"], UPPER)):
            if at is not None:
                shown = limit_figure(at, 0)
                walls[at, side] = Wall(at, shown if is_sure else f"{shown}?", side, is_sure)
    return tuple(walls[key] for key in sorted(walls))


def _band(facts: VisitFacts, quantity: str, rate: str, read: Sequence[ReadingFacts]) -> dict[str, Any] | None:
    """The target at this rate: in the casing that was read last, else with the casing closed."""
    bands = [each for each in facts.card["bands"] if each["quantity"] == quantity and rate in (each["rates"] or [])]
    casing = read[-1].reading.casing if read else ""
    order = [casing, None, "closed", "open"]
    return min(bands, key=lambda each: order.index(each["casing"]), default=None)


def _ends(subject: _Subject, all_rates: list[_AtRate]) -> tuple[float, float]:
    """From below the lowest to above the highest figure on it; a quantity that can't be negative begins at 0."""
    at = [wall.at for each in all_rates for wall in each.walls]
    at += [value[0] for each in all_rates for value in (each.found, each.left) if value]
    at += [each.band[end] for each in all_rates if each.band for end in ("lower", "upper")]
    if not at:
        return 0.0, 1.0
    low, high = min(at), max(at)
    step = 10.0 ** -decimals_of(subject.quantity)
    margin = max(MARGIN_SHARE * (high - low), 5 * step)
    begins_at_zero = low >= 0 and subject.quantity not in ("co2", "o2", "combustion_efficiency", "draught")
    return (0.0 if begins_at_zero else low - margin), high + margin


def _rule(subject: _Subject, at: _AtRate, low: float, high: float) -> Rule:
    decimals = decimals_of(subject.quantity)
    band = at.band
    limits = [wall.at for wall in at.walls] + ([band["lower"], band["upper"]] if band else [])
    return Rule(
        low=low,
        high=high,
        stretch=(band["lower"], band["upper"]) if band else None,
        target=band["target"] if band else None,
        ends=[(band[end], limit_figure(band[end], decimals)) for end in ("lower", "upper")] if band else (),
        walls=at.walls,
        found=_pins(at.found, _("found, void") if at.is_void["as found"] else _("found"), decimals, limits),
        left=_pins(at.left, _("left, void") if at.is_void["as left"] else _("left"), decimals, limits),
    )


def _pins(value: Value, word: str, decimals: int, limits: list[float]) -> list[Pin]:
    if value is None:
        return []
    at, said = value
    beyond = {"more than": 1, "at least": 1, "less than": -1}.get(said, 0)
    return [Pin(at, qualified(figure_apart(at, decimals, limits), said), word, beyond)]


def _diluted(facts: VisitFacts, rate: str) -> str:
    """Raw CO where the sample was mostly air: there is no air-free figure to draw."""
    limit = facts.card["fuel"]["o2_too_dilute_pct"]
    parts = []
    for phase, word in (("as found", _("found")), ("as left", _("left"))):
        each = facts.at(rate, phase)
        o2_pct = each.derived["o2_pct"] if each else None
        if each is not None and o2_pct is not None and o2_pct >= limit and each.reading.co_ppm is not None:
            shown = {
                "word": word,
                "co": read_with_unit(READING_QUANTITIES["co"], each.reading.co_ppm, _said(each, "co")),
                "o2": figure(o2_pct, 1),
            }
            parts.append(_("%(word)s: raw CO %(co)s, no air-free figure at O₂ %(o2)s %%.") % shown)
    # After a stop nothing asks for another firing.
    if parts and not facts.judgement.verdicts["stop"]:
        parts.append(_("Repeat at a proper sampling point."))
    return " ".join(parts)


# ---- the table ----


def phase_words(phase: str) -> str:
    return {"as found": _("found"), "as left": _("left"), "between": _("between")}.get(phase, phase)


def figures_head() -> list[str]:
    return [
        "",
        _("O₂\n%"),
        _("CO₂\n%"),
        _("CO\nppm"),
        _("CO air-\nfree ppm"),
        _("Flue\n°C"),
        _("Air\n°C"),
        _("Excess\nair ratio"),
        _("Eff. net\n%"),
        _("Eff.\ngross %"),
        _("Loss\n%"),
        _("CO/CO₂"),
    ]


def figures_row(each: ReadingFacts) -> list[str]:
    """The figures of one reading, in the head's order without the first column; derived gases carry a mark."""
    reading, found = each.reading, each.derived
    read = {
        name: _signed(
            read_figure(READING_QUANTITIES[name], getattr(reading, READING_QUANTITIES[name].column)), _said(each, name)
        )
        for name in TABLED
    }
    for gas in ("o2", "co2"):
        if found[f"{gas}_derived"] and found[f"{gas}_pct"] is not None:
            read[gas] = f"{derived(found, f'{gas}_pct')}*"
    air_free = derived(found, "co_ppm_air_free")
    return [
        *(read[name] for name in ("o2", "co2", "co")),
        _signed(air_free, _said(each, "co")),
        *(read[name] for name in ("flue_temp", "air_temp")),
        *(derived(found, name) for name in ("excess_air_ratio", "efficiency_pct_net", "efficiency_pct_gross")),
        *(derived(found, name) for name in ("flue_loss_pct", "co_co2_ratio")),
    ]


def _signed(shown: str, said: str) -> str:
    """As narrow as a column of figures needs: signs for words."""
    known = {"more than": f"> {shown}", "less than": f"< {shown}", "sensor fault": _("fault")}
    return shown if shown == NONE and said in ("more than", "less than") else known.get(said, shown)


def steadiness_words(each: ReadingFacts) -> str:
    known = {"steady": _("steady"), "not steady": _("NOT steady"), "not shown": _("not shown")}
    words = known.get(each.reading.steadiness, each.reading.steadiness)
    series = each.derived.get("steadiness")
    if series and series["overall"] is not None:
        words = _("steady, logged") if series["overall"] else _("NOT steady, logged")
    return _("%s, VOID") % words if each.derived["void"] else words


def also_read(each: ReadingFacts) -> str:
    """What else was read, in words; empty where nothing was."""
    reading = each.reading
    parts = [
        f"{quantity.label} {read_with_unit(quantity, getattr(reading, quantity.column), _said(each, name))}"
        for name, quantity in READING_QUANTITIES.items()
        if name not in TABLED and (getattr(reading, quantity.column) is not None or name in reading.qualifiers)
    ]
    if reading.oil_derivatives is not None:
        parts.append(_("oil derivatives present") if reading.oil_derivatives else _("no oil derivatives"))
    if reading.flame_unstable:
        parts.append(_("FLAME UNSTABLE"))
    if found := _timed_input(each):
        parts.append(found)
    return "; ".join(parts)


def _timed_input(each: ReadingFacts) -> str:
    if each.derived["input_kw_gross"] is None:
        return ""
    shown = {name: derived(each.derived, f"input_kw_{name}") for name in ("net", "gross")}
    return _("timed input %(net)s kW net, %(gross)s kW gross") % shown


def rate_words(facts: VisitFacts, rate: str) -> str:
    """How the rate was proven, where it was sampled and with which casing: once, where found and left agree."""
    read = [each.reading for each in facts.readings if each.reading.rate == rate]
    proven = {each.rate_proven_by if each.rate_proven else _("not proven") for each in read}
    proofs = [_("proven by %s") % each if each != _("not proven") else each for each in sorted(proven)]
    casings = sorted({_("casing %s") % each.casing for each in read if each.casing})
    return ", ".join(
        [
            listed(proofs),
            *([listed(casings)] if casings else []),
            listed(sorted({each.sampling_point for each in read})),
        ]
    )
